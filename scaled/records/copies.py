"""Copies of the records beside them: each day's events as lines of text, each month the whole file, two kept.

A day's file is written once that day is over, when the bench next runs, and holds what `scaled batch export --format
jsonl` writes: with the last hash in it, `verify` can tell that the end of the records was cut off or all of them
written anew, which their own chain cannot show. Nothing but the files says how far the copies go. Each is written
under another name, synced and renamed. A copy reads beside the writer and never holds it up; where nothing is new
nothing is written.
"""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby, takewhile
from pathlib import Path
from threading import Event, Thread

from scaled.clock import Clock
from scaled.errors import RecordsUnusable, ScaledError
from scaled.records.database import plain, sync_folder, translated
from scaled.records.examination import snapshot
from scaled.records.stored import StoredEvent, exported_line, stored_events

log = logging.getLogger(__name__)

WHOLE_KEPT = 2
AFTER_START_S = 600.0  # a bench that has just started has better things to do
BETWEEN_LOOKS_S = 900.0
LONGEST_LINE = 1_000_000  # bytes; the event that begins a batch holds its formula


@dataclass(frozen=True)
class Mark:
    """The last event that a day's file holds."""

    file: Path
    bench: str
    sequence: int
    chain: str


def folder_of_copies(path: Path) -> Path:
    return path.with_name(path.name + ".copies")


def marks(path: Path) -> list[Mark]:
    """The last event of each day's file, oldest file first; a file that is none of ours is passed over.

    Raises RecordsUnusable where one cannot be read.
    """
    files = sorted(folder_of_copies(path).glob("????-??-??.jsonl"))
    with translated(path, "read the copies of the days"):
        return [mark for mark in map(_mark, files) if mark is not None]


def copy_days_before(path: Path, today: date) -> list[Path]:
    """Write what is new of the days that are over; returns the files written.

    Events are taken in their order up to the first of today. A day whose file is there already (a clock that was
    set back) is added to.

    Raises RecordsUnusable where the records cannot be read or the copy not be written.
    """
    with snapshot(path) as db, translated(path, "copy the events of a day"):
        bench = next((str(bench) for (bench,) in db.execute("SELECT id FROM bench")), None)
        done = max((mark.sequence for mark in marks(path) if mark.bench == bench), default=0)
        written = []
        try:
            events = _until(today, stored_events(db, "WHERE events.sequence > ?", (done,)))
            for day, group in groupby(events, _day):
                written.append(folder_of_copies(path) / f"{day}.jsonl")
                _add_lines(written[-1], [exported_line(stored) for stored in group])
        except ValueError as error:
            raise RecordsUnusable(f"{path}: cannot copy the events of a day: {plain(error)}") from error
    return written


def copy_whole(path: Path, month: date) -> Path | None:
    """Write the whole file as it is now, once a month, and keep the newest two; None where this month's is there."""
    folder = folder_of_copies(path)
    copy = folder / f"{month:%Y-%m}.db"
    if copy.exists():
        return None
    half = copy.with_name(copy.name + ".new")
    with snapshot(path) as db, translated(path, "copy the records"):
        folder.mkdir(exist_ok=True)
        half.unlink(missing_ok=True)
        db.execute("COMMIT")  # VACUUM takes a state of its own
        db.execute("VACUUM INTO ?", (str(half),))
        _put_in_place(half, copy)
        for old in sorted(folder.glob("????-??.db"))[:-WHOLE_KEPT]:
            old.unlink()
    return copy


class CopyKeeper:
    """Makes the copies from a thread of its own, from `start` to `stop`; what fails is told once and tried again."""

    def __init__(self, path: Path, clock: Clock) -> None:
        self._path = path
        self._clock = clock
        self._stop = Event()
        self._why: str | None = None
        self._done: date | None = None
        self._thread = Thread(target=self._run, name="copies", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout_s: float = 1.0) -> None:
        """End; a copy that is being made is finished unless that takes longer, and made anew another day."""
        self._stop.set()
        self._thread.join(timeout_s)

    def _run(self) -> None:
        wait_s = AFTER_START_S
        while not self._stop.wait(self._clock.real_seconds(wait_s)):
            wait_s = BETWEEN_LOOKS_S
            self._look()

    def _look(self) -> None:
        today = self._clock.wall().date()
        if today == self._done:
            return
        try:
            if copy_days_before(self._path, today):
                copy_whole(self._path, today)
            self._why, self._done = None, today
        except ScaledError as error:
            if str(error) != self._why:
                log.warning("no copy of the records: %s", error)
            self._why = str(error)


def _day(stored: StoredEvent) -> str:
    """The date of an event as its wall clock stood; raises ValueError where it has none."""
    return date.fromisoformat(stored.envelope().wall[:10]).isoformat()


def _until(today: date, events: Iterator[StoredEvent]) -> Iterator[StoredEvent]:
    return takewhile(lambda stored: _day(stored) != today.isoformat(), events)


def _add_lines(file: Path, lines: list[str]) -> None:
    file.parent.mkdir(exist_ok=True)
    half = file.with_name(file.name + ".new")
    before = file.read_bytes() if file.exists() else b""
    half.write_bytes(before + "".join(f"{line}\n" for line in lines).encode())
    _put_in_place(half, file)


def _put_in_place(half: Path, file: Path) -> None:
    descriptor = os.open(half, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    half.rename(file)
    sync_folder(file.parent)


def _mark(file: Path) -> Mark | None:
    try:
        last = json.loads(_last_line(file))
        mark = Mark(file, last["bench"], last["sequence"], last["chain"])
    except (ValueError, LookupError, TypeError):
        return None
    return mark if isinstance(mark.sequence, int) else None


def _last_line(file: Path) -> bytes:
    with file.open("rb") as lines:
        lines.seek(-min(LONGEST_LINE, file.stat().st_size), os.SEEK_END)
        return lines.read().rstrip().rpartition(b"\n")[2]
