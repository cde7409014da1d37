"""Dough that is rolled out: what a ring takes of it, what must be rolled for it, what is trimmed off.

A shell is a disc and a wall of one thickness: `thickness * (pi/4 D^2 + pi D h) * density`. The density of a short
dough, 1.2 g/ml, is from memory with low confidence: weigh one shell and say it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

DENSITY = Fraction(12, 10)
TRIMMINGS = Fraction(15, 100)


@dataclass(frozen=True)
class Rolled:
    """A ring of inner diameter and height, lined with dough of a thickness (mm); `trimmings` of what is rolled."""

    ring_mm: Fraction
    thickness_mm: Fraction
    height_mm: Fraction = Fraction(0)
    density_g_ml: Fraction = DENSITY
    trimmings: Fraction = TRIMMINGS

    def __post_init__(self) -> None:
        if self.ring_mm <= 0 or self.thickness_mm <= 0 or self.height_mm < 0 or self.density_g_ml <= 0:
            raise ValueError(f"a shell has a ring, a thickness and a density: {self}")
        if not 0 <= self.trimmings < 1:
            raise ValueError(f"trimmings are a share of what is rolled: {self.trimmings}")

    @property
    def in_ring_g(self) -> float:
        """One shell."""
        area_mm2 = math.pi * self.ring_mm * (self.ring_mm / 4 + self.height_mm)
        return float(area_mm2) * float(self.thickness_mm * self.density_g_ml) / 1_000

    @property
    def rolled_g(self) -> float:
        """What is rolled out for one shell."""
        return self.in_ring_g / float(1 - self.trimmings)

    @property
    def trimmings_g(self) -> float:
        """What is trimmed off around one shell."""
        return self.rolled_g - self.in_ring_g
