"""A whole batch without waiting: simulated scale, weighing, machine and cook in one loop over simulated time.

The daemon does the same with threads, a real line and a clock; here a batch of minutes takes a fraction of a second.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.events import BenchFacts, Event
from scaled.batch.inputs import BeginBatch, Input, Intent, TakeOffer, Tick, Wanted, WeightSeen
from scaled.batch.step import step
from scaled.batch.view import snapshot_of
from scaled.simulator.cook import Cook, CookStyle
from scaled.simulator.hands import Hands
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.scale import SimulatedScale
from scaled.weighing.weigher import Weigher, WeigherSettings

MOMENT_S = 0.02
TICK_S = 0.2
LINGERS_S = 5.0  # after the end of the batch, for its late grains


def bench_of(parameters: ScaleParameters) -> BenchFacts:
    """What a batch on a simulated scale is frozen with."""
    d = parameters.division_mg
    return BenchFacts("simulated", d, max(0.3, parameters.noise_d) * d, parameters.capacity_mg)


@dataclass
class Kitchen:
    """One batch in the making; `run` carries it to its end or to `most_s` of simulated time.

    `begin` is what it begins with; its bench is `bench_of` the same parameters.
    """

    begin: BeginBatch
    parameters: ScaleParameters
    style: CookStyle
    seed: int
    batch: Batch | None = None
    bench: Bench = field(default_factory=Bench)
    events: list[Event] = field(default_factory=list)
    seq: int = 0

    def __post_init__(self) -> None:
        source = random.Random(self.seed)  # noqa: S311 - no secret, a simulation
        self.scale = SimulatedScale(self.parameters, seed=source.randrange(2**31))
        self.hands = Hands(self.scale)
        self.cook = Cook(self.hands, self.style, source, self._wish)
        self.weigher = Weigher(WeigherSettings())
        self._wishes: list[Intent] = []

    def run(self, most_s: float = 1800.0) -> Batch:
        """The batch at its end."""
        self._take(self.begin)
        at, ticked_at = 0.0, 0.0
        until = most_s
        while at < until:
            if until == most_s and self.batch is not None and not self.batch.is_open:
                until = at + LINGERS_S
            at += MOMENT_S
            for reading in self.scale.readings_to(at):
                self._take(WeightSeen(reading.at, self.weigher.see(reading)))
            if at - ticked_at >= TICK_S:
                ticked_at = at
                self._take(Tick(at))
            self.cook.act(at)
            while self._wishes:
                self._take(self._wishes.pop(0))
        if self.batch is None:
            raise ValueError("the batch did not begin")
        return self.batch

    def _wish(self, intent: Intent) -> None:
        self._wishes.append(intent)

    def _take(self, given: Input | Intent) -> None:
        if not isinstance(given, WeightSeen | Tick | BeginBatch | Wanted | TakeOffer):
            raise TypeError(f"a simulated cook does not say {given}")
        taken = step(self.batch, self.bench, given)
        self.batch, self.bench = taken.batch, taken.bench
        self.events += taken.events
        self.seq += 1
        self.cook.see(snapshot_of(self.batch, self.bench, seq=self.seq, wall="", scale="simulated"))
