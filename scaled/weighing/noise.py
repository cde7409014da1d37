"""How much the value shakes while the load is at rest, learned from rests.

Strategy: the standard deviation of single results about the level of their rest, rounding included, as a slow mean of
squares. It never falls below what rounding alone does to a value that may lie anywhere between two divisions.
"""

from __future__ import annotations

import math

START_D = 0.36
LEAST_D = 0.30
PACE = 0.03
LARGEST_SIGMA = 3.0


class Noise:
    """`sigma_d` is the standard deviation of a single result, in divisions."""

    def __init__(self) -> None:
        self._square = START_D**2
        self.seen, self._is_known = 0, False
        self.sigma_d = START_D

    def see(self, off_d: float) -> None:
        """One result at rest, so many divisions off the level of its rest."""
        self.seen, self._is_known = self.seen + 1, True
        off_d = max(-LARGEST_SIGMA * self.sigma_d, min(LARGEST_SIGMA * self.sigma_d, off_d))
        pace = max(PACE, 1 / (self.seen + 12))
        self._square += pace * (off_d * off_d - self._square)
        self.sigma_d = max(LEAST_D, math.sqrt(self._square))

    def begin(self, sigma_d: float) -> None:
        """The value shakes by `sigma_d` although nothing moves: more than was thought."""
        if sigma_d > self.sigma_d:
            self._is_known = True
            self._square = sigma_d * sigma_d
            self.sigma_d = sigma_d

    def rescale(self, factor: float) -> None:
        """The division is coarser than was thought: what was seen is that share of as many."""
        if self._is_known and factor < 1:
            self._square *= factor * factor
            self.sigma_d = max(LEAST_D, math.sqrt(self._square))
