"""A load at rest on a bench that shakes: a mixer, a compressor.

The scale samples a vibration of some frequency a few times a second, so what is shown swings with a frequency of its
own about the true level. Strategy: y[k+1] + y[k-1] - 2 m = 2 cos(theta) (y[k] - m) holds for any such swing; that gives
theta, and least squares then give level, slope and swing. It is a rest if that explains the results down to their
noise and there is no slope. A mixer runs on while load after load is put on: once its theta and its swing are known,
fewer results tell the level. Where the vibration is close to a multiple of the scale's rate the swing is so slow that
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
KNOWN_FEWEST, KNOWN_S, KNOWN_NEWEST = 6, 0.55, 2  # results that tell the level where the vibration is known,
ALIKE, SAME_INTERVAL = 0.25, 0.02  # as long as it swings as far as it did
FADES = 3.0  # a swing that goes on is not so many times as large in one half as in the other
REFINED, FURTHEST_RAD = 2, 0.15  # steps by which theta is made to fit, and the largest of them


@dataclass(frozen=True, slots=True)
class Shaken:
    """The level of the load under a vibration, its standard uncertainty, and how many results tell so."""

    level: float
    u: float
    n: int


class Vibration:
    """What is known of a vibration: its angle from one result to the next and its swing, once they were found."""

    def __init__(self) -> None:
        self._theta, self._swing, self._interval_s = 0.0, 0.0, 0.0

    def shaken(self, values: Sequence[float], interval_s: float, sigma: float) -> Shaken | None:
        """The level about which equally spaced results swing, None where they do not or where it cannot be told.

        Args:
            values: the results since the last change that is known, the newest last.
            interval_s: the time between two.
            sigma: the standard deviation of a single result at rest without a vibration.
        """
        if not _turns(values[-FEWEST:]):
            return None
        return self._as_known(values, interval_s, sigma) or self._found(values, interval_s, sigma)

    def _as_known(self, values: Sequence[float], interval_s: float, sigma: float) -> Shaken | None:
        n = max(KNOWN_FEWEST, round(KNOWN_S / interval_s) + 1) + KNOWN_NEWEST
        is_known = self._swing > 0 and abs(interval_s - self._interval_s) <= SAME_INTERVAL * interval_s
        if not is_known or len(values) < n:
            return None
        fitted = _fit(values[-n:], self._theta, sigma, KNOWN_NEWEST)
        if fitted is None or abs(fitted[1] - self._swing) > ALIKE * self._swing:
            return None
        return fitted[0]

    def _found(self, values: Sequence[float], interval_s: float, sigma: float) -> Shaken | None:
        recent = values[-max(FEWEST, round(SHORTEST_S / interval_s) + 1) :]
        theta = _theta(recent, sigma) if len(recent) >= FEWEST else None
        slowest = 2 * math.pi * SLOWEST_HZ * interval_s
        if theta is None or theta < slowest:
            return None
        span_s = max(SHORTEST_S, min(LONGEST_S, PERIODS * 2 * math.pi / theta * interval_s))
        n = max(FEWEST, round(span_s / interval_s) + 1) + NEWEST
        if len(values) < n:
            return None
        if not _goes_on(values[-n:]):
            return None
        theta = _refined(values[-n:], theta)
        fitted = _fit(values[-n:], theta, sigma, NEWEST) if theta >= slowest else None
        if fitted is None:
            return None
        self._theta, self._swing, self._interval_s = theta, fitted[1], interval_s
        return fitted[0]


def _turns(values: Sequence[float]) -> bool:
    """Whether they go up and down: what pours goes one way, and is soon told."""
    rises = falls = 0
    for older, newer in pairwise(values):
        rises += newer > older
        falls += newer < older
    return rises > 0 and falls > 0


def _goes_on(values: Sequence[float]) -> bool:
    """Whether they swing as far now as before: what comes to rest after a load swings less and less."""
    half = len(values) // 2
    before, now = (max(part) - min(part) for part in (values[:half], values[half:]))
    return before <= FADES * now and now <= FADES * before


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


def _refined(values: Sequence[float], theta: float) -> float:
    """The angle that fits best near a first guess: Gauss-Newton, with the fit's derivative by it as one more column."""
    n = len(values)
    middle = (n - 1) / 2
    for _ in range(REFINED):
        if math.pi - theta < ALTERNATING:
            return theta
        rows = [_row(theta, k - middle, n) for k in range(n)]
        solved = least_squares(rows, values)
        if solved is None:
            return theta
        _, _, a, b = solved[0]
        slopes = [(k - middle) * (b * row[2] - a * row[3]) for k, row in enumerate(rows)]
        stepped = least_squares([(*row, slope) for row, slope in zip(rows, slopes, strict=True)], values)
        if stepped is None:
            return theta
        theta += max(-FURTHEST_RAD, min(FURTHEST_RAD, stepped[0][4]))
        theta = min(math.pi, abs(theta))
    return theta


def _fit(values: Sequence[float], theta: float, sigma: float, newest: int) -> tuple[Shaken, float] | None:
    """The level and the swing by all but the newest few, which must then be where they are foretold."""
    n = len(values)
    middle = (n - 1) / 2
    size = 3 if math.pi - theta < ALTERNATING else 4
    rows = [_row(theta, k - middle, n)[:size] for k in range(n)]
    solved = least_squares(rows[:-newest], values[:-newest])
    if solved is None:
        return None
    figures, variances = solved
    misses = [v - sum(f * x for f, x in zip(figures, row, strict=True)) for row, v in zip(rows, values, strict=True)]
    squares = math.fsum(miss * miss for miss in misses[:-newest])
    noise = max(sigma, math.sqrt(squares / max(1, n - newest - size)))
    swing = math.hypot(*figures[2:])
    is_swing = swing >= LEAST_SWING * sigma and noise <= max(ROUGH_SIGMA * sigma, ROUGH_SHARE * swing)
    is_steady = max(map(abs, misses[-newest:])) <= STEADY_SIGMA * noise
    is_level = abs(figures[1]) <= LEVEL_SIGMA * noise * math.sqrt(variances[1])
    if not (is_swing and is_steady and is_level):
        return None
    return Shaken(figures[0], U_SHARE * noise * math.sqrt(variances[0]), n), swing


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
