"""One writer: who holds the lock beside the records may write to them, in this process and in all others.

The lock is the kernel's (`flock(2)`) on a file of its own, so it ends with the process, however that ends, and
touches nothing that SQLite locks. The file stays; it holds the process id of the last writer.
"""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

from scaled.errors import Busy, RecordsUnusable


class WriterLock:
    """Taken by being made; raises Busy where another writer has it, RecordsUnusable where no file can be made."""

    def __init__(self, records: Path) -> None:
        path = records.with_name(records.name + ".lock")
        try:
            self._descriptor: int | None = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except FileNotFoundError as error:
            raise RecordsUnusable(
                f"{records}: there is no folder {records.parent}: make it, or name another"
            ) from error
        except OSError as error:
            raise RecordsUnusable(f"{path}: cannot lock the records: {error.strerror}") from error
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            owner = os.read(self._descriptor, 20).decode(errors="replace").strip()
            self.release()
            raise Busy(f"{records}: process {owner or 'of another user'} writes these records: end it first") from error
        except OSError as error:
            self.release()
            raise RecordsUnusable(f"{path}: cannot lock the records: {error.strerror}") from error
        self._sign()

    def release(self) -> None:
        """Let another one write; does nothing the second time."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _sign(self) -> None:
        """Leave the process id for the one who is turned away; a full disk may refuse that, and the lock holds."""
        if self._descriptor is None:
            return
        try:
            os.ftruncate(self._descriptor, 0)
            os.pwrite(self._descriptor, str(os.getpid()).encode(), 0)
        except OSError:
            return
