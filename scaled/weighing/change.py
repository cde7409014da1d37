"""One change of the load from one level to another, and what is too little or too slow to be one."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scaled.weighing.rest import Plateau

QUICK_S, QUICK_SHARE = 0.36, 0.33
SMALL_D = 1.5
BUMP_D, BUMP_SIGMA = 3.0, 6.0


@dataclass(slots=True)
class Change:
    """From one level to another, which it has kept since `to_at`; `is_quick` where it took moments."""

    from_at: float
    to_at: float
    before: float
    after: float
    is_quick: bool

    @property
    def mass(self) -> float:
        return self.after - self.before


def small_mg(rest: Plateau, before: Plateau | None, division: float) -> float:
    """What is no change from one rest to the next."""
    return max(SMALL_D * division, 3 * math.hypot(rest.u, before.u if before else 0.0))


def is_away(value: float, level: float, division: float, sigma: float) -> bool:
    """Whether a result lies further from a level than noise and wild digits put it."""
    return abs(value - level) > max(BUMP_D * division, BUMP_SIGMA * sigma)


def is_quick(path: list[tuple[float, float]], mass: float) -> bool:
    """Whether a good part of a change came within a moment, as when something is set down or lifted, not poured."""
    oldest = 0
    for at, value in path[1:]:
        while path[oldest + 1][0] <= at - QUICK_S:
            oldest += 1
        if (value - path[oldest][1]) * mass >= QUICK_SHARE * mass * mass:
            return True
    return False
