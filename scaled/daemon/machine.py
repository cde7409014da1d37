"""The machine on this bench: takes inputs, hands events to the journal, and knows what may be shown.

What was decided counts at once for the next decision. It is shown only once it is on disk: until then the batch stands
there as it was, with the weight as it is now, and the cook is guided on by that. When the disk refuses or hangs, what
is shown runs ahead of it, and says so: not recorded. What was shown once never goes back.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from scaled.batch.apply import fold
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.cue import Cue
from scaled.batch.events import Event
from scaled.batch.guide import guide
from scaled.batch.inputs import Input
from scaled.batch.protocols import Refused
from scaled.batch.step import step
from scaled.weighing.values import Weight


class Recorder(Protocol):
    """What the bench needs of the journal's writer; neither of these ever waits."""

    def submit(self, batch: str, event: Event) -> bool: ...

    @property
    def is_recorded(self) -> bool: ...


@dataclass(frozen=True)
class Shown:
    """A batch and its bench as they may be shown; `taken` is how many inputs they are the answer to."""

    batch: Batch | None
    bench: Bench
    taken: int


class Machine:
    """One batch after the other. `shown` is renewed by `settle`; all calls from one thread."""

    def __init__(self, recorder: Recorder, at: float) -> None:
        self._recorder = recorder
        self._now = Shown(None, Bench(at=at), 0)
        self._on_disk = self._now  # the newest state of which every event is on disk
        self._waiting: deque[tuple[int, Shown]] = deque()  # states with events still on their way: how many must be in
        self._submitted = self._committed = 0
        self.is_recorded = True
        self.shown = self._now

    @property
    def batch(self) -> Batch | None:
        """The batch as it was decided, whether that may be shown yet or not."""
        return self._now.batch

    @property
    def at(self) -> float:
        """The time of the newest input; no later one may be before it."""
        return self._now.bench.at

    @property
    def taken(self) -> int:
        """How many inputs were taken."""
        return self._now.taken

    def restore(self, events: Sequence[Event]) -> None:
        """Go on with the batch of these events; raises ValueError where they make none."""
        self._now = self._on_disk = self.shown = replace(self._now, batch=fold(list(events)))

    def take(self, given: Input) -> Refused | None:
        """One step; its events go to the recorder. A refusal, or an error, has changed nothing."""
        taken = step(self._now.batch, self._now.bench, given)
        if taken.refusal is not None:
            return Refused(taken.refusal.reason, taken.refusal.why)
        for event in taken.events:
            if self._recorder.submit(taken.batch.id if taken.batch else "", event):
                self._submitted += 1
        self._now = Shown(taken.batch, taken.bench, self._now.taken + 1)
        if taken.events:
            self._waiting.append((self._submitted, self._now))
        return None

    def see_only(self, weight: Weight) -> None:
        """The number goes on although nothing can be made of it."""
        self._now = replace(self._now, bench=replace(self._now.bench, at=weight.at, weight=weight, cue=Cue("wait")))

    def committed(self) -> None:
        """One more event is on disk; they come in the order in which they were handed in."""
        self._committed += 1

    def settle(self) -> Shown:
        """What may be shown now."""
        self.is_recorded = self._recorder.is_recorded
        if not self.is_recorded:
            self._waiting.clear()
        while self._waiting and self._waiting[0][0] <= self._committed:
            self._on_disk = self._waiting.popleft()[1]
        if self._waiting:
            self.shown = _kept_alive(self._on_disk, self._now.bench)
        else:
            self.shown = self._on_disk = self._now
        return self.shown


def _kept_alive(told: Shown, live: Bench) -> Shown:
    """What was told last with the weight of now: lights and words go on, but nothing new is spoken."""
    bench = replace(told.bench, at=live.at, weight=live.weight, is_scale_lost=live.is_scale_lost)
    guided = guide(told.batch, bench)
    cue = replace(guided.cue, spoken=told.bench.cue.spoken)
    return replace(told, bench=replace(guided, cue=cue, spoken_for=told.bench.spoken_for))
