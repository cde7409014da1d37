"""The Snapshot as Server-Sent Events (HTML Living Standard, section 9.2): one stream a viewer, a cap on their number.

A stream sends the present Snapshot at once and then the newest each time that there is a newer one; a viewer who
reads slowly misses some but never sees an old one late. A comment every five seconds makes the write to a viewer
who went without a word fail; one who closed the connection is noticed at once. Either way the place is free again. A
stream ends after an hour at the latest, and soon once the page stops.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from threading import Event, Lock

from scaled.batch.protocols import SnapshotSource
from scaled.batch.snapshot import Snapshot
from scaled.page.status import StatusText

HEARTBEAT_S = 5.0
LONGEST_S = 3600.0
LOOK_S = 0.5  # how soon a stream notices that the page stops or that its viewer has gone
HEARTBEAT = b": heartbeat\n\n"


class Viewers:
    """The places for streams: as many as `most`, each taken once and given back once."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.refused = 0
        self._present = 0
        self._lock = Lock()

    @property
    def present(self) -> int:
        return self._present

    def enter(self) -> bool:
        """Take a place; False (and counted) where none is free."""
        with self._lock:
            if self._present >= self.most:
                self.refused += 1
                return False
            self._present += 1
            return True

    def leave(self) -> None:
        with self._lock:
            self._present -= 1


class EventStream:
    """The chunks of one viewer's stream. `close` gives the place back, also where not one chunk was asked for."""

    def __init__(
        self,
        source: SnapshotSource,
        viewers: Viewers,
        text: StatusText,
        stopping: Event,
        *,
        monotonic: Callable[[], float],
        is_gone: Callable[[], bool],
    ) -> None:
        self._source, self._viewers, self._text = source, viewers, text
        self._stopping, self._monotonic, self._is_gone = stopping, monotonic, is_gone
        self._seq: int | None = None
        self._ends_at = monotonic() + LONGEST_S
        self._beats_at = monotonic() + HEARTBEAT_S
        self._closing = Lock()

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        if self._seq is None:
            return self._event(self._source.latest())
        while not (self._stopping.is_set() or self._is_gone()):
            now = self._monotonic()
            if now >= self._ends_at:
                break
            if now >= self._beats_at:
                self._beats_at = now + HEARTBEAT_S
                return HEARTBEAT
            snapshot = self._source.newer_than(self._seq, min(LOOK_S, self._beats_at - now))
            if snapshot is not None:
                return self._event(snapshot)
        raise StopIteration

    def _event(self, snapshot: Snapshot) -> bytes:
        self._seq = snapshot.seq
        return b"event: status\nid: %d\ndata: %b\n\n" % (snapshot.seq, self._text.of(snapshot))

    def close(self) -> None:
        if self._closing.acquire(blocking=False):  # never released: the place is given back once
            self._viewers.leave()
