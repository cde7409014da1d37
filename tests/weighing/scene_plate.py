"""What is done to one plate: masses with their times, forces that are no mass, keys of the scale."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from scaled.simulator.forces import Force
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.scale import SimulatedScale

GRAIN_S = 0.01


@dataclass
class Added:
    """One addition as it truly went, from its first grain to its last; `pauses_s` are those within it.

    `band_g` is the band that was asked for, as what lies on the plate: the addition ends in the upper two thirds of it.
    """

    kind: str
    start: float
    end: float
    before_g: float
    after_g: float
    pauses_s: tuple[float, ...] = ()
    band_g: tuple[float, float] = (0.0, 0.0)
    inside_at: float = 0.0  # from here on the true response stays within half a division of what is on the plate
    next_at: float = 0.0  # when the next thing begins


@dataclass
class Plate:
    """Time goes by with what is done; `level_g` is what lies on the plate, in grams."""

    source: random.Random
    d_g: float  # the division of the scale that it belongs to
    at: float = 0.0
    level_g: float = 0.0
    masses: list[tuple[float, float]] = field(default_factory=list)
    forces: list[Force] = field(default_factory=list)
    keys: list[tuple[float, str]] = field(default_factory=list)
    added: list[Added] = field(default_factory=list)
    pauses_s: list[float] = field(default_factory=list)

    def add(self, mass_g: float, at: float | None = None) -> None:
        """Mass comes on (or, negative, off) at once."""
        self.at = self.at if at is None else at
        self.masses.append((self.at, mass_g))
        self.level_g += mass_g

    def stream(self, mass_g: float, lasts_s: float) -> None:
        """An even stream of `mass_g` in all, from now on."""
        grains = max(1, round(lasts_s / GRAIN_S))
        for _ in range(grains):
            self.add(mass_g / grains, self.at + lasts_s / grains)

    def wait(self, seconds: float) -> None:
        """Nothing is done."""
        self.at += seconds

    def pause(self, shortest_s: float, longest_s: float) -> None:
        """Nothing is done for a moment in the middle of an addition."""
        self.pauses_s.append(self.source.uniform(shortest_s, longest_s))
        self.wait(self.pauses_s[-1])

    def weighed_by(self, parameters: ScaleParameters, seed: int, *, with_keys: bool = True) -> SimulatedScale:
        """A simulated scale to which all this will happen."""
        scale = SimulatedScale(parameters, seed)
        for at, mass_g in self.masses:
            scale.add(mass_g, at)
        for force in self.forces:
            scale.push(force)
        for at, key in self.keys if with_keys else ():
            {"tare": scale.tare_key, "net/gross": scale.net_gross_key, "zero": scale.zero_key}[key](at)
        return scale
