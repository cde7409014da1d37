"""The thread that writes the journal, so that the bench never waits for a disk.

Events are handed in with `submit`, kept in memory in their order, and committed by one thread; several that wait
are committed together. When the disk refuses (full, read-only, failing, or simply hanging) the bench works on: events
wait, the thread tries again and again, and `state` says "not recorded" until every one of them is on disk. When the
file itself turns out damaged it is set aside, and a new one begins with the events of the batch that is open.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from itertools import islice
from pathlib import Path
from threading import Condition, Thread

from scaled.batch.envelope import Envelope
from scaled.batch.events import BatchStarted, Event
from scaled.clock import Clock
from scaled.errors import RecordsUnusable, ScaledError
from scaled.records.batch_ids import BatchIds, id_without_records
from scaled.records.database import RecordsDamaged, RecordsMoved
from scaled.records.journal import Draft, Journal
from scaled.records.stored import assert_recordable

log = logging.getLogger(__name__)

MOST_WAITING = 10_000  # events: more than a day of a busy bench, some 20 MB
TOGETHER = 200  # events in one commit, when that many wait
LATE_S = 2.0  # real seconds; an event that waits longer counts as not recorded, whether the disk refuses or hangs


@dataclass(frozen=True)
class JournalState:
    """How the records fare.

    `waiting` events are in memory and not on disk; `refused` could not even wait; `why` is what the disk said last;
    `set_aside` are damaged files of earlier that nobody has moved away yet.
    """

    is_recorded: bool
    waiting: int = 0
    refused: int = 0
    why: str | None = None
    set_aside: tuple[Path, ...] = ()


class JournalWriter:
    """Writes events in order from a thread of its own.

    Args:
        path, clock: as `Journal` takes them.
        on_committed: called for each event once it is on disk, in order, from the writer's thread.
        on_failed: called once when an outage begins, from the writer's thread. From then on events wait in memory;
            `on_committed` follows for each of them when the disk is back.
        beat: called from the thread at least once a second: a sign of life for a watchdog.
        retry_s: real seconds between two tries.
        most_waiting: events that may wait.
    """

    def __init__(
        self,
        path: Path,
        clock: Clock,
        on_committed: Callable[[Envelope], None],
        on_failed: Callable[[ScaledError], None],
        *,
        beat: Callable[[], None] = lambda: None,
        retry_s: float = 1.0,
        most_waiting: int = MOST_WAITING,
    ) -> None:
        self._path = path
        self._clock = clock
        self._on_committed = on_committed
        self._on_failed = on_failed
        self._beat = beat
        self._retry_s = retry_s
        self._most_waiting = most_waiting
        self._late_s = LATE_S * max(1.0, 1.0 / clock.real_seconds(1.0))  # of a clock that is sped up
        self._ids = BatchIds()
        self._journal: Journal | None = None
        self._changed = Condition()
        self._waiting: deque[tuple[float, Draft]] = deque()
        self._open: list[Draft] = []  # what is on disk of the newest batch, should its file be lost
        self._why: str | None = None
        self._refused = 0
        self._most_together = TOGETHER
        self._is_stopping = False
        self._thread = Thread(target=self._run, name="journal", daemon=True)

    def start(self) -> list[Envelope]:
        """Take the records and begin to write; returns the events of the batch that is open.

        Where the disk refuses, the bench starts all the same, without an open batch, and not recorded.

        Raises:
            Busy: another writer has these records.
            WrongSettings: a newer version of the program wrote them.
        """
        envelopes: list[Envelope] = []
        try:
            self._journal = Journal(self._path, self._clock, self._ids)
            envelopes = self._journal.open_batch()
        except RecordsUnusable as error:
            self._fail(error)
        self._open = [Draft(e.batch, e.event, e.boot, e.wall) for e in envelopes]
        self._thread.start()
        return envelopes

    @property
    def state(self) -> JournalState:
        with self._changed:
            waited_s = self._clock.monotonic() - self._waiting[0][0] if self._waiting else 0.0
            return JournalState(
                is_recorded=self._why is None and waited_s <= self._late_s and self._refused == 0,
                waiting=len(self._waiting),
                refused=self._refused,
                why=self._why or ("the disk does not answer" if waited_s > self._late_s else None),
                set_aside=self._journal.set_aside if self._journal else (),
            )

    def submit(self, batch: str, event: Event) -> bool:
        """Hand in an event, stamped with the time of now; False where no more can wait, and nothing was taken.

        Raises ValueError where the event holds what JSON cannot say (a mistake of the program's).
        """
        assert_recordable(event)
        draft = Draft(batch, event, self._clock.boot_id(), self._clock.wall_iso())
        with self._changed:
            if self._is_stopping or len(self._waiting) >= self._most_waiting:
                self._refused += 1
                return False
            self._waiting.append((self._clock.monotonic(), draft))
            self._changed.notify_all()
        return True

    def new_batch_id(self, wall_date: date) -> str:
        """An id for a batch that begins on this day; never waits, and is another one each time."""
        return id_without_records(wall_date) if self._journal is None else self._ids.new(wall_date)

    @property
    def is_running(self) -> bool:
        """Whether its thread is there: after an end that was asked for it hangs."""
        return self._thread.is_alive()

    def stop(self, timeout_s: float = 4.0) -> int:
        """Write what waits, let go of the records, and return how many events are left that no disk took."""
        with self._changed:
            self._is_stopping = True
            self._changed.notify_all()
        self._thread.join(timeout_s)
        with self._changed:
            left = len(self._waiting)
        if left:
            why = self.state.why or f"the disk did not take them within {timeout_s:g} s"
            log.error("events that could not be recorded: %d: %s", left, why)
        return left

    def _run(self) -> None:
        """Commit what waits until told to stop; at the end one last try, whatever the disk said before."""
        while True:
            drafts = self._next()
            if drafts or self._why is not None:
                if not self._commit(drafts) and self._is_stopping:
                    break
            elif self._is_stopping:
                break
        if self._journal is not None:
            self._journal.close()

    def _next(self) -> list[Draft]:
        """What is to be committed now; empty after a while in which nothing was."""
        self._beat()
        with self._changed:
            if not self._waiting and not self._is_stopping:
                self._changed.wait(1.0)
            return [draft for _, draft in islice(self._waiting, self._most_together)]

    def _commit(self, drafts: list[Draft]) -> bool:
        try:
            envelopes = self._written(drafts)
        except ScaledError as error:
            self._most_together = 1  # a disk that is nearly full may still take one
            self._fail(error)
            self._pause()
            return False
        self._most_together = TOGETHER
        with self._changed:
            for _ in drafts:
                self._waiting.popleft()
            is_back = self._why is not None and not self._waiting
            if is_back:
                self._why = None
        self._keep_open(drafts)
        for envelope in envelopes:
            self._on_committed(envelope)
        if is_back:
            log.warning("%s: all is recorded again", self._path)
        return True

    def _written(self, drafts: list[Draft]) -> list[Envelope]:
        """Commit them; where the file turns out damaged or moved, once more in what then stands in its place."""
        try:
            return self._appended(drafts)
        except (RecordsDamaged, RecordsMoved) as error:
            log.error("%s; the batch that is open goes on in new records", error)
            journal, self._journal = self._journal, None
            if journal is not None:
                (journal.abandon if isinstance(error, RecordsDamaged) else journal.close)()
        return self._appended(drafts)

    def _appended(self, drafts: list[Draft]) -> list[Envelope]:
        if self._journal is None:
            self._journal = Journal(self._path, self._clock, self._ids)
        carried = self._open if self._journal.is_new else []
        return self._journal.append_all([*carried, *drafts])[len(carried) :]

    def _keep_open(self, drafts: list[Draft]) -> None:
        for draft in drafts:
            if isinstance(draft.event, BatchStarted):
                self._open = []
            self._open.append(draft)

    def _fail(self, error: ScaledError) -> None:
        with self._changed:
            is_new = self._why is None
            self._why = str(error)
        if is_new:
            self._on_failed(error)

    def _pause(self) -> None:
        """Wait before the next try, with signs of life; a stop ends the wait."""
        left_s = self._retry_s
        while left_s > 0:
            self._beat()
            with self._changed:
                if self._is_stopping:
                    return
                self._changed.wait(min(left_s, 1.0))
            left_s -= 1.0
