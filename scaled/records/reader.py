"""Reading the records, for commands and page: beside the writer, in any thread, without ever holding it up.

Each question opens a connection of its own that can only read, asks, and closes it; so nothing is shared between the
page's workers. Everything raises `RecordsUnusable` where the file is missing, unreadable or damaged, and
`WrongSettings` where a newer version wrote it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from scaled.batch.envelope import Envelope
from scaled.batch.record import Record, record_from, record_json
from scaled.records import look_up
from scaled.records.database import RecordsDamaged, plain
from scaled.records.examination import snapshot
from scaled.records.look_up import LotUse
from scaled.records.stored import exported_line
from scaled.records.verification import Verdict, verify


class RecordsReader:
    """The records in one file; a `History` for the page. Making one opens nothing."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def batches(self, most: int | None) -> list[dict[str, Any]]:
        """The newest batches first: `id`, `formula`, `title`, `state`, `started`, `ended`."""
        with self._snapshot() as db:
            return [_line(self._record(db, batch)) for batch in look_up.newest_ids(db, most)]

    def count(self) -> int:
        """How many batches there are."""
        with self._snapshot() as db:
            return look_up.count_of_batches(db)

    def record_json(self, batch: str) -> dict[str, Any] | None:
        """The record as the contract spells it; None where there is no such batch."""
        with self._snapshot() as db:
            is_known = look_up.ids_like(db, batch, 1) == [batch]
            return record_json(self._record(db, batch)) if is_known else None

    def ids_like(self, prefix: str, most: int = 20) -> list[str]:
        """The ids that begin with these letters; an id that is exactly that stands alone."""
        with self._snapshot() as db:
            return look_up.ids_like(db, prefix, most)

    def envelopes(self, batch: str) -> list[Envelope]:
        """A batch's events in order, none where there is no such batch."""
        with self._snapshot() as db:
            return look_up.envelopes_of(db, batch)

    def open_batch(self) -> list[Envelope]:
        """The events of the newest batch where it is neither complete nor aborted, else none."""
        with self._snapshot() as db:
            return look_up.open_batch(db)

    def records(self) -> Iterator[Record]:
        """The record of every batch, oldest first, one in memory at a time."""
        with self._snapshot() as db:
            for batch in look_up.all_ids(db):
                yield self._record(db, batch)

    def lines(self) -> Iterator[str]:
        """Every event in order as one line of JSON."""
        with self._snapshot() as db:
            for stored in look_up.all_events(db):
                yield exported_line(stored)

    def verify(self) -> Verdict:
        """Whether every event is what was written."""
        return verify(self.path)

    def trace(self, lot: str) -> list[LotUse]:
        """The batches in which this lot was named, oldest first."""
        with self._snapshot() as db:
            return look_up.uses_of_lot(db, lot)

    def lots_like(self, lot: str, most: int = 5) -> list[str]:
        """Lots that begin as this one does, to suggest."""
        with self._snapshot() as db:
            return look_up.lots_like(db, lot, most)

    @contextmanager
    def _snapshot(self) -> Iterator[sqlite3.Connection]:
        """One state of the file for all that is asked of it; what cannot be read in it is damage."""
        with snapshot(self.path) as db:
            try:
                yield db
            except (ValueError, LookupError, ArithmeticError, TypeError) as error:
                raise RecordsDamaged(f"{self.path}: {plain(error)}: 'scaled batch verify' says more") from error

    def _record(self, db: sqlite3.Connection, batch: str) -> Record:
        try:
            return record_from(look_up.envelopes_of(db, batch))
        except (ValueError, LookupError, ArithmeticError, TypeError) as error:
            raise ValueError(f"batch {batch} makes no record: {error}") from error


def _line(record: Record) -> dict[str, Any]:
    batch = record.batch
    return {
        "id": batch.id,
        "formula": batch.formula.stem,
        "title": batch.formula.title,
        "state": batch.state,
        "started": record.started,
        "ended": record.ended,
    }
