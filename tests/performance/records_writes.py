"""A program that bench_records.py runs under strace: the events of a bench, to the journal or to a bare file.

    python records_writes.py journal PATH BATCHES    each event committed by the writer's thread before the next
    python records_writes.py bare PATH BATCHES       each event's line appended to a file and synced: the floor
    python records_writes.py idle PATH SECONDS       a writer that has recorded a batch and then has nothing to do

What is counted lies between the two marks that it writes to standard output.
"""

import os
import sys
from pathlib import Path
from threading import Event

sys.path.insert(0, str(Path(__file__).parent.parent / "records"))

from records_bakery import overpoured_batch, plain_batch

from scaled.batch.envelope import Envelope, canonical_json
from scaled.clock import RealClock
from scaled.records.writer import JournalWriter

BEGIN, END = b"BEGIN\n", b"END\n"


def batches(count):
    """One batch in three is overpoured, two lots are named in each."""
    for number in range(1, count + 1):
        batch = f"2026-11-24-{number:02d}"
        lots = (("butter", f"B-{number // 20}"), ("wheat flour", f"W-{number // 40}"))
        make = overpoured_batch(batch) if number % 3 == 0 else plain_batch(batch, lots=lots)
        yield batch, make


def journal(path, count):
    committed = Event()
    writer = JournalWriter(path, RealClock(), lambda _: committed.set(), lambda error: sys.exit(str(error)))
    writer.start()
    os.write(1, BEGIN)
    for batch, events in batches(count):
        for event in events:
            committed.clear()
            writer.submit(batch, event)
            committed.wait()
    os.write(1, END)
    writer.stop()


def bare(path, count):
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    sequence = 0
    os.write(1, BEGIN)
    for batch, events in batches(count):
        for event in events:
            sequence += 1
            text = canonical_json(Envelope("bench", sequence, batch, "boot", "2026-11-24T04:30:00.000+00:00", event))
            os.write(descriptor, text.encode() + b"\n")
            os.fdatasync(descriptor)
    os.write(1, END)


def idle(path, seconds):
    done = Event()
    writer = JournalWriter(path, RealClock(), lambda envelope: envelope.sequence == 9 and done.set(), print)
    writer.start()
    for event in plain_batch("2026-11-24-01"):
        writer.submit("2026-11-24-01", event)
    done.wait()
    os.write(1, BEGIN)
    Event().wait(seconds)
    os.write(1, END)


if __name__ == "__main__":
    {"journal": journal, "bare": bare, "idle": idle}[sys.argv[1]](Path(sys.argv[2]), int(sys.argv[3]))
