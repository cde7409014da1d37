"""A small step of the load, half hidden in the noise: a grain or two more, a slow trickle.

Strategy: means of parts of the results are compared; where they lie further apart than their noise lets them, there
was a step. The noise remembers itself, so the variance of a mean of n results is `variance` / n with a `variance`
above that of a single result.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

NEWEST = 5


def last_step(values: Sequence[float], variance: float, least: float, sigmas: float) -> int:
    """The latest place at which a step shows, 0 where there is none; it may be a result or two after the step itself.

    Args:
        values: results about one level, the newest last.
        variance: that of the mean of n of them is this divided by n.
        least: a difference of the means below this is none.
        sigmas: nor is one below so many standard deviations.
    """
    n = len(values)
    total, newer = math.fsum(values), 0.0
    room = sigmas * sigmas * variance
    for cut in range(n - 1, 0, -1):
        newer += values[cut]
        later, earlier = n - cut, cut
        apart = newer / later - (total - newer) / earlier
        if abs(apart) >= least and apart * apart > room * (1 / later + 1 / earlier):
            return cut
    return 0


def strongest(off: Sequence[float], n: int, variance: float) -> tuple[float, int]:
    """How surely the newest results lie off the mean of `n` others, in standard deviations, and how many do.

    Args:
        off: how far each of the newest lies off, the newest last.
        n: how many results the mean is of.
        variance: that of the mean of n results is this divided by n.
    """
    best, count, total = 0.0, 0, 0.0
    for m, one in enumerate(reversed(off), 1):
        total += one
        z = abs(total) / m / math.sqrt(variance * (1 / m + 1 / n))
        if z > best:
            best, count = z, m
    return best, count
