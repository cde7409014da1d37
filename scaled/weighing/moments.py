"""Running mean and standard deviation, one value at a time, without keeping the values.

Strategy: Welford's update (Technometrics 4 (3), 1962), which does not lose digits where the mean is large beside the
deviation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(slots=True)
class Moments:
    """Count, mean and sum of squared deviations of what was added so far."""

    n: int = 0
    mean: float = 0.0
    squares: float = 0.0

    def add(self, value: float) -> None:
        self.n += 1
        step = value - self.mean
        self.mean += step / self.n
        self.squares += step * (value - self.mean)

    def deviation(self) -> float:
        """The standard deviation with n - 1; 0 for fewer than two values."""
        return math.sqrt(self.squares / (self.n - 1)) if self.n > 1 else 0.0
