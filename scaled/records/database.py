"""Opening the records: SQLite connections that are what they should be, or an error that says why not.

Strategy (each point was measured or is SQLite's own documentation):

* A write-ahead log with `synchronous=FULL`: the commit of one event is one append and one fdatasync, and an event
  that was acknowledged outlives a power cut. NORMAL loses events, OFF the file; so both settings are read back.
* Pages of 1024 bytes: a commit appends every page it touched, some three of them.
* Only `open_for_writing` can write, and only the journal calls it, under the lock of `lock.py`: two connections that
  write or checkpoint at once are what the known faults of SQLite's write-ahead log need. No memory map.
* Every other connection is `mode=ro`: it reads beside the writer, never waits for it and never checkpoints.
* A new file is made under another name and renamed: there is never half a file of records.
"""

from __future__ import annotations

import os
import sqlite3
import stat
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

from scaled.errors import RecordsUnusable

SCHEMA_VERSION = 1
APPLICATION_ID = 0x5343414C  # "SCAL", in the file's header
PAGE_BYTES = 1024
FULL = 2  # what PRAGMA synchronous answers
BUSY_TIMEOUT_S = 5.0  # a reader may meet a writer that has just been killed and whose log is being read in

_REASONS = {  # all else that SQLite says of statements that are right means that the file is damaged
    "SQLITE_FULL": "the disk is full: make room",
    "SQLITE_IOERR": "the disk fails or is full: make room, or try another disk",
    "SQLITE_READONLY": "it is read-only for this user: look at its owner, and at how the disk is mounted",
    "SQLITE_CANTOPEN": "it cannot be opened: look at its owner, and whether its folder is there",
    "SQLITE_PERM": "this user may not: look at its owner",
    "SQLITE_BUSY": "another program keeps it locked: end that one",
    "SQLITE_PROTOCOL": "another program keeps it locked: end that one",
    "SQLITE_NOMEM": "there is no memory left",
}


class RecordsDamaged(RecordsUnusable):
    """The file of records is there and can be opened, but what it holds is no longer whole."""


class RecordsMoved(RecordsUnusable):
    """The file was deleted, moved or replaced while it was written to: what is written now would be lost."""


@contextmanager
def translated(path: Path, doing: str) -> Iterator[None]:
    """Turn what SQLite and the system raise into RecordsUnusable (RecordsDamaged), with the reason and what to do."""
    try:
        yield
    except sqlite3.ProgrammingError:
        raise  # a closed connection and the like: a mistake of ours, not of the file
    except UnicodeDecodeError as error:  # what SQLite said of it quoted damaged bytes
        raise RecordsDamaged(
            f"{path}: cannot {doing}: the file is damaged: 'scaled batch verify' says where"
        ) from error
    except sqlite3.Error as error:
        name = "_".join(getattr(error, "sqlite_errorname", "").split("_")[:2])
        if name in _REASONS:
            raise RecordsUnusable(f"{path}: cannot {doing}: {_REASONS[name]} ({plain(error)})") from error
        raise RecordsDamaged(
            f"{path}: cannot {doing}: the file is damaged ({plain(error)}): 'scaled batch verify' says where"
        ) from error
    except OSError as error:
        raise RecordsUnusable(f"{path}: cannot {doing}: {error.strerror or error}") from error


def assert_file(path: Path) -> None:
    """Raises RecordsUnusable where something else than a file has that name: it is neither opened nor replaced."""
    with translated(path, "open the records"):
        try:
            mode = path.stat().st_mode
        except (FileNotFoundError, NotADirectoryError):
            return
    if stat.S_ISDIR(mode):
        raise RecordsUnusable(f"{path}: this is a folder: name the file in it, like {path / 'records.db'}")
    if not stat.S_ISREG(mode):
        raise RecordsUnusable(f"{path}: this is a device, a pipe or a socket: records are kept in a file")


def plain(words: object) -> str:
    """What SQLite says, which may quote damaged bytes, as part of one line."""
    line = " ".join(str(words).split())
    return "".join(c if c.isprintable() else "?" for c in line[:200])


def open_for_writing(path: Path) -> sqlite3.Connection:
    """The writer's connection to a file that is there; for the journal alone, which holds the lock.

    Raises:
        RecordsUnusable: it cannot be opened, or its settings do not hold (no write-ahead log on this file system).
    """
    with translated(path, "open the records"):
        db = _connect(path, "rw")
        try:
            db.execute("PRAGMA journal_mode = WAL")  # a copy that was put in place is no WAL file yet
            db.execute("PRAGMA synchronous = FULL")
            db.execute("PRAGMA foreign_keys = ON")
            assert_durable(db, path)
            db.execute("SELECT count(*) FROM bench").fetchone()
        except BaseException:
            db.close()
            raise
        return db


def open_for_reading(path: Path) -> sqlite3.Connection:
    """A connection that can only read, in any thread, while a writer works.

    A user who may not write to the folder can read, too: where no writer has left its log, nothing changes the file,
    and it is opened as it is.

    Raises:
        RecordsUnusable: there is no such file, or it cannot be read.
    """
    assert_file(path)
    if not path.exists():
        raise RecordsUnusable(f"{path}: there are no records yet: the first batch on this bench begins them")
    with translated(path, "read the records"):
        db = _connect(path, "ro")
        try:
            db.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone()
        except sqlite3.OperationalError:
            db.close()
            if os.access(path.parent, os.W_OK) or not os.access(path, os.R_OK) or log_of(path).exists():
                raise
            db = _connect(path, "ro", "&immutable=1")
        except BaseException:
            db.close()
            raise
        return db


def create(path: Path, made: str) -> None:
    """Make a new file of records with an empty journal; it appears whole, or not at all.

    Args:
        path: where there is no file.
        made: the wall time, ISO 8601 with offset.
    """
    half = path.with_name(path.name + ".new")
    with translated(path, "begin new records"):
        for rest in (half, log_of(half), index_of(half), half.with_name(half.name + "-journal")):
            rest.unlink(missing_ok=True)
        db = _connect(half, "rwc")
        try:
            _lay_out(db, made)
        finally:
            db.close()
        half.rename(path)
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable: a rename is on disk only after this."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def log_of(path: Path) -> Path:
    """SQLite's write-ahead log beside a file."""
    return path.with_name(path.name + "-wal")


def index_of(path: Path) -> Path:
    """SQLite's index of that log: shared memory, worth nothing after a restart."""
    return path.with_name(path.name + "-shm")


def _connect(path: Path, mode: str, more: str = "") -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}{more}",
        uri=True,
        timeout=BUSY_TIMEOUT_S,
        isolation_level=None,
        check_same_thread=False,
    )


def _lay_out(db: sqlite3.Connection, made: str) -> None:
    from importlib.metadata import version

    db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    schema = files("scaled.records").joinpath("schema.sql").read_text(encoding="utf-8")
    db.executescript(
        f"BEGIN IMMEDIATE; {schema} PRAGMA application_id = {APPLICATION_ID}; "
        f"PRAGMA user_version = {SCHEMA_VERSION}; COMMIT;"
    )
    db.execute("INSERT INTO bench VALUES (?, ?, ?)", (uuid.uuid4().hex[:12], made, version("scaled")))


def assert_durable(db: sqlite3.Connection, path: Path) -> None:
    """Read back what keeps an event over a power cut; raises RecordsUnusable where it does not hold."""
    mode = db.execute("PRAGMA journal_mode").fetchone()[0]
    synchronous = db.execute("PRAGMA synchronous").fetchone()[0]
    if (mode, synchronous) != ("wal", FULL):
        raise RecordsUnusable(
            f"{path}: an event would not outlive a power cut here (journal mode {mode}, synchronous {synchronous}): "
            "keep the records on a local disk"
        )
