"""The bench thread: the only one that decides and guides.

It never waits for the disk. What was decided goes to the journal's writer, and what the cook is shown stays as it was
until the writer says that it is on disk; meanwhile the numbers go on. When the disk refuses, what is shown runs ahead
of it and says so: not recorded.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from threading import Event as Flag
from threading import Thread
from typing import Protocol

from scaled.batch.apply import fold
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.cue import Cue
from scaled.batch.envelope import Envelope
from scaled.batch.events import Event
from scaled.batch.inputs import BeginBatch, Input, Restarted, ScaleBack, ScaleLost, TakeOffer, Tick, WeightSeen
from scaled.batch.protocols import Accepted, Refused
from scaled.batch.snapshot import Snapshot
from scaled.batch.step import step
from scaled.batch.view import snapshot_of
from scaled.board import SnapshotBoard
from scaled.clock import Clock
from scaled.daemon.inbox import Committed, Inbox, Request
from scaled.weighing.values import Weight

log = logging.getLogger(__name__)

TICK_S = 0.2
LEAST_GAP_S = 0.05
LONGEST_GAP_S = 1.0
SHORTEST_WAIT_S = 0.001


class Recorder(Protocol):
    """What the bench needs of the journal's writer."""

    def submit(self, batch: str, event: Event) -> bool: ...

    @property
    def is_recorded(self) -> bool: ...


@dataclass
class Standing:
    """An intent that was taken and waits for the Snapshot that shows it: shown once `events` are on disk."""

    request: Request
    events: int


class BenchThread:
    """Runs the machine for one scale, from `start` to `stop`; `step_shown_at` is since when the step now open is shown.

    Args:
        clock: bench time.
        inbox: what reaches the bench.
        recorder: where events go.
        scale: the scale's name.
        show_cue: called several times a second with the cue that holds; must return at once.
        beat: called each time the loop moves, with bench time.
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
        self._clock, self._inbox, self._recorder, self._scale = clock, inbox, recorder, scale
        self._show_cue, self._beat = show_cue, beat
        self._batch: Batch | None = None
        self._bench = Bench(at=clock.monotonic())
        self._told: tuple[Batch | None, Bench] = (None, self._bench)
        self._submitted = self._committed = 0
        self._standing: list[Standing] = []
        self._question: tuple[float, int] | None = None
        self._step_shown: tuple[object, ...] = ()
        self.step_shown_at = clock.monotonic()
        self._stop = Flag()
        self.board = SnapshotBoard(self._snapshot(seq=1))
        self._thread = Thread(target=self._run, name="bench", daemon=True)

    def start(self, open_batch: Sequence[Envelope] = ()) -> None:
        """Begin; a batch that a power cut left open goes on where it was."""
        if open_batch:
            self._batch = fold([envelope.event for envelope in open_batch])
            self._told = (self._batch, self._bench)
            self._take(Restarted(self._clock.monotonic()))
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        self._stop.set()
        self._thread.join(timeout_s)

    def _run(self) -> None:
        ticked_at = self._clock.monotonic()
        while not self._stop.is_set():
            wait_s = self._clock.real_seconds(ticked_at + TICK_S - self._clock.monotonic())
            item = self._inbox.take(max(SHORTEST_WAIT_S, wait_s))
            now = self._clock.monotonic()
            self._beat(now)
            try:
                if item is not None:
                    self._handle(item)
                if now - ticked_at >= TICK_S:
                    ticked_at = now
                    self._take(Tick(now))
                self._publish()
                self._show_cue(self.board.latest().cue)
            except Exception:
                log.exception("bench: a mistake in the program; this input is left out")

    def _handle(self, item: Weight | ScaleLost | ScaleBack | Committed | Request) -> None:
        match item:
            case Weight():
                self._take(WeightSeen(item.at, item))
            case Committed():
                self._committed += 1
            case Request():
                self._answer(item)
            case ScaleLost() | ScaleBack():
                self._take(item)

    def _answer(self, request: Request) -> None:
        intent = request.intent
        if isinstance(intent, TakeOffer) and self._is_stale(intent):
            request.answer.set_result(Refused("conflict", "these offers are no longer the ones that stand: look again"))
            return
        refused = self._take(intent)
        if refused is not None:
            request.answer.set_result(refused)
            return
        self._standing.append(Standing(request, self._submitted))

    def _is_stale(self, intent: TakeOffer) -> bool:
        if intent.seq is None or self._batch is None or self._batch.question is None:
            return False
        return self._question is None or intent.seq < self._question[1]

    def _take(self, given: Input) -> Refused | None:
        """One step of the machine; its events go to the recorder."""
        if not self._is_waiting:
            self._told = (self._batch, self._bench)
        taken = step(self._batch, self._bench, given)
        if taken.refusal is not None:
            return Refused(taken.refusal.reason, taken.refusal.why)
        self._batch, self._bench = taken.batch, taken.bench
        for event in taken.events:
            if self._recorder.submit(self._batch.id if self._batch else "", event):
                self._submitted += 1
        if not taken.events and not self._is_waiting:
            self._told = (self._batch, self._bench)
        return None

    @property
    def _is_waiting(self) -> bool:
        """Something was decided that is not on disk yet, and the disk still answers."""
        return self._committed < self._submitted and self._recorder.is_recorded

    def _snapshot(self, seq: int) -> Snapshot:
        """What may be shown: the batch as it is on disk, the weight as it is now."""
        batch, bench = self._batch, self._bench
        if self._is_waiting:
            batch, told = self._told
            bench = replace(told, at=bench.at, weight=bench.weight, is_scale_lost=bench.is_scale_lost)
        return snapshot_of(
            batch,
            bench,
            seq=seq,
            wall=self._clock.wall_iso(),
            scale=self._scale,
            is_recorded=self._recorder.is_recorded,
        )

    def _publish(self) -> None:
        """Pin up a Snapshot where there is something new to see; answer the intents that it shows."""
        last = self.board.latest()
        snapshot = self._snapshot(last.seq + 1)
        shown = [s for s in self._standing if not self._is_waiting or s.events <= self._committed]
        gap_s = snapshot.at - last.at
        is_same = replace(snapshot, seq=last.seq, at=last.at, wall=last.wall) == last
        is_live_only = replace(snapshot, seq=last.seq, at=last.at, wall=last.wall, weight=last.weight) == last
        if not shown and ((is_same and gap_s < LONGEST_GAP_S) or (is_live_only and gap_s < LEAST_GAP_S)):
            return
        self.board.publish(snapshot)
        step_shown = (snapshot.batch, snapshot.addition and snapshot.addition.key, snapshot.offers)
        if step_shown != self._step_shown:
            self._step_shown, self.step_shown_at = step_shown, snapshot.at
        self._note_question(snapshot)
        for standing in shown:
            self._standing.remove(standing)
            begun = standing.request.intent.batch if isinstance(standing.request.intent, BeginBatch) else None
            standing.request.answer.set_result(Accepted(snapshot.seq, begun))

    def _note_question(self, snapshot: Snapshot) -> None:
        """Since which Snapshot the question that stands has been shown."""
        question = self._batch.question if self._batch else None
        if question is None or not snapshot.offers:
            self._question = None
        elif self._question is None or self._question[0] != question.asked_at:
            self._question = (question.asked_at, snapshot.seq)
