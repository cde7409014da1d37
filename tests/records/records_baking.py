"""A program that bakes batch after batch and says aloud what is recorded. Run by the tests, which cut its power.

    python records_baking.py PATH [--batches N] [--synchronous FULL|NORMAL|OFF] [--checkpoint PAGES]

It goes on in the batch that was left open. After each commit it writes the event's sequence to standard output, one
a line, in one system call. NORMAL and OFF are what the journal never does: they are here so that a test can show
that it sees a loss.
"""

import argparse
import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from records_bakery import overpoured_batch, plain_batch

from scaled.clock import RealClock
from scaled.records.journal import Journal


def events_of(batch):
    """Every third batch of a day is overpoured."""
    make = overpoured_batch if int(batch.rsplit("-", 1)[1]) % 3 == 0 else plain_batch
    return make(batch)


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("path", type=Path)
    ask.add_argument("--batches", type=int, default=10**9)
    ask.add_argument("--synchronous", default="FULL")
    ask.add_argument("--checkpoint", type=int, default=1000)
    told = ask.parse_args()
    clock = RealClock()
    journal = Journal(told.path, clock)
    journal._db.execute(f"PRAGMA synchronous = {told.synchronous}")
    journal._db.execute(f"PRAGMA wal_autocheckpoint = {told.checkpoint}")
    left = journal.open_batch()
    for _ in range(told.batches):
        batch = left[0].batch if left else journal.new_batch_id(clock.wall().date())
        for event in events_of(batch)[len(left) :]:
            sequence = journal.append(batch, event).sequence
            os.write(1, b"%d\n" % sequence)
        left = []
    os._exit(0)  # as a pulled plug: nothing is tidied up


main()
