"""The journal: what happened, in order, on disk before anybody is told that it happened.

`append` commits before it returns. One process has a journal open, and one connection in it writes. What is appended
is chained by hashes from the first event on; the rows that serve to look things up are written in the same
transaction. State lives in the events alone: `open_batch` hands back those of the batch that a power cut left open.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from threading import Lock
from typing import Self

from scaled.batch.envelope import Envelope, canonical_json, chain_hash
from scaled.batch.events import BatchStarted, Event, LotNamed
from scaled.clock import Clock
from scaled.records.batch_ids import BatchIds, last_ids
from scaled.records.database import (
    RecordsDamaged,
    RecordsMoved,
    assert_file,
    create,
    log_of,
    open_for_writing,
    translated,
)
from scaled.records.examination import Standing, examine, files_set_aside, rescued, set_aside
from scaled.records.lock import WriterLock
from scaled.records.look_up import open_batch
from scaled.records.stored import column, cut


@dataclass(frozen=True)
class Draft:
    """An event on its way into the journal, stamped when it happened: which need not be when it is written."""

    batch: str
    event: Event
    boot: str
    wall: str


class Journal:
    """The records of one bench, opened to be written to.

    Where the file is missing or empty a new one is made, with a new bench id. Where it is damaged it is set aside
    untouched, a new one is made, and `set_aside` names it: until a person has moved it away, at each start. The batch
    that was open in it goes on in the new one, where its events are still as they were written.

    Args:
        path: the file; its folder must be there.
        clock: stamps what is appended.
        ids: gives out the ids of batches, where they shall outlive this journal.

    Raises:
        Busy: another writer has these records.
        WrongSettings: a newer version of the program wrote them.
        RecordsUnusable: the disk or the permissions refuse.
    """

    bench: str
    _sequence: int
    _chain: str
    _files: tuple[tuple[int, int], ...]

    def __init__(self, path: Path, clock: Clock, ids: BatchIds | None = None) -> None:
        self.path = path
        self._clock = clock
        self._ids = ids or BatchIds()
        self._rescued: list[Envelope] = []
        assert_file(path)
        self._lock = WriterLock(path)
        self._guard = Lock()
        try:
            self._db = self._opened()
            self.set_aside = files_set_aside(path)
            if self._rescued:
                self.append_all([Draft(e.batch, e.event, e.boot, e.wall) for e in self._rescued])
                self._ids.count_on_from(last_ids(self._db))
        except BaseException:
            self._lock.release()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def is_new(self) -> bool:
        """Whether nothing has been recorded in this file yet."""
        return self._sequence == 0

    def draft(self, batch: str, event: Event) -> Draft:
        """The event with the time and the boot of now."""
        return Draft(batch, event, self._clock.boot_id(), self._clock.wall_iso())

    def append(self, batch: str, event: Event) -> Envelope:
        """Commit one event; when this returns it outlives a power cut.

        Raises:
            RecordsUnusable: it is not recorded, and nothing of it is; the same call may succeed later.
            ValueError: the event holds something that JSON cannot say.
        """
        return self.append_all((self.draft(batch, event),))[0]

    def append_all(self, drafts: Sequence[Draft]) -> list[Envelope]:
        """Commit several events in one transaction, all or none; raises as `append`."""
        with self._guard, translated(self.path, "write to the records"):
            self._assert_in_place()
            envelopes: list[Envelope] = []
            chain, sequence = self._chain, self._sequence
            self._db.execute("BEGIN IMMEDIATE")
            try:
                for draft in drafts:
                    sequence += 1
                    plain = Envelope(self.bench, sequence, draft.batch, draft.boot, draft.wall, draft.event)
                    text = canonical_json(plain)
                    chain = chain_hash(chain, text)
                    envelopes.append(replace(plain, chain=chain))
                    self._insert(envelopes[-1], text)
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise
            self._chain, self._sequence = chain, sequence
            return envelopes

    def new_batch_id(self, wall_date: date) -> str:
        """An id for a batch that begins on this day, never given before; needs no disk."""
        return self._ids.new(wall_date)

    def open_batch(self) -> list[Envelope]:
        """The events of the newest batch where it is neither complete nor aborted, else none.

        Raises RecordsDamaged where one of them cannot be read.
        """
        with self._guard, translated(self.path, "read the records"):
            try:
                return open_batch(self._db)
            except ValueError as error:
                raise RecordsDamaged(f"{self.path}: the records are damaged: {error}") from error

    def close(self) -> None:
        """Bring the log into the file and let another one write; does nothing the second time."""
        with self._guard:
            self._db.close()
            self._lock.release()

    def abandon(self) -> None:
        """Set a file that turned out damaged aside as it is, and close; the next journal of this path begins anew.

        It is renamed while it is open: SQLite sees that and leaves it alone when it is closed.
        """
        try:
            set_aside(self.path, self._clock.wall())
        finally:
            self.close()

    def _opened(self) -> sqlite3.Connection:
        standing = self._standing()
        self.bench, self._sequence, self._chain = standing.bench, standing.sequence, standing.chain
        self._ids.count_on_from(standing.last_ids)
        db = open_for_writing(self.path)
        self._files = self._files_now()
        return db

    def _standing(self) -> Standing:
        """See to it that there is a file that can be gone on with, and where."""
        with translated(self.path, "open the records"):
            is_there = self.path.exists() and self.path.stat().st_size > 0
            if not is_there and log_of(self.path).exists():
                set_aside(self.path, self._clock.wall())  # a log without its file must never reach a new one
        if is_there:
            try:
                return examine(self.path)
            except RecordsDamaged:
                self._rescued, ids = rescued(set_aside(self.path, self._clock.wall()))
                self._ids.count_on_from(ids)
        create(self.path, self._clock.wall_iso())
        return examine(self.path)

    def _files_now(self) -> tuple[tuple[int, int], ...]:
        """Which files stand under the names of the records and of their log (device and inode)."""
        found = (path.stat() for path in (self.path, log_of(self.path)))
        return tuple((stat.st_dev, stat.st_ino) for stat in found)

    def _assert_in_place(self) -> None:
        try:
            is_in_place = self._files_now() == self._files
        except FileNotFoundError:
            is_in_place = False
        if not is_in_place:
            raise RecordsMoved(f"{self.path}: the records were moved, deleted or replaced while in use")

    def _insert(self, envelope: Envelope, text: str) -> None:
        event, execute = envelope.event, self._db.execute
        batch = self._batch_number(envelope)
        kept = cut(text, event)
        if kept.digest is not None:
            execute("INSERT OR IGNORE INTO formulas VALUES (?, ?)", (kept.digest, kept.formula))
        execute(
            "INSERT INTO events VALUES (?, ?, ?, ?, ?)",
            (envelope.sequence, batch, kept.digest, kept.text, envelope.chain),
        )
        if isinstance(event, LotNamed) and event.lot.strip():
            lot, key = column(event.lot.strip()), column(event.key)
            execute("INSERT INTO lots VALUES (?, ?, ?, ?)", (lot, batch, envelope.sequence, key))

    def _batch_number(self, envelope: Envelope) -> int:
        batch = column(envelope.batch)
        found = self._db.execute("SELECT number FROM batches WHERE id = ?", (batch,)).fetchone()
        if found is not None:
            return int(found[0])
        stem = title = None
        if isinstance(envelope.event, BatchStarted):
            stem, title = column(envelope.event.formula.stem), column(envelope.event.formula.title)
        cursor = self._db.execute(
            "INSERT INTO batches (id, formula, title, started) VALUES (?, ?, ?, ?)",
            (batch, stem, title, envelope.wall),
        )
        return int(cursor.lastrowid or 0)
