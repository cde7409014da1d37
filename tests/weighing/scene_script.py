"""Scenes with a script: what hands did in which order, so that what is told can be held against it.

A bowl, a pour, and then anything in any order on a scale of 0.1 g: pours, drops, lifts, tools, bumps, presses, the
scale's tare key, a scoop that is knocked against the rim, a warm pot beside the scale.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from scene_draw import scale_drawn
from scene_plate import Plate
from scene_pours import hand, jug
from scene_truth import Scene, play

from scaled.simulator.forces import Force, walk

DIVISION_MG = 100


@dataclass(frozen=True)
class Did:
    """One thing that was done, with the change in grams that should be told; None: any. `peak_g` is that of a push."""

    what: str
    from_at: float
    to_at: float
    change_g: float | None
    peak_g: float = 0.0


def push(source: random.Random, at: float) -> tuple[Force, float]:
    """A hand that presses: up, held with a tremor, and off; and how hard."""
    peak_g = source.choice((source.uniform(40, 200), source.uniform(200, 2000)))
    rise_s, hold_s, fall_s = source.uniform(0.08, 0.5), source.uniform(0.0, 0.6), source.uniform(0.08, 0.4)
    tremor, hertz = source.uniform(0.005, 0.05), source.uniform(4, 9)

    def grams_at(since_s: float) -> float:
        if since_s < rise_s:
            return peak_g * (0.5 - 0.5 * math.cos(math.pi * since_s / rise_s))
        if since_s < rise_s + hold_s:
            return peak_g * (1 + tremor * math.sin(2 * math.pi * hertz * (since_s - rise_s)))
        return peak_g * (0.5 + 0.5 * math.cos(math.pi * min(1.0, (since_s - rise_s - hold_s) / fall_s)))

    return Force(at, at + rise_s + hold_s + fall_s, grams_at), peak_g


class Script:
    """A plate, and the list of what was done to it."""

    def __init__(self, seed: int) -> None:
        self.source = random.Random(seed)
        self.parameters = replace(scale_drawn(self.source), division_mg=DIVISION_MG)
        self.plate = Plate(self.source, DIVISION_MG / 1000, at=self.source.uniform(1.5, 3))
        self.did: list[Did] = []
        self.vessel_g = 0.0

    def note(self, what: str, start: float, change_g: float | None) -> None:
        """That much was done since `start`; then nothing for a while."""
        self.did.append(Did(what, start, self.plate.at, change_g))
        self.plate.wait(self.source.uniform(4.0, 6.0))

    def move(self, mass_g: float, seconds: float) -> None:
        """A load put on or taken off by hand, smoothly, within moments."""
        steps = max(1, round(seconds / 0.01))
        before = 0.0
        for step in range(1, steps + 1):
            share = 0.5 - 0.5 * math.cos(math.pi * step / steps)
            self.plate.add(mass_g * (share - before), self.plate.at + seconds / steps)
            before = share

    def vessel_on(self) -> None:
        start, self.vessel_g = self.plate.at, self.source.uniform(150, 1500)
        self.move(self.vessel_g, self.source.uniform(0.1, 0.5))
        self.note("vessel on", start, self.vessel_g)

    def pour(self) -> None:
        start, before_g = self.plate.at, self.plate.level_g
        jug(self.plate)
        self.note("addition", start, self.plate.level_g - before_g)

    def drop(self) -> None:
        start, mass_g = self.plate.at, self.source.uniform(3, 80)
        self.plate.add(mass_g)
        self.note("addition", start, mass_g)

    def set_down(self) -> None:
        start, before_g = self.plate.at, self.plate.level_g
        hand(self.plate)
        self.note("addition", start, self.plate.level_g - before_g)

    def knock(self) -> None:
        """A scoop is knocked against the rim, and what was in it falls."""
        start, height_g = self.plate.at, self.source.uniform(20, 300)
        for _ in range(self.source.randint(1, 3)):
            lasts_s = self.source.uniform(0.03, 0.1)
            self.plate.forces.append(_bounce(height_g, self.plate.at, lasts_s))
            self.plate.wait(lasts_s)
            self.plate.stream(self.source.uniform(1, 15), self.source.uniform(0.05, 0.3))
        self.note("addition", start, sum(g for at, g in self.plate.masses if at > start))

    def spoon_out(self) -> None:
        start = self.plate.at
        mass_g = min(self.source.uniform(2, 30), 0.5 * (self.plate.level_g - self.vessel_g))
        if mass_g >= 1:
            self.plate.stream(-mass_g, self.source.uniform(0.1, 0.6))
            self.note("removal", start, -mass_g)

    def press(self) -> None:
        for _ in range(self.source.choice((1, 1, 2))):
            force, peak_g = push(self.source, self.plate.at)
            self.plate.forces.append(force)
            start, self.plate.at = self.plate.at, force.to_at
            self.did.append(Did("press", start, force.to_at, 0.0, peak_g))
            self.plate.wait(self.source.uniform(0.2, 0.8))
        self.plate.wait(self.source.uniform(2.0, 4.0))

    def bump(self) -> None:
        start, lasts_s = self.plate.at, self.source.uniform(0.1, 0.4)
        self.plate.forces.append(_bounce(self.source.uniform(2, 25), start, lasts_s))
        self.plate.wait(lasts_s)
        self.note("bump", start, 0.0)

    def tool(self) -> None:
        start, mass_g = self.plate.at, self.source.uniform(20, 300)
        self.move(mass_g, self.source.uniform(0.05, 0.4))
        self.plate.wait(self.source.uniform(2, 15))
        self.move(-mass_g, self.source.uniform(0.05, 0.4))
        self.note("tool", start, 0.0)

    def lift_and_put_back(self) -> None:
        start, load_g = self.plate.at, self.plate.level_g
        self.move(-load_g, self.source.uniform(0.1, 0.5))
        self.note("vessel off", start, -load_g)
        start = self.plate.at
        self.move(load_g, self.source.uniform(0.1, 0.5))
        self.note("vessel on", start, load_g)

    def tare(self) -> None:
        start = self.plate.at
        self.plate.keys.append((start, "tare"))
        self.note("re-zeroed", start, None)

    def warm_pot(self) -> None:
        start, by_g = self.plate.at, self.source.choice((-1, 1)) * self.source.uniform(0.3, 0.6)
        self.plate.forces.append(walk(by_g, start, lasts_s=10.0))
        self.plate.wait(20.0)
        self.note("drift", start, None)


STEPS: tuple[Callable[[Script], None], ...] = (
    Script.pour, Script.drop, Script.set_down, Script.knock, Script.spoon_out, Script.press, Script.bump, Script.tool,
    Script.lift_and_put_back, Script.tare, Script.warm_pot,
)  # fmt: skip


def script(seed: int, steps: int = 6) -> tuple[Scene, tuple[Did, ...]]:
    """A bowl, a pour, and then anything in any order; the scale's tare key once at most."""
    done = Script(seed)
    done.vessel_on()
    done.pour()
    is_tared = False
    for _ in range(steps):
        step = done.source.choice(STEPS)
        if step is Script.tare and is_tared:
            continue
        is_tared |= step is Script.tare
        step(done)
    return play(done.plate, done.parameters, seed, is_truth_wanted=False), tuple(done.did)


def _bounce(height_g: float, at: float, lasts_s: float) -> Force:
    """Down and up again, as something that strikes the rim."""
    return Force(at, at + lasts_s, lambda since_s: height_g * math.sin(2 * math.pi * since_s / lasts_s))
