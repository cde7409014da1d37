"""What is asked of the records, each question one function on a connection; none of them writes.

Only what an event says once and for all is read from the look-up tables; a state, a mass or a lot that counts is
folded from the batch's events each time. An event that is damaged raises ValueError.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass

from scaled.batch.envelope import Envelope
from scaled.batch.events import BatchAborted, BatchCompleted
from scaled.records.stored import StoredEvent, column, select_events, stored_events


@dataclass(frozen=True)
class LotUse:
    """A batch in which a lot was named: for which addition (its key), and when the batch began (ISO 8601)."""

    lot: str
    batch: str
    formula: str | None
    title: str | None
    started: str
    addition: str


def ids_like(db: sqlite3.Connection, prefix: str, most: int) -> list[str]:
    """The ids of batches that begin with these letters, in order; the one that is exactly that alone."""
    prefix = column(prefix)
    exact = db.execute("SELECT id FROM batches WHERE id = ?", (prefix,)).fetchall()
    after = prefix + "\U0010ffff"
    found = exact or db.execute(
        "SELECT id FROM batches WHERE id >= ? AND id < ? ORDER BY id LIMIT ?", (prefix, after, most)
    )
    return [str(batch) for (batch,) in found]


def newest_ids(db: sqlite3.Connection, most: int | None) -> list[str]:
    """The newest batches first; all of them where `most` is None."""
    found = db.execute("SELECT id FROM batches ORDER BY number DESC LIMIT ?", (-1 if most is None else most,))
    return [str(batch) for (batch,) in found]


def all_ids(db: sqlite3.Connection) -> Iterator[str]:
    """All batches in the order in which they began."""
    return (str(batch) for (batch,) in db.execute("SELECT id FROM batches ORDER BY number"))


def count_of_batches(db: sqlite3.Connection) -> int:
    return int(db.execute("SELECT count(*) FROM batches").fetchone()[0])


def envelopes_of(db: sqlite3.Connection, batch: str) -> list[Envelope]:
    """A batch's events in order."""
    return _envelopes(db, "WHERE events.batch = (SELECT number FROM batches WHERE id = ?)", (column(batch),))


def first_of_newest_batch(db: sqlite3.Connection) -> tuple[int, int] | None:
    """The newest batch's number and the sequence of its first event; None where there are no events.

    Walks back from the end without an index (hence the `+`): what a bench goes on from hangs on one table.
    """
    newest = db.execute("SELECT max(number) FROM batches").fetchone()[0]
    last = db.execute("SELECT max(sequence) FROM events").fetchone()[0]
    if last is None:
        return None
    begun = db.execute(
        "SELECT sequence FROM events WHERE +batch = ? AND formula IS NOT NULL ORDER BY sequence DESC LIMIT 1",
        (newest,),
    ).fetchone()
    return newest, begun[0] if begun else max(1, last - 99)


def open_batch(db: sqlite3.Connection) -> list[Envelope]:
    """The events of the newest batch where it is neither complete nor aborted, else none."""
    newest = first_of_newest_batch(db)
    if newest is None:
        return []
    envelopes = _envelopes(db, "WHERE +events.batch = ? AND events.sequence >= ?", newest)
    is_over = any(isinstance(envelope.event, BatchCompleted | BatchAborted) for envelope in envelopes)
    return [] if is_over else envelopes


def all_events(db: sqlite3.Connection) -> Iterator[StoredEvent]:
    """Every event in order."""
    return stored_events(db, "")


def uses_of_lot(db: sqlite3.Connection, lot: str) -> list[LotUse]:
    """Where a lot was named, oldest first; case and spaces around it are ignored. A lot named and later replaced
    counts: who calls back a lot wants to look at those too."""
    found = db.execute(
        "SELECT DISTINCT lots.lot, batches.id, batches.formula, batches.title, batches.started, lots.addition"
        " FROM lots JOIN batches ON batches.number = lots.batch WHERE lots.lot = ? ORDER BY lots.batch, lots.sequence",
        (column(lot.strip()),),
    )
    return [LotUse(*row) for row in found]


def lots_like(db: sqlite3.Connection, lot: str, most: int) -> list[str]:
    """Lots that begin as this one does."""
    begin = column(lot.strip()[:3])
    found = db.execute(
        "SELECT DISTINCT lot FROM lots WHERE lot >= ? AND lot < ? LIMIT ?", (begin, begin + "\U0010ffff", most)
    )
    return [str(other) for (other,) in found]


def _envelopes(db: sqlite3.Connection, where: str, values: tuple[object, ...]) -> list[Envelope]:
    return [stored.envelope() for stored in select_events(db, where, values)]
