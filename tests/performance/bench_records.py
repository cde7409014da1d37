"""The records: bytes and syncs an event, writes of an idle bench, looking up a lot as the records grow.

Writes and syncs are counted by strace, so they are exact and the same on every machine. A year of 200 batches a day
is 73,000 batches.
"""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

from figures import Row, Size, median_s

sys.path.insert(0, str(Path(__file__).parent.parent / "records"))

from records_bakery import plain_batch

from scaled.clock import ManualClock
from scaled.records.database import open_for_reading
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader

WRITES = Path(__file__).parent / "records_writes.py"
BATCHES = {"small": 30, "full": 300}
IDLE_S = {"small": 3, "full": 600}
YEAR = {"small": (250, 2_500), "full": (7_300, 73_000)}
LOT_IN = 80  # batches that one lot goes into: a sack of flour

_CALL = re.compile(r"(\w+)\(\d+<([^>]*)>.*= (\d+)$")


def rows(size: Size) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        yield from _an_event(Path(folder), BATCHES[size])
        yield _idle(Path(folder), IDLE_S[size])
        for count in YEAR[size]:
            yield from _look_ups(Path(folder) / f"{count}.db", count)


def _an_event(folder: Path, batches: int) -> Iterator[Row]:
    events = _events(batches)
    bare_bytes, bare_syncs = _counted("bare", folder / "bare", batches)
    our_bytes, our_syncs = _counted("journal", folder / "records.db", batches)
    yield Row(
        "journal: written an event",
        our_bytes / events,
        "bytes",
        floor=bare_bytes / events,
        floor_is="its line appended to a file",
        figure_at_most=10_000,
        note=f"{events} events of {batches} batches",
    )
    yield Row(
        "journal: fdatasync an event",
        our_syncs / events,
        "calls",
        floor=bare_syncs / events,
        floor_is="append and fdatasync",
        ratio_at_most=1.05,
        note="above 1: the log is brought into the file",
    )


def _idle(folder: Path, seconds: int) -> Row:
    written, syncs = _counted("idle", folder / "idle.db", seconds)
    return Row(
        "journal: written by an idle bench", written, "bytes", figure_at_most=0, note=f"{syncs} syncs in {seconds} s"
    )


def _look_ups(path: Path, batches: int) -> Iterator[Row]:
    lot = _fill(path, batches)
    reader = RecordsReader(path)
    found = len(reader.trace(lot))
    if found != LOT_IN:
        raise RuntimeError(f"the lot was named in {LOT_IN} batches, not {found}")
    with closing(open_for_reading(path)) as db:
        floor = median_s(lambda: _indexed_query(db, lot), repeats=15)
    yield Row(
        f"trace LOT over {batches:,} batches",
        median_s(lambda: reader.trace(lot), repeats=15) * 1e3,
        "ms",
        floor=floor * 1e3,
        floor_is="one indexed query, file open",
        figure_at_most=50,
        note=f"{found} found, {path.stat().st_size / 1e6:.0f} MB",
    )
    yield Row(f"list 30 of {batches:,} batches", median_s(lambda: reader.batches(30), repeats=5) * 1e3, "ms")
    yield Row(
        f"start on {batches:,} batches", median_s(lambda: Journal(path, ManualClock()).close(), repeats=5) * 1e3, "ms"
    )


def _indexed_query(db: sqlite3.Connection, lot: str) -> list[tuple[int]]:
    return db.execute("SELECT batch FROM lots WHERE lot = ?", (lot,)).fetchall()


def _fill(path: Path, batches: int) -> str:
    """So many batches, committed a day at a time; returns the lot that is looked for, in the middle of them."""
    lots = [f"B-{n // LOT_IN}" for n in range(batches)]
    with Journal(path, ManualClock()) as journal:
        for start in range(0, batches, 200):
            day = date(2026, 1, 1) + timedelta(days=start // 200)
            drafts = []
            for number in range(start, min(start + 200, batches)):
                batch = journal.new_batch_id(day)
                events = plain_batch(batch, lots=[("butter", lots[number]), ("wheat flour", f"W-{number // 50}")])
                drafts += [journal.draft(batch, event) for event in events]
            journal.append_all(drafts)
    return lots[batches // 2]


def _events(batches: int) -> int:
    from records_writes import batches as made

    return sum(len(events) for _, events in made(batches))


def _counted(mode: str, path: Path, amount: int) -> tuple[int, int]:
    """Bytes written to files named as the records are, and syncs of them, between the marks of the program."""
    trace = path.with_name(path.name + ".trace")
    calls = "trace=pwrite64,write,writev,pwritev,fdatasync,fsync"
    subprocess.run(
        [
            "strace",
            "-f",
            "-qq",
            "-y",
            "-s",
            "16",
            "-e",
            calls,
            "-o",
            trace,
            sys.executable,
            WRITES,
            mode,
            path,
            str(amount),
        ],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    written = syncs = 0
    is_counting = False
    for line in trace.read_text().splitlines():
        if '"BEGIN\\n"' in line or '"END\\n"' in line:
            is_counting = "BEGIN" in line
        call = _CALL.search(line)
        if is_counting and call and Path(call[2]).name.startswith(path.name):
            is_sync = call[1] in ("fdatasync", "fsync")
            syncs += is_sync
            written += 0 if is_sync else int(call[3])
    return written, syncs
