"""A load at rest on a bench that shakes: a mixer, a compressor.

The scale samples a vibration of some frequency a few times a second, so what is shown swings with a frequency of its
own about the true level. Strategy: y[k+1] + y[k-1] - 2 m = 2 cos(theta) (y[k] - m) holds for any such swing; that gives
theta, and least squares then give level, slope and swing. It is a rest if that explains the results down to their
noise and there is no slope. Where the vibration is close to a multiple of the scale's rate the swing is so slow that
level and swing cannot be told apart, and nothing is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

# Tuned on simulated scenes (tests/weighing).
SLOWEST_HZ = 0.6
FEWEST = 9
SHORTEST_S, LONGEST_S, PERIODS = 0.95, 1.9, 1.15
LEAST_SWING = 3.0
ROUGH_SHARE, ROUGH_SIGMA = 0.03, 1.5
NEWEST, STEADY_SIGMA, LEVEL_SIGMA = 3, 2.5, 2.5
ALTERNATING = 0.03
U_SHARE = 1.5


@dataclass(frozen=True, slots=True)
class Shaken:
    """The level of the load under a vibration, its standard uncertainty, and how many results tell so."""

    level: float
    u: float
    n: int


def shaken(values: Sequence[float], interval_s: float, sigma: float) -> Shaken | None:
    """The level about which equally spaced results swing, None where they do not or where it cannot be told.

    Args:
        values: the results since the last change that is known, the newest last.
        interval_s: the time between two.
        sigma: the standard deviation of a single result at rest without a vibration.
    """
    recent = values[-max(FEWEST, round(SHORTEST_S / interval_s) + 1) :]
    if len(recent) < FEWEST or not _turns(recent):
        return None
    theta = _theta(recent, sigma)
    if theta is None or theta < 2 * math.pi * SLOWEST_HZ * interval_s:
        return None
    span_s = max(SHORTEST_S, min(LONGEST_S, PERIODS * 2 * math.pi / theta * interval_s))
    n = max(FEWEST, round(span_s / interval_s) + 1) + NEWEST
    return _fit(values[-n:], theta, sigma) if len(values) >= n else None


def _turns(values: Sequence[float]) -> bool:
    """Whether they go up and down: what pours goes one way, and is soon told."""
    rises = falls = 0
    for older, newer in pairwise(values):
        rises += newer > older
        falls += newer < older
    return rises > 0 and falls > 0


def _theta(values: Sequence[float], sigma: float) -> float | None:
    """The angle from one result to the next, if they swing at all."""
    mean = math.fsum(values) / len(values)
    off = [value - mean for value in values]
    square = math.fsum(y * y for y in off[1:-1])
    if square < LEAST_SWING**2 * sigma * sigma * (len(values) - 2):
        return None
    # the mean of few results is not the level: m is fitted along, as the regression's constant
    n = len(off) - 2
    sums = [off[k - 1] + off[k + 1] for k in range(1, n + 1)]
    mean_y, mean_s = math.fsum(off[1:-1]) / n, math.fsum(sums) / n
    top = math.fsum((off[k] - mean_y) * (sums[k - 1] - mean_s) for k in range(1, n + 1))
    bottom = math.fsum((off[k] - mean_y) ** 2 for k in range(1, n + 1))
    cosine = top / bottom / 2 if bottom > 0 else 2.0
    return math.acos(cosine) if -1 < cosine < 1 else (math.pi if cosine <= -1 else None)


def _fit(values: Sequence[float], theta: float, sigma: float) -> Shaken | None:
    """Fit all but the newest few, which must then be where they are foretold."""
    n = len(values)
    middle = (n - 1) / 2
    size = 3 if math.pi - theta < ALTERNATING else 4
    rows = [_row(theta, k - middle, n)[:size] for k in range(n)]
    solved = least_squares(rows[:-NEWEST], values[:-NEWEST])
    if solved is None:
        return None
    figures, variances = solved
    misses = [v - sum(f * x for f, x in zip(figures, row, strict=True)) for row, v in zip(rows, values, strict=True)]
    squares = math.fsum(miss * miss for miss in misses[:-NEWEST])
    noise = max(sigma, math.sqrt(squares / max(1, n - NEWEST - size)))
    swing = math.hypot(*figures[2:])
    is_swing = swing >= LEAST_SWING * sigma and noise <= max(ROUGH_SIGMA * sigma, ROUGH_SHARE * swing)
    is_steady = max(map(abs, misses[-NEWEST:])) <= STEADY_SIGMA * noise
    is_level = abs(figures[1]) <= LEVEL_SIGMA * noise * math.sqrt(variances[1])
    if not (is_swing and is_steady and is_level):
        return None
    return Shaken(figures[0], U_SHARE * noise * math.sqrt(variances[0]), n)


def _row(theta: float, k: float, n: int) -> tuple[float, float, float, float]:
    return 1.0, k / n, math.cos(theta * k), math.sin(theta * k)


def least_squares(rows: Sequence[Sequence[float]], values: Sequence[float]) -> tuple[list[float], list[float]] | None:
    """Fitted figures and, for a noise of 1, their variances; None where the rows do not tell them apart."""
    size = len(rows[0])
    table = [
        [math.fsum(row[i] * row[j] for row in rows) for j in range(size)]
        + [math.fsum(row[i] * value for row, value in zip(rows, values, strict=True))]
        + [float(i == j) for j in range(size)]
        for i in range(size)
    ]
    for column in range(size):
        pivot = max(range(column, size), key=lambda r: abs(table[r][column]))
        if abs(table[pivot][column]) < 1e-9 * len(rows):
            return None
        table[column], table[pivot] = table[pivot], table[column]
        lead = table[column][column]
        table[column] = [value / lead for value in table[column]]
        for other in range(size):
            if other != column and table[other][column]:
                times = table[other][column]
                table[other] = [a - times * b for a, b in zip(table[other], table[column], strict=True)]
    return [row[size] for row in table], [table[i][size + 1 + i] for i in range(size)]
