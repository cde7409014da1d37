"""The bench thread: the only one that decides and guides. It never waits for the disk, the page, a pin or a voice.

Each round takes one thing from the queue, lets the machine have it, and pins up what there is to see. A mistake in the
program leaves out the input that met it and is told once in the log; the numbers go on.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf
from threading import Event as Flag
from threading import Thread

from scaled.batch.cue import Cue
from scaled.batch.events import Event
from scaled.batch.inputs import BeginBatch, Restarted, ScaleBack, ScaleLost, TakeOffer, Tick, Wanted, WeightSeen, Wish
from scaled.batch.protocols import Accepted, Refused
from scaled.board import SnapshotBoard
from scaled.clock import Clock
from scaled.daemon.inbox import Asked, Committed, Inbox, Item, Request
from scaled.daemon.machine import Machine, Recorder
from scaled.daemon.showing import Showing
from scaled.weighing.values import Weight

log = logging.getLogger(__name__)

TICK_S = 0.2
SHORTEST_WAIT_S = 0.001
ANSWERS: tuple[Wish, ...] = ("next", "start again")

STALE = Refused("conflict", "what is asked is no longer what was shown: look again")
STOPPING = Refused("full", "the bench is stopping")


@dataclass(frozen=True, eq=False)
class Standing:
    """An intent that was taken and waits for the Snapshot that shows it: one that answers `taken` inputs."""

    request: Request
    taken: int


class BenchThread:
    """Runs the machine for one scale, from `start` to `stop`.

    Args:
        clock: bench time.
        inbox: what reaches the bench.
        recorder: where events go.
        scale: the scale's name.
        show_cue: called several times a second with the cue that holds; must return at once.
        beat: called each time the loop moves, with bench time.

    `at_rest` is what a clock that waits for the bench looks at: the time of the newest weight that can be seen, and
    when the bench will act by itself; None while something that was decided is not shown yet.
    """

    def __init__(
        self,
        clock: Clock,
        inbox: Inbox,
        recorder: Recorder,
        scale: str | None,
        show_cue: Callable[[Cue], None] = lambda _cue: None,
        beat: Callable[[float], None] = lambda _at: None,
    ) -> None:
        self._clock, self._inbox = clock, inbox
        self._show_cue, self._beat = show_cue, beat
        self._machine = Machine(recorder, clock.monotonic())
        self.showing = Showing(clock, self._machine, scale)
        self.mistakes = 0
        self.at_rest: tuple[float, float] | None = None
        self._told_mistakes: set[tuple[str, object]] = set()
        self._standing: list[Standing] = []
        self._ticked_at = clock.monotonic()
        self._cue: Cue | None = None
        self._restored: Restarted | None = None
        self._stop = Flag()
        self._thread = Thread(target=self._run, name="bench", daemon=True)

    @property
    def board(self) -> SnapshotBoard:
        """Where the newest Snapshot is pinned up."""
        return self.showing.board

    def restore(self, events: Sequence[Event], *, is_same_boot: bool) -> None:
        """Before the start: go on with the batch of these events. Nothing is decided yet.

        Raises:
            ValueError: they make no batch.
        """
        self._machine.restore(events)
        self._restored = Restarted(self._clock.monotonic(), is_same_boot)
        self.showing.publish(self._clock.monotonic(), is_asked=True)

    def start(self) -> None:
        if self._restored is not None:
            self._survive(self._machine.take, self._restored)
        self._thread.start()

    @property
    def is_running(self) -> bool:
        """Whether its thread is there: after an end that was asked for it hangs."""
        return self._thread.is_alive()

    def stop(self, timeout_s: float = 2.0) -> None:
        """End the loop; whoever still waits for an answer has one."""
        self._stop.set()
        left = self._inbox.close()
        if self.is_running:
            self._thread.join(timeout_s)
        for request in (*left, *(standing.request for standing in self._standing)):
            if request.answer.running() or request.answer.set_running_or_notify_cancel():
                request.answer.set_result(STOPPING)

    def _run(self) -> None:
        while not self._stop.is_set():
            item = self._inbox.take(self._wait_s())
            now = self._clock.monotonic()
            self._beat(now)
            if item is not None:
                self._survive(self._handle, item, now)
            if now - self._ticked_at >= TICK_S:
                self._ticked_at = now
                self._survive(self._machine.take, Tick(self._not_before(now)))
            self._survive(self._show, now)

    def _wait_s(self) -> float:
        """Until the next tick or the next Snapshot is due; real seconds."""
        return max(SHORTEST_WAIT_S, self._clock.real_seconds(self._due_at() - self._clock.monotonic()))

    def _due_at(self) -> float:
        return min(self._ticked_at + TICK_S, self.showing.due_at())

    def _not_before(self, at: float) -> float:
        """Time does not go back: what waited in the queue is from before the newest tick, by milliseconds."""
        return max(at, self._machine.at)

    def _survive(self, action: Callable[..., object], *given: object) -> None:
        """Do it; a mistake of the program's is counted, and told once for each place where it happens."""
        try:
            action(*given)
        except Exception as error:
            self.mistakes += 1
            trace = error.__traceback__
            while trace is not None and trace.tb_next is not None:
                trace = trace.tb_next
            place = (type(error).__name__, trace and (trace.tb_frame.f_code, trace.tb_lineno))
            if place not in self._told_mistakes:
                self._told_mistakes.add(place)
                log.exception("bench: a mistake in the program; this input is left out")

    def _handle(self, item: Item, now: float) -> None:
        match item:
            case Weight():
                self._weigh(item)
            case Committed():
                self._machine.committed()
            case Request():
                self._answer(item, self._not_before(now))
            case ScaleLost() | ScaleBack():
                self._machine.take(replace(item, at=self._not_before(item.at)))

    def _weigh(self, weight: Weight) -> None:
        if weight.at < self._machine.at:
            weight = replace(weight, at=self._machine.at)
        try:
            self._machine.take(WeightSeen(weight.at, weight))
        except Exception:
            self._machine.see_only(weight)
            raise

    def _answer(self, request: Request, at: float) -> None:
        """Let the machine have an intent; it is answered now if refused, else with the Snapshot that shows it."""
        if not request.answer.set_running_or_notify_cancel():
            return
        try:
            refused = self._refused(request.intent) or self._machine.take(replace(request.intent, at=at))
        except Exception as error:
            request.answer.set_exception(error)
            raise
        if refused is not None:
            request.answer.set_result(refused)
        else:
            self._standing.append(Standing(request, self._machine.taken))

    def _refused(self, intent: Asked) -> Refused | None:
        """An answer to something that was not shown, or not in the Snapshot that it refers to, is none."""
        is_answer = isinstance(intent, TakeOffer) or (isinstance(intent, Wanted) and intent.wish in ANSWERS)
        if is_answer and not self.showing.has_shown(self._machine.batch):
            return STALE
        seq = intent.seq if isinstance(intent, TakeOffer) else None
        is_asked = self._machine.batch is not None and self._machine.batch.question is not None
        return STALE if seq is not None and is_asked and not self.showing.was_shown_in(seq) else None

    def _show(self, now: float) -> None:
        """Pin up what may be shown, answer the intents that it shows, and let the lights have it."""
        shown = self._machine.settle()
        answered = [standing for standing in self._standing if standing.taken <= shown.taken]
        snapshot = self.showing.publish(now, is_asked=bool(answered))
        for standing in answered:
            self._standing.remove(standing)
            intent = standing.request.intent
            if snapshot is not None:
                begun = intent.batch if isinstance(intent, BeginBatch) else None
                standing.request.answer.set_result(Accepted(snapshot.seq, begun))
        weight, is_all = shown.bench.weight, shown.taken == self._machine.taken
        self.at_rest = (weight.at if weight else -inf, self._due_at()) if is_all else None
        if shown.bench.cue != self._cue or self._ticked_at == now:  # a cue that is not renewed goes dark
            self._cue = shown.bench.cue
            self._show_cue(self._cue)
