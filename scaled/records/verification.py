"""Are the records what was written? Every event from the first to the last, and the tables that look them up.

An event that was changed, taken out, put in or moved breaks the chain of hashes at its place, and that place is what
is reported. What a chain cannot show, an end that was cut off or all of it written anew, shows against the hashes in
the copies of the days; and the last hash is printed, to be held against one that was noted elsewhere.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from scaled.batch.envelope import FIRST_CHAIN, Envelope, chain_hash
from scaled.batch.events import LotNamed
from scaled.records.copies import Mark, marks
from scaled.records.database import RecordsDamaged, plain, translated
from scaled.records.examination import page_trouble, snapshot
from scaled.records.look_up import all_events
from scaled.records.stored import StoredEvent, column


@dataclass(frozen=True)
class Verdict:
    """What was checked and what was found.

    `events` and `batches` count what was read and is sound; `last_chain` is the hash of the last of them. `first_bad`
    is the sequence of the first event that is not as it was written; None where all are, or where the trouble lies
    elsewhere. `troubles` are in words, none where all is well.
    """

    bench: str | None
    events: int
    batches: int
    last_chain: str | None
    first_bad: int | None
    troubles: tuple[str, ...]

    @property
    def is_sound(self) -> bool:
        return not self.troubles

    def as_json(self) -> dict[str, Any]:
        return {
            "sound": self.is_sound,
            "bench": self.bench,
            "events": self.events,
            "batches": self.batches,
            "chain": self.last_chain,
            "first_bad": self.first_bad,
            "troubles": list(self.troubles),
        }


class _Walk:
    """One pass over the events, in memory only what the look-up tables must agree with."""

    def __init__(self, copied: list[Mark]) -> None:
        self.copied = {(mark.bench, mark.sequence): mark for mark in copied}
        self.sequence = 0
        self.chain = FIRST_CHAIN
        self.bench: str | None = None
        self.batches: Counter[str] = Counter()
        self.lots = 0

    def take(self, stored: StoredEvent) -> None:
        """Raises ValueError at an event that is not the next one as it was written."""
        due = self.sequence + 1
        if stored.sequence != due:
            missing = f"event {due}" if stored.sequence == due + 1 else f"events {due} to {stored.sequence - 1}"
            raise ValueError(f"{missing} missing")
        if chain_hash(self.chain, stored.text) != stored.chain:
            raise ValueError(f"event {due} is not what was written, or does not follow the one before")
        envelope = stored.envelope()
        if self.bench is not None and envelope.bench != self.bench:
            raise ValueError(f"event {due} is of another bench ({envelope.bench})")
        copy = self.copied.get((envelope.bench, due))
        if copy is not None and copy.chain != stored.chain:
            raise ValueError(f"event {due} is another one in the copy {copy.file.name}: written anew up to there")
        self._count(envelope)
        self.sequence, self.chain, self.bench = due, stored.chain, envelope.bench

    def missing(self) -> str | None:
        """What the copies hold and the records do not, once all events are taken."""
        beyond = [mark for mark in self.copied.values() if mark.sequence > self.sequence and mark.bench == self.bench]
        if not beyond:
            return None
        last = max(beyond, key=lambda mark: mark.sequence)
        return f"the end is missing: the copy {last.file.name} goes to event {last.sequence}"

    def _count(self, envelope: Envelope) -> None:
        self.batches[column(envelope.batch)] += 1
        self.lots += isinstance(envelope.event, LotNamed) and bool(envelope.event.lot.strip())


def verify(path: Path) -> Verdict:
    """Check everything; reads beside a writer, what is committed when it begins.

    Raises:
        RecordsUnusable: there is nothing that could be checked: no file, or not one of records.
        WrongSettings: a newer version wrote it.
    """
    with snapshot(path) as db:
        walk, troubles = _Walk(marks(path)), []
        first_bad = None
        trouble = _trouble_of_events(db, path, walk)
        if trouble:
            first_bad = walk.sequence + 1
            troubles.append(trouble)
        troubles.extend(_troubles_beside(db, path, None if trouble else walk))
    last = walk.chain if walk.sequence else None
    return Verdict(walk.bench, walk.sequence, len(walk.batches), last, first_bad, tuple(troubles))


def _trouble_of_events(db: sqlite3.Connection, path: Path, walk: _Walk) -> str | None:
    try:
        with translated(path, "read the events"):
            for stored in all_events(db):
                walk.take(stored)
            return walk.missing()
    except ValueError as error:
        return plain(error)
    except RecordsDamaged as error:
        return f"event {walk.sequence + 1} cannot be reached: {plain(error.__cause__)}"


def _troubles_beside(db: sqlite3.Connection, path: Path, walk: _Walk | None) -> list[str]:
    """What is wrong with the pages of the file, and with the look-up tables where the events are sound."""
    try:
        with translated(path, "check the pages"):
            pages = page_trouble(db)
            if pages:
                return [f"the pages of the file: {pages}"]
            return [] if walk is None else _troubles_of_tables(db, walk)
    except RecordsDamaged as error:
        return [f"the pages of the file: {plain(error.__cause__)}"]


def _troubles_of_tables(db: sqlite3.Connection, walk: _Walk) -> list[str]:
    troubles = []
    bench = db.execute("SELECT id FROM bench").fetchall()
    if walk.bench is not None and bench != [(walk.bench,)]:
        troubles.append(f"the table of the bench says {plain(bench)}, the events {walk.bench}")
    counted = db.execute(
        "SELECT batches.id, count(events.sequence) FROM batches LEFT JOIN events ON events.batch = batches.number"
        " GROUP BY batches.number"
    )
    if dict(counted) != dict(walk.batches):
        troubles.append("the table of batches does not agree with the events")
    if db.execute("SELECT count(*) FROM lots").fetchone()[0] != walk.lots:
        troubles.append("the table of lots does not agree with the events")
    return troubles
