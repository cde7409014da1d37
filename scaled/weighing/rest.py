"""Is the load at rest, since when, and at what mass?

Strategy: the newest results that lie together are a run. It is a rest when it has lasted long enough for this scale,
and when what its slope and its bend foretell, by the scale's own equation of motion, is no further change worth
speaking of. When the rest began is worked out backwards: the load stood still from where the results before the run
are what the scale does by itself. A rest that stands is left at the first result that does not belong to it, and
forgotten at the second.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from scaled.weighing.level import noise_of, remaining, scatter, without_approach
from scaled.weighing.noise import START_D, Noise
from scaled.weighing.response import ResponseLearner, stood_from

KEPT = 48
FEWEST = 3
SLOW_RAD_S = 9.0
SHORT_S = (0.45, 0.38)
LONG_S = 0.55
SHORT_D, LONG_D = 1.0, 2.0
LAST_D = 0.9
BENT_RAD = (4.5, 3.5)
BENT_D, LEVEL_D = 1.6, 1.2
SURE = 1.6
WAIT_S = 0.9
USUAL_D = 0.2
LEFT_D, LEFT_SIGMA = 1.3, 4.0
SHIFT_PACE, SHIFT_D, SHIFT_SIGMA = 0.4, 0.6, 0.5
LONGEST_MEAN = 40
BEFORE_S = 1.2
GUARD_S = 0.12
U_D, U_SIGMA = 0.2, 1.0
U_DITHER = 3.0
LONGER_AT_MOST = 2.0
LOUDEST_D, LOUDEST_MG = 3.0, 1500.0
NOISY_S, NOISY_FEWEST = (1.0, 2.0), 8


@dataclass(slots=True)
class Plateau:
    """A rest in the filter's own figures, milligrams as floats; `n` results make it up."""

    mass: float
    u: float
    since: float
    known_at: float
    n: int = 0


class RestDetector:
    """Fed with distinct results; `plateau` is the rest that stands, or None; `held` is it also while in doubt."""

    def __init__(self) -> None:
        self.results: deque[tuple[float, float]] = deque(maxlen=KEPT)
        self.plateau: Plateau | None = None
        self.noise = Noise()
        self.response = ResponseLearner()
        self.held: Plateau | None = None
        self._doubts = 0
        self._shift = 0.0
        self._left_at = -math.inf
        self._considered: tuple[float, float] | None = None

    def see(self, at: float, value: float, division: int, interval_s: float) -> None:
        """Take the next distinct result."""
        self.results.append((at, value))
        if self.held is not None:
            self._hold(self.held, value, division)
        if self.held is None:
            self._seek(at, division, interval_s)

    def forget(self) -> None:
        """Anything may have happened since the last result; what was learned of the scale is kept."""
        self.results.clear()
        self.leave()
        self._left_at = -math.inf

    def leave(self) -> None:
        """Whatever stood is over: no value is shown any more."""
        self.plateau = self.held = None
        self._left_at = math.nextafter(self.results[-1][0], math.inf) if self.results else -math.inf

    def _hold(self, held: Plateau, value: float, division: int) -> None:
        sigma = self.noise.sigma_d * division
        off = value - held.mass
        if abs(off) > max(LEFT_D * division, LEFT_SIGMA * sigma):
            self.plateau = None
            self._doubts += 1
            if self._doubts >= 2:
                self._part()
            return
        self._doubts = 0
        self.plateau = held
        self._shift += SHIFT_PACE * (off - self._shift)
        if abs(self._shift) > SHIFT_D * division + SHIFT_SIGMA * sigma:
            self._part()
            return
        held.n += 1
        held.mass += off / min(held.n, LONGEST_MEAN)
        self.noise.see(off / division)
        held.u = self._u(held.n, division)

    def _part(self) -> None:
        self.plateau = self.held = None
        self._doubts = 0
        self._left_at = self.results[-2][0]

    def _seek(self, at: float, division: int, interval_s: float) -> None:
        self.response.space(interval_s)
        louder = max(1.0, self.noise.sigma_d / START_D)
        is_slow = self.response.frequency < SLOW_RAD_S
        longer = min(LONGER_AT_MOST, math.sqrt(louder))
        run, span = self._run(at, SHORT_D * louder * division)
        if span < SHORT_S[not is_slow] * longer or len(run) < FEWEST:
            run, span = self._run(at, LONG_D * louder * division)
            if span < LONG_S * longer or len(run) < FEWEST:
                self._listen(at, division)
                return
        self._consider(run, division, interval_s)
        if self._is_level(run, span, division, interval_s, louder):
            self._settle(at, run, division)

    def _consider(self, run: list[float], division: int, interval_s: float) -> None:
        """Let this approach tell how fast the scale is, once for each."""
        first = len(self.results) - len(run)
        level = sorted(run)[len(run) // 2]
        key = (self.results[first][0], level)
        if key == self._considered:
            return
        self._considered = key
        start = max(0, first - max(3, round(BEFORE_S / interval_s)))
        approach = [self.results[k][1] for k in range(start, first + 1)]
        self.response.consider(approach, level, self.noise.sigma_d * division)

    def _listen(self, at: float, division: int) -> None:
        """Nothing lies together: is it that the noise is louder than was thought?"""
        span = NOISY_S[self.noise.seen >= NOISY_FEWEST]
        recent = [v for when, v in self.results if at - when <= span + 1e-6 and when >= self._left_at]
        if len(recent) < NOISY_FEWEST or self.results[0][0] > at - 0.9 * span or self._left_at > at - 0.9 * span:
            return
        noise = noise_of(recent)
        if noise is not None and noise <= max(LOUDEST_D * division, LOUDEST_MG):
            self.noise.begin(noise / division)
            self._consider(recent, division, self.response.best.interval_s)
            self._settle(at, recent, division)

    def _is_level(self, run: list[float], span: float, division: int, interval_s: float, louder: float) -> bool:
        if abs(run[-1] - math.fsum(run) / len(run)) > LAST_D * louder * division:
            return False
        if span >= WAIT_S * min(LONGER_AT_MOST, math.sqrt(louder)):
            return True
        response = self.response
        is_bent = response.frequency * span < BENT_RAD[response.frequency >= SLOW_RAD_S]
        more, spread = remaining(run, interval_s, response.lag_s, response.frequency, is_bent=is_bent)
        sigma = scatter(run, USUAL_D * louder * division)
        return abs(more) + SURE * spread * sigma <= (BENT_D if is_bent else LEVEL_D) * louder * division

    def _settle(self, at: float, run: list[float], division: int) -> None:
        run = without_approach(run)
        mass = math.fsum(run) / len(run)
        values = [value for _, value in self.results]
        sigma = self.noise.sigma_d * division
        first = len(values) - len(run)
        if self.response.seen or self._considered:
            first = min(first, stood_from(values, mass, self.response.best, sigma, division, len(run)))
        self.response.keep()
        since = min(at, max(self.results[first][0] + GUARD_S, self._left_at))
        self._shift, self._doubts, self._considered = 0.0, 0, None
        self.held = self.plateau = Plateau(mass, self._u(len(run), division), since, at, len(run))

    def _u(self, n: int, division: int) -> float:
        interval_s = self.response.best.interval_s
        keeps = 0.5 ** (interval_s / 0.1)
        rough = max(0.0, self.noise.sigma_d**2 - 1 / 12) * (1 + keeps) / (1 - keeps)
        floor = U_D * math.exp(-U_DITHER * max(0.0, self.noise.sigma_d**2 - 1 / 12))
        return division * math.sqrt(floor**2 + U_SIGMA * (rough + 1 / 12) / n)

    def _run(self, at: float, spread: float) -> tuple[list[float], float]:
        """The newest results that lie within `spread` of each other, oldest first, and the time they span."""
        low = high = self.results[-1][1]
        run: list[float] = []
        first = at
        for when, value in reversed(self.results):
            low, high = min(low, value), max(high, value)
            if high - low > spread or when < self._left_at:
                break
            run.append(value)
            first = when
        run.reverse()
        return run, at - first
