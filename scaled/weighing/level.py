"""What a run of results that lie together says: its level, and whether the load lies elsewhere.

The results of a run are equally spaced in time, the oldest first.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

SMOOTHEST = 2.2
UNEVEN = 4.0
APART = 1.5
WIDEST = 4.5
SWINGS = 0.85


def remaining(
    run: Sequence[float], interval_s: float, lag_s: float, frequency: float, *, is_bent: bool
) -> tuple[float, float]:
    """How far the load lies from the mean of a run, by its slope and its bend, and the noise of that for a noise of 1.

    By the scale's equation of motion the load is x + lag x' + x'' / frequency^2. Least squares with the orthogonal
    polynomials of degree 1 and, where `is_bent` (the run is short for this scale), 2.
    """
    n = len(run)
    end = (n - 1) / 2
    shift = (n * n - 1) / 12
    tilt = bend = 0.0
    for index, value in enumerate(run):
        p = index - end
        tilt += p * value
        bend += (p * p - shift) * value
    s1 = n * (n * n - 1) / 12
    lag = lag_s / interval_s
    if not is_bent:
        by_tilt = end + lag
        return tilt / s1 * by_tilt, by_tilt / math.sqrt(s1)
    s2 = n * (n * n - 1) * (n * n - 4) / 180
    by_tilt = end + lag
    by_bend = end * end - shift + 2 * lag * end + 2 / (frequency * interval_s) ** 2
    more = tilt / s1 * by_tilt + bend / s2 * by_bend
    return more, math.sqrt(by_tilt * by_tilt / s1 + by_bend * by_bend / s2)


def scatter(run: Sequence[float], usual: float, weight: float = 2.0) -> float:
    """The standard deviation of a run, with `weight` results' worth of what is usual mixed in."""
    mean = math.fsum(run) / len(run)
    squares = math.fsum((value - mean) ** 2 for value in run)
    return math.sqrt((squares + weight * usual * usual) / (len(run) + weight - 1))


def without_approach(run: list[float]) -> list[float]:
    """What belongs to the plateau: without the first results that differ from the one shown most."""
    usual = max(set(run), key=run.count)
    if run.count(usual) * 2 <= len(run):
        return run
    return run[run.index(usual) :]


def noise_of(recent: Sequence[float]) -> float | None:
    """The standard deviation of results that shake about a level, None where they do more than that.

    Noise steps as far from one result to the next as it spreads in all (von Neumann's ratio), as much in the first
    half as in the second, about the same level. A slope, a jump, a swing that dies away do not.
    """
    n = len(recent)
    half = n // 2
    mean, variance = moments(recent)
    halved = math.fsum((b - a) ** 2 for a, b in itertools.pairwise(recent)) / (2 * (n - 1))
    (early, early_variance), (late, late_variance) = moments(recent[:half]), moments(recent[n - half :])
    is_noise = (
        0 < variance <= SMOOTHEST * halved
        and max(early_variance, late_variance) <= UNEVEN * min(early_variance, late_variance)
        and abs(early - late) <= APART * math.sqrt(variance / half)
        and max(recent) - min(recent) <= WIDEST * math.sqrt(variance)
        and abs(recent[-1] - mean) <= 1.5 * math.sqrt(variance)
        and not _is_swing([value - mean for value in recent])
    )
    return math.sqrt(variance) if is_noise else None


def moments(values: Sequence[float]) -> tuple[float, float]:
    """Mean and variance (n - 1), from exact sums in two passes: no digits are lost where the mean is large."""
    mean = math.fsum(values) / len(values)
    return mean, math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)


def _is_swing(off: Sequence[float]) -> bool:
    """Whether neighbours tell a value better than noise that remembers could: y[k+1] + y[k-1] = c y[k]."""
    sums = [a + b for a, b in zip(off, off[2:], strict=False)]
    cross = math.fsum(s * y for s, y in zip(sums, off[1:-1], strict=True))
    return cross * cross >= SWINGS * math.fsum(s * s for s in sums) * math.fsum(y * y for y in off[1:-1])
