"""A bench for pours: a jug over a bowl on a simulated scale, and what the filter makes of it.

The stream is what the hand asks for, with a wobble of its own; it lands `fall_s` later, smoothly or in lumps. Flows,
falls and the wobble are assumed (a jug pours 10 to 60 g/s and 1 to 10 at the end); lumps are as measured on a robot's
pours: 2.6 g in the middle, 8.4 g the largest.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.scale import SimulatedScale
from scaled.weighing import Weigher, Weight

STEP_S = 0.03
BOWL_G = 812.0
WOBBLE, WOBBLE_S = 0.1, 0.3
LARGEST_LUMP_G = 8.4


@dataclass(frozen=True)
class Stuff:
    """What is poured: how long it is in the air, and the median of its lumps in g (0: it flows evenly)."""

    fall_s: float = 0.2
    lump_g: float = 0.0


class PourBench:
    """Time goes by in steps of `STEP_S`; `on_g` is what is in the bowl or on its way there.

    `weight` is the newest, None where nobody weighs and the digits are all.
    """

    def __init__(
        self, parameters: ScaleParameters, stuff: Stuff, source: random.Random, *, is_weighed: bool = True
    ) -> None:
        self.stuff = stuff
        self.random = source
        self.scale = SimulatedScale(parameters, seed=source.randrange(2**31))
        self.weigher = Weigher() if is_weighed else None
        self.weight: Weight | None = None
        self.shown_mg = 0
        self.on_g = 0.0
        self.at = 0.0
        self._wobble = 0.0
        self._lump_g = self._next_lump_g()
        self._held_g = 0.0
        self.wait(1.5)
        self.scale.put(BOWL_G, self.at, splash=0.1)
        self.wait(3.0)

    def step(self, flow_g_s: float = 0.0) -> None:
        """One moment in which the hand asks for this flow."""
        keeps = math.exp(-STEP_S / WOBBLE_S)
        self._wobble = keeps * self._wobble + math.sqrt(1 - keeps * keeps) * self.random.gauss(0, WOBBLE)
        self._stream(max(0.0, flow_g_s * (1 + self._wobble)) * STEP_S)
        self.at += STEP_S
        for reading in self.scale.readings_to(self.at):
            self.shown_mg = reading.value_mg or 0
            if self.weigher is not None:
                self.weight = self.weigher.see(reading)

    def drop(self, mass_g: float) -> None:
        """So much falls from a spoon, the fingers or the lip of the jug."""
        self.on_g += mass_g
        self.scale.add(mass_g, self.at + self.stuff.fall_s)

    def _stream(self, mass_g: float) -> None:
        if mass_g <= 0:
            return
        if not self.stuff.lump_g:
            self.drop(mass_g)
            return
        self._held_g += mass_g
        while self._held_g >= self._lump_g:
            self._held_g -= self._lump_g
            self.drop(self._lump_g)
            self._lump_g = self._next_lump_g()

    def wait(self, seconds: float) -> None:
        until = self.at + seconds
        while self.at < until:
            self.step()

    def empty(self) -> None:
        """The bowl is emptied and stands there again."""
        self.scale.set_load(BOWL_G, self.at)
        self.on_g = 0.0

    def _next_lump_g(self) -> float:
        return min(LARGEST_LUMP_G, self.stuff.lump_g * self.random.lognormvariate(0.0, 0.6))
