"""Is this file of records sound? Looked at before anything may write to it, through a connection that cannot.

Strategy: SQLite's own check of its pages, where the file is small enough not to keep a cook waiting; then what
the next hours depend on, in full: the newest batch's events can be read and their hashes hold. The rest is
`verification`'s subject. A damaged file is never repaired in place: it is set aside as it is, together with its log,
under a name that SQLite opens with that log.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from scaled.batch.envelope import FIRST_CHAIN, Envelope, chain_hash
from scaled.errors import ScaledError, WrongSettings
from scaled.records.batch_ids import last_ids
from scaled.records.database import (
    APPLICATION_ID,
    SCHEMA_VERSION,
    RecordsDamaged,
    index_of,
    log_of,
    open_for_reading,
    plain,
    sync_folder,
    translated,
)
from scaled.records.look_up import first_of_newest_batch, open_batch
from scaled.records.stored import StoredEvent, select_events

CHECKED_WHOLE_BYTES = 16 * 1024 * 1024  # 40 ms on a desktop, some ten times that on the smallest Pi
CREDIBLE_VERSION = 1000  # a number above this in the header is damage


@dataclass(frozen=True)
class Standing:
    """Where a journal goes on: the bench's id, the last event's sequence and hash, the last batch id of each day."""

    bench: str
    sequence: int
    chain: str
    last_ids: dict[str, int]


@contextmanager
def snapshot(path: Path) -> Iterator[sqlite3.Connection]:
    """One state of the records, to be read; raises as `examine`, and RecordsDamaged at what SQLite cannot read."""
    with translated(path, "read the records"), closing(open_for_reading(path)) as db:
        assert_ours(db, path)
        db.execute("BEGIN")
        yield db


def examine(path: Path) -> Standing:
    """Where these records can be gone on from.

    Raises:
        RecordsDamaged: they cannot, with what is wrong.
        RecordsUnusable: the disk or the permissions do not let us look.
        WrongSettings: a newer version of the program wrote them.
    """
    with snapshot(path) as db:
        is_small = path.stat().st_size <= CHECKED_WHOLE_BYTES
        trouble = (page_trouble(db) if is_small else None) or _newest_batch_trouble(db, path)
        if trouble:
            raise RecordsDamaged(f"{path}: the records are damaged: {trouble}")
        bench = db.execute("SELECT id FROM bench").fetchone()
        if bench is None or not isinstance(bench[0], str):
            raise RecordsDamaged(f"{path}: the records are damaged: the bench has no id")
        last = db.execute("SELECT sequence, chain FROM events ORDER BY sequence DESC LIMIT 1").fetchone()
        sequence, chain = last or (0, FIRST_CHAIN)
        return Standing(bench[0], sequence, chain, last_ids(db))


def assert_ours(db: sqlite3.Connection, path: Path) -> None:
    """Raises RecordsDamaged where this is no file of records, WrongSettings where it is a newer version's."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise RecordsDamaged(f"{path}: this is no file of records")
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if SCHEMA_VERSION < version <= CREDIBLE_VERSION:
        raise WrongSettings(
            f"{path}: {_writer(db)} wrote these records (schema {version}; this one knows {SCHEMA_VERSION}): "
            "install that version, or name another file"
        )
    if version != SCHEMA_VERSION:
        raise RecordsDamaged(f"{path}: the records are of no known version ({version})")


def page_trouble(db: sqlite3.Connection) -> str | None:
    """The first thing that SQLite finds wrong with the pages and indexes of the file, None where all is well."""
    found = db.execute("PRAGMA integrity_check(1)").fetchone()
    answer = str(found[0]) if found else "the check says nothing"
    return None if answer == "ok" else plain(answer)


def set_aside(path: Path, when: datetime) -> Path:
    """Rename a damaged file and its log to `.corrupt-TIME`, bit for bit as they are; returns the new name.

    The file goes first: were it to stay without its log, it would look sound and miss what the log holds.
    """
    aside = _free_name(path, when)
    with translated(path, "set the damaged records aside"):
        for old, new in ((path, aside), (log_of(path), log_of(aside))):
            if old.exists():
                old.rename(new)
        index_of(path).unlink(missing_ok=True)
        sync_folder(path.parent)
    return aside


def rescued(aside: Path) -> tuple[list[Envelope], dict[str, int]]:
    """What of a damaged file a bench goes on with, as far as it can be read.

    Returns the events of the batch that was open, where all of them are as they were written (else none), and the
    highest count of each day's batch ids, so that a cook does not write the same id on two tapes.
    """
    events: list[Envelope] = []
    ids: dict[str, int] = {}
    with suppress(ScaledError, ValueError), snapshot(aside) as db:
        events = open_batch(db) if _newest_batch_trouble(db, aside) is None else []
    with suppress(ScaledError, ValueError), snapshot(aside) as db:
        ids = last_ids(db)
    index_of(aside).unlink(missing_ok=True)
    return events, ids


def files_set_aside(path: Path) -> tuple[Path, ...]:
    """The damaged files that still lie beside the records: a person has to look at them, and then moves them away."""
    found = path.parent.glob(f"{_escaped(path.name)}.corrupt-*")
    return tuple(sorted(p for p in found if not p.name.endswith(("-wal", "-shm"))))


def _newest_batch_trouble(db: sqlite3.Connection, path: Path) -> str | None:
    newest = first_of_newest_batch(db)
    if newest is None:
        return None
    first = newest[1]
    before = db.execute("SELECT chain FROM events WHERE sequence = ?", (first - 1,)).fetchone()
    chain = FIRST_CHAIN if first == 1 else str(before and before[0])
    try:
        events = select_events(db, "WHERE events.sequence >= ?", (first,))
    except ValueError as error:
        return plain(error)
    for expected, stored in enumerate(events, first):
        chain = chain_hash(chain, stored.text)
        if stored.sequence != expected:
            return f"event {expected} is missing"
        if stored.chain != chain:
            return f"event {expected} is not what was written"
    for stored in events:
        _assert_known(stored, path)
    return None


def _assert_known(stored: StoredEvent, path: Path) -> None:
    """What is as it was written and still cannot be read is of another version, not damaged."""
    try:
        stored.envelope()
    except ValueError as error:
        what = f"another version of scaled wrote these records ({plain(error)})"
        raise WrongSettings(f"{path}: {what}: install that one, or name another file") from error


def _writer(db: sqlite3.Connection) -> str:
    try:
        program = db.execute("SELECT program FROM bench").fetchone()
    except sqlite3.Error:
        program = None
    return f"version {program[0]} of scaled" if program else "a newer version of scaled"


def _free_name(path: Path, when: datetime) -> Path:
    stem = f"{path.name}.corrupt-{when:%Y%m%dT%H%M%S}"
    names = (path.with_name(stem if count == 1 else f"{stem}-{count}") for count in range(1, 10_000))
    return next(name for name in names if not (name.exists() or log_of(name).exists()))


def _escaped(name: str) -> str:
    """A file name as a pattern that fits only itself."""
    return "".join(f"[{c}]" if c in "[]*?" else c for c in name)
