"""Where the bench pins up its newest Snapshot, and where any number of viewers wait for the next one.

One writer, many readers, one condition: a reader always gets the newest Snapshot and never a queue of old ones, so a
slow viewer costs the bench nothing. `SnapshotBoard` is the `SnapshotSource` of `batch.protocols`.
"""

from __future__ import annotations

from threading import Condition

from scaled.batch.snapshot import Snapshot


class SnapshotBoard:
    """The newest Snapshot, from the first one that it is made with."""

    def __init__(self, first: Snapshot) -> None:
        self._newest = first
        self._changed = Condition()

    def publish(self, snapshot: Snapshot) -> None:
        """Pin up a Snapshot and wake all who wait.

        Raises:
            ValueError: its `seq` is not above that of the one before; a viewer would never see it.
        """
        with self._changed:
            if snapshot.seq <= self._newest.seq:
                raise ValueError(f"a Snapshot's seq grows: {snapshot.seq} after {self._newest.seq}")
            self._newest = snapshot
            self._changed.notify_all()

    def latest(self) -> Snapshot:
        return self._newest

    def newer_than(self, seq: int, timeout_s: float) -> Snapshot | None:
        """Block until a Snapshot newer than `seq` is there; None when `timeout_s` real seconds have passed."""
        with self._changed:
            if not self._changed.wait_for(lambda: self._newest.seq > seq, timeout_s):
                return None
            return self._newest
