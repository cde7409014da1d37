"""The Snapshot as Server-Sent Events (HTML Living Standard, section 9.2): one stream a viewer, a cap on their number.

A stream sends the present Snapshot at once and then the newest each time that there is a newer one. One thread, the
crier, writes to all of them: fifty threads that wake at once for a few microseconds of work each would mostly wait for
one another. It never waits for a viewer who reads slowly: such a one misses some and then gets the newest.

A comment every five seconds makes the write to a viewer who went without a word fail; one who closed the connection is
noticed at once. Either way the place is free again. A stream ends after an hour at the latest, or when the page stops.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from threading import Event, Lock
from typing import Protocol

from scaled.batch.protocols import SnapshotSource
from scaled.batch.snapshot import Snapshot
from scaled.page.status import StatusText

WIRE = "scaled.wire"  # the key in a request's environment that the server lends its wire under
HEARTBEAT_S = 5.0
LONGEST_S = 3600.0
LOOK_S = 0.25  # how soon it is noticed that the page stops, or that a viewer has gone
HEARTBEAT = b": heartbeat\n\n"
log = logging.getLogger(__name__)


class Wire(Protocol):
    """The way to one viewer, as the server lends it."""

    def is_gone(self) -> bool:
        """Whether the viewer has closed the connection."""
        ...

    def is_behind(self) -> bool:
        """Whether something written before has not been taken yet."""
        ...

    def push(self, data: bytes) -> bool:
        """Write without waiting; False where that failed for good."""
        ...


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

    @property
    def is_full(self) -> bool:
        return self._present >= self.most

    def refuse(self) -> None:
        """Count one who found no place."""
        with self._lock:
            self.refused += 1

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


class Crier:
    """Tells every stream what is new. `run` in a thread of its own until `stopping` is set."""

    def __init__(
        self, source: SnapshotSource, text: StatusText, stopping: Event, monotonic: Callable[[], float]
    ) -> None:
        self._source, self._text, self._stopping = source, text, stopping
        self.monotonic = monotonic
        self._listening: set[EventStream] = set()
        self._lock = Lock()

    def run(self) -> None:
        told = -1
        while not self._stopping.is_set():
            try:
                snapshot = self._source.newer_than(told, LOOK_S) or self._source.latest()
                told = snapshot.seq
                self.tell(snapshot)
            except Exception:  # a mistake of ours: the streams end and come back, the page's other answers go on
                log.exception("the streams were cut off")
                self.end_all()
                self._stopping.wait(LOOK_S)
        self.end_all()

    def event(self, snapshot: Snapshot) -> bytes:
        return b"event: status\nid: %d\ndata: %b\n\n" % (snapshot.seq, self._text.of(snapshot))

    def latest(self) -> Snapshot:
        return self._source.latest()

    def tell(self, snapshot: Snapshot) -> None:
        """Give each stream what it is due now, and let go of those that are over."""
        now, event = self.monotonic(), self.event(snapshot)
        with self._lock:
            over = [stream for stream in self._listening if not stream.due(snapshot.seq, event, now)]
            self._listening.difference_update(over)
        for stream in over:
            stream.end()

    def attend(self, stream: EventStream) -> None:
        """From now on `stream` is told; what was published since it began, at once."""
        with self._lock:
            snapshot = self._source.latest()
            if not self._stopping.is_set() and stream.due(snapshot.seq, self.event(snapshot), self.monotonic()):
                self._listening.add(stream)
                return
        stream.end()

    def end_all(self) -> None:
        with self._lock:
            over, self._listening = self._listening, set()
        for stream in over:
            stream.end()


class EventStream:
    """The body of one viewer's response: the present Snapshot, then whatever the crier pushes until the stream is over.

    The server's thread waits meanwhile. `close` gives the place back, also where not one chunk was asked for. Behind a
    server that lends no wire the stream ends after the first Snapshot.
    """

    def __init__(self, crier: Crier, viewers: Viewers, wire: Wire | None) -> None:
        self._crier, self._viewers, self._wire = crier, viewers, wire
        self._seq: int | None = None
        now = crier.monotonic()
        self._ends_at, self._beats_at = now + LONGEST_S, now + HEARTBEAT_S
        self._over = Event()
        self._closing = Lock()

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        if self._seq is None:
            snapshot = self._crier.latest()
            self._seq = snapshot.seq
            return self._crier.event(snapshot)
        if self._wire is not None and not self._over.is_set():
            self._crier.attend(self)
            self._over.wait()
        raise StopIteration

    def due(self, seq: int, event: bytes, now: float) -> bool:
        """Push what is due; False where the stream is over."""
        wire = self._wire
        if wire is None or wire.is_gone() or now >= self._ends_at:
            return False
        if wire.is_behind():
            return True
        if seq != self._seq:
            self._seq = seq
            if not wire.push(event):
                return False
        if now >= self._beats_at:
            self._beats_at = now + HEARTBEAT_S
            return wire.push(HEARTBEAT)
        return True

    def end(self) -> None:
        self._over.set()

    def close(self) -> None:
        if self._closing.acquire(blocking=False):  # never released: the place is given back once
            self._viewers.leave()
