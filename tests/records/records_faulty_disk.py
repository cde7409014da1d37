"""A program that records batches through the writer, on a disk that refuses for a while. Run by the tests.

    python records_faulty_disk.py PATH steady   records under whatever faults are put on its system calls
    python records_faulty_disk.py PATH full     runs into a limit of the file size and has it lifted again

Prints one JSON document: what the writer told and showed.
"""

import json
import resource
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from records_bakery import plain_batch
from records_waiting import Told, eventually

from scaled.clock import RealClock
from scaled.records.writer import JournalWriter


def submit_batches(writer, first, last):
    count = 0
    for number in range(first, last + 1):
        batch = f"2026-11-24-{number:02d}"
        for event in plain_batch(batch, at=1000.0 * number):
            assert writer.submit(batch, event)
            count += 1
    return count


def steady(writer, told):
    count = 0
    for number in range(1, 13):
        count += submit_batches(writer, number, number)
        eventually(lambda: len(told.envelopes) == count, "all recorded")  # noqa: B023 - asked at once
    eventually(lambda: writer.state.is_recorded, "recorded again")
    return {"submitted": count}


def full(writer, told):
    count = submit_batches(writer, 1, 1)
    eventually(lambda: len(told.envelopes) == count, "all recorded")
    before = len(told.envelopes)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, hard))
    count += submit_batches(writer, 2, 9)
    eventually(lambda: not writer.state.is_recorded, "the disk refuses")
    eventually(lambda: told.errors, "it is told")
    during = writer.state
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    eventually(lambda: writer.state.is_recorded and not writer.state.waiting, "recorded again")
    return {
        "submitted": count,
        "before": before,
        "during": {"waiting": during.waiting, "why": during.why, "is_recorded": during.is_recorded},
    }


def main():
    told = Told()
    writer = JournalWriter(Path(sys.argv[1]), RealClock(), told.committed, told.failed, retry_s=0.02)
    writer.start()
    story = {"steady": steady, "full": full}[sys.argv[2]](writer, told)
    left = writer.stop()
    story |= {"left": left, "outages": len(told.errors), "sequences": [e.sequence for e in told.envelopes]}
    json.dump(story, sys.stdout)


main()
