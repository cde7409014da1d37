"""Is the load at rest, since when, and at what mass?

Strategy: the distinct results of the last instant must lie together, long enough that a scale still moving would show
it. Where they spread more than a division (a shaking bench, a noisy cell) a longer span is asked for, without a trend.
"""

from __future__ import annotations

import itertools
import math
from collections import deque
from dataclasses import dataclass

from scaled.weighing.moments import Moments

QUIET_S = 0.5
NOISY_S = 1.0
FEWEST = 3
KEPT = 40
NOISE_FLOOR = 0.24
ROUGHEST_MG = 1500


@dataclass(slots=True)
class Plateau:
    """A rest in the filter's own figures, milligrams as floats."""

    mass: float
    u: float
    since: float
    known_at: float


class RestDetector:
    """Fed with distinct results; `plateau` is the rest that stands, or None."""

    def __init__(self) -> None:
        self.results: deque[tuple[float, float]] = deque(maxlen=KEPT)
        self.plateau: Plateau | None = None
        self.deviation = 0.0
        self._level = Moments()
        self._outside = 0

    def see(self, at: float, value: float, division: int) -> None:
        self.results.append((at, value))
        if self.plateau is not None:
            self._hold(self.plateau, value, division)
        if self.plateau is None:
            self._seek(at, division)

    def _hold(self, plateau: Plateau, value: float, division: int) -> None:
        away = abs(value - plateau.mass)
        limit = max(1.5 * division, 5 * self.deviation)
        if away > 3 * limit or (away > limit and self._outside >= 1):
            self.plateau = None
            self._outside = 0
            return
        if away > limit:
            self._outside += 1
            return
        self._outside = 0
        self._level.add(value)
        weight = 1 / min(self._level.n, 30)
        plateau.mass += weight * (value - plateau.mass)
        if self._level.n >= 10:
            self.deviation = self._level.deviation()
        plateau.u = uncertainty(self._level, division)

    def _seek(self, at: float, division: int) -> None:
        chosen = self._within(at, QUIET_S)
        low, high = min(v for _, v in chosen), max(v for _, v in chosen)
        is_quiet = high - low <= division and self._covers(chosen, at, QUIET_S)
        if not is_quiet:
            chosen = self._within(at, NOISY_S)
            if not self._covers(chosen, at, NOISY_S) or not _is_level(chosen, division):
                return
        chosen = _without_approach(chosen)
        self._level = Moments()
        for _, value in chosen:
            self._level.add(value)
        self.plateau = Plateau(self._level.mean, uncertainty(self._level, division), chosen[0][0], at)

    def _within(self, at: float, span_s: float) -> list[tuple[float, float]]:
        return [result for result in self.results if at - result[0] <= span_s + 1e-9]

    @staticmethod
    def _covers(chosen: list[tuple[float, float]], at: float, span_s: float) -> bool:
        return len(chosen) >= FEWEST and at - chosen[0][0] >= 0.8 * span_s


def uncertainty(level: Moments, division: int) -> float:
    """Standard uncertainty of the mean: the division's own share and the scatter's."""
    return math.hypot(NOISE_FLOOR * division, level.deviation() / math.sqrt(max(1.0, level.n / 3)))


def _without_approach(chosen: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """What belongs to the plateau: without the first results that differ from the one shown most."""
    values = [value for _, value in chosen]
    usual = max(set(values), key=values.count)
    if values.count(usual) * 2 <= len(values):
        return chosen
    return chosen[values.index(usual) :]


def _is_level(chosen: list[tuple[float, float]], division: int) -> bool:
    half = len(chosen) // 2
    first, second = Moments(), Moments()
    for _, value in chosen[:half]:
        first.add(value)
    for _, value in chosen[half:]:
        second.add(value)
    scatter = max(min(first.deviation(), second.deviation()), 0.3 * division)
    if scatter > max(5 * division, ROUGHEST_MG):
        return False
    steps = [abs(b[1] - a[1]) for a, b in itertools.pairwise(chosen)]
    return abs(first.mean - second.mean) <= max(0.7 * division, 0.8 * scatter) and max(steps) <= 5 * scatter
