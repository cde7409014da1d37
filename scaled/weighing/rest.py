"""Is the load at rest, since when, and at what mass?

Strategy: the newest results that lie together are a run. It is a rest when it has lasted long enough for this scale,
and when what its slope and its bend foretell, by the scale's own equation of motion, is no further change worth
speaking of. When the rest began is worked out backwards: the load stood still a little before the value lay about its
level (`stop`); what the newest results cannot show yet does not count (`proof`). A rest that stands is left at the
first result that does not belong to it, and forgotten at the second.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from scaled.weighing.level import WIDEST, noise_of, remaining, scatter, without_approach
from scaled.weighing.noise import START_D, Noise
from scaled.weighing.proof import rested_since
from scaled.weighing.response import ResponseLearner
from scaled.weighing.restless import Restless
from scaled.weighing.shake import Shaken, Vibration
from scaled.weighing.steps import NEWEST, last_step, strongest
from scaled.weighing.stop import stopped_at

# Tuned on simulated scenes (tests/weighing), as far as nothing else is said. _D in divisions, _S in seconds.
KEPT = 48
FEWEST = 3
SLOW_RAD_S = 9.0
SHORT_S, LONG_S = (0.45, 0.38), 0.55  # a run lasts so long: on a slow scale, on another; where it lies less close
SHORT_D, LONG_D = 1.0, 2.0
LAST_D, LOUD_D = 0.45, 0.5  # the newest of a run lies no further from its mean: it may be the first of a change
BENT_RAD = (4.5, 3.5)
BENT_D, LEVEL_D = 1.6, 1.2
SURE = 1.6
WAIT_S = 0.6
USUAL_D = 0.2
AFTER_STEP_S = 1.0  # what comes after a step that shows is a rest only if it lasts so long
YOUNG_S = 0.8  # a rest is looked back on for so long after it was known
WATCHED_S = 1.3  # so long it is asked anew since when it counts: until it ends an addition
PROOF_D, WORTH_SIGMA = 0.33, 1.5  # on digits finer than the noise a change of one of them is no change
PROVEN = 1.5  # a rest counts for as long as no change of so many divisions can hide in it
LEFT_SIGMA, MOST_DOUBTS = (2.2, 3.0), 4  # a rest is doubted, and left; at last also where it is doubted for long
STEP_SIGMA, STEP_D, SETTLE_SIGMA = 3.0, 0.6, 2.3
TESTED_D = 0.42  # what noise of 0.3 d makes of a result, rounding included: steps are tested against no less
WILD_D = 6.0
NOISE_HALVES_S = 0.1  # measured: a correlation of about 0.5 at 10 readings a second
LONGEST_MEAN = 40
SHAKEN_DOUBTS, SHAKEN_PACE, SHAKEN_D, SHAKEN_SIGMA = 2, 0.15, 1.3, 4.0
BEFORE_S = 1.2
U_D, U_SIGMA, U_DITHER = 0.23, 1.4, 3.0
LONGER_AT_MOST = 2.0
LOUDEST_D = 1.9  # measured: 1.6 d on bench scales
FINEST_MG = 10  # a converter writes finer digits than it can weigh (measured: 1 g of noise on digits of 0.01 g),
LOUDEST_MG = 1500.0  # which then may be so loud
NOISY_S, NOISY_FEWEST = (1.0, 2.0), 8


@dataclass(slots=True)
class Plateau:
    """A rest in the filter's own figures, milligrams as floats; `n` results from `flat_from` on make it up.

    `stood` is when they began to lie together, or when the load stood still already: no more ends a change.
    """

    mass: float
    u: float
    since: float
    known_at: float
    n: int = 0
    flat_from: float = 0.0
    is_shaken: bool = False
    stood: float = field(init=False)

    def __post_init__(self) -> None:
        self.stood = min(self.since, self.flat_from)


class RestDetector:
    """Fed with distinct results; `plateau` is the rest that stands, or None; `held` is it also while in doubt."""

    def __init__(self) -> None:
        self.results: deque[tuple[float, float]] = deque(maxlen=KEPT)
        self.plateau: Plateau | None = None
        self.noise = Noise()
        self.response = ResponseLearner()
        self.restless = Restless()
        self._vibration = Vibration()
        self.held: Plateau | None = None
        self._doubts = 0
        self._off: deque[float] = deque(maxlen=NEWEST)
        self._left_at = -math.inf
        self._considered: tuple[float, float] | None = None

    def see(self, at: float, value: float, division: int, interval_s: float) -> None:
        """Take the next distinct result."""
        self.results.append((at, value))
        self.restless.see(at, value, self._worth(division))
        if self.held is not None and self.held.is_shaken:
            self._hold_shaken(self.held, division, interval_s)
        elif self.held is not None:
            self._hold(self.held, at, value, division)
        if self.held is None:
            self._seek(at, division, interval_s)

    def forget(self) -> None:
        """Anything may have happened since the last result; what was learned of the scale is kept."""
        self.results.clear()
        self.restless.forget()
        self.leave()
        self._left_at = -math.inf

    def leave(self) -> None:
        """Whatever stood is over: no value is shown any more."""
        self.plateau = self.held = None
        self._left_at = math.nextafter(self.results[-1][0], math.inf) if self.results else -math.inf

    def _hold(self, held: Plateau, at: float, value: float, division: int) -> None:
        variance = self._tested(division)
        off = value - held.mass
        is_back = abs(off) <= LEFT_SIGMA[0] * math.sqrt(variance)
        if self._doubts == 1 and is_back and abs(self._off[-1]) > WILD_D * division:
            self._off.pop()  # the one before was nonsense
        self._off.append(off)
        sure, newest = strongest(self._off, max(FEWEST, held.n - len(self._off)), variance)
        if sure > LEFT_SIGMA[0]:
            self.plateau = None
            self._doubts += 1
            if newest >= 2 and (sure > LEFT_SIGMA[1] or self._doubts >= MOST_DOUBTS):
                self._part(newest)
            return
        self._doubts = 0
        self.plateau = held
        held.n += 1
        held.mass += off / min(held.n, LONGEST_MEAN)
        held.u = self._u(held.n, division)
        if at - held.since < WATCHED_S:
            held.since = self._since(at, held.mass, division)
            held.stood = min(held.stood, held.since)
        if at - held.known_at > YOUNG_S:
            self.noise.see(self._off[0] / division)
            return
        flat = [v for when, v in self.results if when >= held.flat_from]
        is_tame = max(flat) - min(flat) < WILD_D * division
        cut = last_step(flat, variance, STEP_D * division, STEP_SIGMA) if is_tame else 0
        if cut:
            self._part(len(flat) - cut)

    def _hold_shaken(self, held: Plateau, division: int, interval_s: float) -> None:
        found = self._shaken(division, interval_s)
        if found is None:
            self.plateau = None
            self._doubts += 1
            if self._doubts >= SHAKEN_DOUBTS:
                self._part(2)
            return
        if abs(found.level - held.mass) > max(SHAKEN_D * division, SHAKEN_SIGMA * found.u):
            self._part(2)
            return
        self._doubts = 0
        self.plateau = held
        held.mass += SHAKEN_PACE * (found.level - held.mass)
        held.u = math.hypot(U_D * division, found.u)

    def _shaken(self, division: int, interval_s: float) -> Shaken | None:
        """What the newest results say if they swing, as on a bench that shakes."""
        values = [value for when, value in self.results if when >= self._left_at]
        return self._vibration.shaken(values, interval_s, START_D * division)

    def _part(self, newest: int) -> None:
        """The rest is left: the newest results belong to it no more."""
        self.plateau = self.held = None
        self._doubts = 0
        self._left_at = self.results[-newest][0]

    def _since(self, at: float, mass: float, division: int) -> float:
        """From when on the rest counts, as far as that is sure by now."""
        kind, results = self.response.best, list(self.results)
        sigma_d = self.noise.sigma_d
        stopped, first = stopped_at(results, mass, division, sigma_d * division, kind.frequency, self._left_at)
        sigma_d = max(PROOF_D, sigma_d)
        remembers = self._keeps() * max(0.0, 1 - 1 / (12 * sigma_d * sigma_d))
        change = self._worth(division)
        tame = [(when, v if abs(v - mass) < WILD_D * change else mass) for when, v in results[first + 1 :]]
        since = rested_since(tame, stopped, PROVEN * change, sigma_d * division, remembers, kind)
        return at if since is None else min(at, since)

    def _seek(self, at: float, division: int, interval_s: float) -> None:
        self.response.space(interval_s)
        louder = max(1.0, self.noise.sigma_d / START_D)
        is_slow = self.response.frequency < SLOW_RAD_S
        longer = min(LONGER_AT_MOST, math.sqrt(louder))
        run, span = self._run(at, SHORT_D * louder * division)
        if span < SHORT_S[not is_slow] * longer or len(run) < FEWEST:
            run, span = self._run(at, LONG_D * louder * division)
            if span < LONG_S * longer or len(run) < FEWEST:
                self._listen(at, division, interval_s)
                return
        self._consider(run, division, interval_s)
        cut = self._step(run, division)
        if cut:
            run = run[cut:]
            span = at - self.results[-len(run)][0]
            if span < AFTER_STEP_S * longer or len(run) < FEWEST:
                return
        if span >= self.restless.still_s and self._is_level(run, span, division, interval_s, louder):
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

    def _listen(self, at: float, division: int, interval_s: float) -> None:
        """Nothing lies together: does the bench shake, or is the noise louder than was thought?"""
        found = self._shaken(division, interval_s)
        if found is not None:
            self._considered, self._doubts = None, 0
            since = max(self._left_at, self.results[-found.n][0])
            u = math.hypot(U_D * division, found.u)
            self.held = self.plateau = Plateau(found.level, u, since, at, found.n, since, is_shaken=True)
            return
        span = max(NOISY_S[self.noise.seen >= NOISY_FEWEST], (NOISY_FEWEST - 1) * interval_s)
        loudest = max(LOUDEST_D * division, LOUDEST_MG if division <= FINEST_MG else 0.0)
        if max(self.results[0][0], self._left_at) > at - 0.9 * span or self._went_on(WIDEST * loudest):
            return
        recent = [v for when, v in self.results if at - when <= span + 1e-6 and when >= self._left_at]
        noise = noise_of(recent) if len(recent) >= NOISY_FEWEST else None
        if noise is not None and noise <= loudest:
            self.noise.begin(noise / division)
            self._consider(recent, division, self.response.best.interval_s)
            self._settle(at, recent, division)

    def _went_on(self, most: float) -> bool:
        """Whether the newest few results already lie further apart than noise may: most often so while it pours."""
        older = self.results[-min(len(self.results), NOISY_FEWEST // 2)]
        return abs(self.results[-1][1] - older[1]) > most

    def _is_level(self, run: list[float], span: float, division: int, interval_s: float, louder: float) -> bool:
        if abs(run[-1] - math.fsum(run) / len(run)) > LAST_D * max(1.0, self.noise.sigma_d / LOUD_D) * division:
            return False
        if span >= WAIT_S * min(LONGER_AT_MOST, math.sqrt(louder)):
            return True
        response = self.response
        is_bent = response.frequency * span < BENT_RAD[response.frequency >= SLOW_RAD_S]
        more, spread = remaining(run, interval_s, response.lag_s, response.frequency, is_bent=is_bent)
        sigma = scatter(run, USUAL_D * louder * division)
        return abs(more) + SURE * spread * sigma <= (BENT_D if is_bent else LEVEL_D) * louder * division

    def _step(self, run: list[float], division: int) -> int:
        """Where the last step shows among the results of what may be a rest, 0 where none does."""
        flat = without_approach(run)
        if len(flat) < FEWEST:
            return len(run) - 1
        cut = last_step(flat, self._tested(division), STEP_D * division, SETTLE_SIGMA)
        return len(run) - len(flat) + cut if cut else 0

    def _settle(self, at: float, run: list[float], division: int) -> None:
        run = without_approach(run)
        mass = math.fsum(run) / len(run)
        self.response.keep()
        since = self._since(at, mass, division)
        self._doubts, self._considered = 0, None
        self._off.clear()
        self.held = self.plateau = Plateau(
            mass, self._u(len(run), division), since, at, len(run), self.results[-len(run)][0]
        )

    def _variance(self, sigma_d: float | None = None) -> float:
        """That of the mean of n results is this divided by n; in divisions, the noise remembers itself."""
        keeps = self._keeps()
        rough = max(0.0, (sigma_d or self.noise.sigma_d) ** 2 - 1 / 12)
        return rough * (1 + keeps) / (1 - keeps) + 1 / 12

    def _worth(self, division: int) -> float:
        """What counts as a change: a division; on digits finer than the noise one of them is none."""
        return max(1.0, WORTH_SIGMA * self.noise.sigma_d) * division

    def _keeps(self) -> float:
        """How much of the noise of one result is still there at the next."""
        return math.exp2(-self.response.best.interval_s / NOISE_HALVES_S)

    def _tested(self, division: int) -> float:
        """The same, never below that of a scale as noisy as a quiet one may be."""
        return self._variance(max(TESTED_D, self.noise.sigma_d)) * division * division

    def _u(self, n: int, division: int) -> float:
        floor = U_D * math.exp(-U_DITHER * max(0.0, self.noise.sigma_d**2 - 1 / 12))
        return division * math.sqrt(floor**2 + U_SIGMA * self._variance() / n)

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
