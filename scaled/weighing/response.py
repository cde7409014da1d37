"""How fast the scale follows a load, learned from watching it come to rest.

A scale is a mass on a spring with damping behind its own filter: x'' = w^2 (load - x) - 2 z w x'. Left alone, its
distance e from the final value obeys e[k+1] = a1 e[k] + a2 e[k-1] from one result to the next.

Strategy: a grid of (w, z) covers every scale that is known. Each coming to rest is explained backwards by each of the
grid; what a kind explains costs it little, what it leaves to the hand that was still
moving costs more, and what would ask for a load beyond all that was shown costs most. So a slow kind cannot explain a
sharp step, a fast one leaves a slow scale's own approach unexplained, and a smooth pour speaks for none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

FREQUENCIES_RAD_S = tuple(4.6 * 9.6 ** (k / 11) for k in range(12))
DAMPINGS = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
BEYOND = 0.2
UNEXPLAINED = 2.0
IMPOSSIBLE = 8.0
FORGET = 0.93
LIKELY = 0.1
WORTH_SIGMA = 4.0
LEARN_SIGMA = 25.0  # a smaller change tells nothing: every kind explains it
MIDDLE_RAD_S, MIDDLE_DAMPING = 14.0, 0.75  # before anything is learned
MISMATCH = 0.05
LARGEST_Z = 9.0
OVERFLOW = 1e7


class Kind:
    """A natural frequency in rad/s, a damping ratio, and what follows for results `interval_s` apart."""

    __slots__ = ("a1", "a2", "amplifies", "damping", "frequency", "gain", "interval_s", "lag_s", "loss")

    def __init__(self, frequency: float, damping: float, interval_s: float = 0.1) -> None:
        self.frequency = frequency
        self.damping = damping
        self.lag_s = 2 * damping / frequency
        self.loss = 0.0
        self.space(interval_s)

    def space(self, interval_s: float) -> None:
        """Work out the recurrence for results `interval_s` apart."""
        decay = math.exp(-self.damping * self.frequency * interval_s)
        turn = self.frequency * math.sqrt(max(0.0, 1 - self.damping**2)) * interval_s
        self.interval_s = interval_s
        self.a1 = 2 * decay * math.cos(turn)
        self.a2 = -decay * decay
        self.gain = 1 - self.a1 - self.a2
        self.amplifies = math.sqrt(1 + self.a1**2 + self.a2**2)


class FreeResponse:
    """Explains results backwards, each from the newer ones, by recursive least squares.

    Three figures are fitted: how far the final value lies from the level given, and the two newest distances from it.
    """

    def __init__(self, kind: Kind, level_room: float, state_room: float) -> None:
        self._a1, self._a2 = kind.a1, kind.a2
        self._fit = (0.0, 0.0, 0.0)
        self._p = (level_room, 0.0, 0.0, state_room, 0.0, state_room)
        self._u, self._w = (1.0, 0.0), (0.0, 1.0)

    def explain(self, off: float, room: float, largest_z: float) -> float | None:
        """Take the next older distance from the level; its squared misfit, None where it fits no more.

        `room` is the variance allowed to it besides that of the fit.
        """
        u1, u2 = self._u
        p00, p01, p02, p11, p12, p22 = self._p
        f0, f1, f2 = self._fit
        g0 = p00 + p01 * u1 + p02 * u2
        g1 = p01 + p11 * u1 + p12 * u2
        g2 = p02 + p12 * u1 + p22 * u2
        room += g0 + g1 * u1 + g2 * u2
        miss = off - f0 - f1 * u1 - f2 * u2
        if miss * miss > largest_z * room:
            return None
        k = miss / room
        self._fit = (f0 + g0 * k, f1 + g1 * k, f2 + g2 * k)
        self._p = (
            p00 - g0 * g0 / room,
            p01 - g0 * g1 / room,
            p02 - g0 * g2 / room,
            p11 - g1 * g1 / room,
            p12 - g1 * g2 / room,
            p22 - g2 * g2 / room,
        )
        w1, w2 = self._w
        a1, a2 = self._a1, self._a2
        self._u, self._w = self._w, ((u1 - a1 * w1) / a2, (u2 - a1 * w2) / a2)
        return miss * k

    @property
    def is_spent(self) -> bool:
        """Whether the next older result would be too far from the rest for the sums to hold."""
        return not abs(self._w[0]) + abs(self._w[1]) < OVERFLOW


class ResponseLearner:
    """`best` is the mean of the likely ones, `frequency` the slowest that is still likely, `lag_s` the mean lag."""

    def __init__(self) -> None:
        self._grid = [Kind(w, z) for w in FREQUENCIES_RAD_S for z in DAMPINGS]
        self._considered: list[float] | None = None
        self.best = Kind(MIDDLE_RAD_S, MIDDLE_DAMPING)
        self.seen = 0
        self.lag_s = 0.15
        self.frequency = 5.0

    def space(self, interval_s: float) -> None:
        """Tell the time between two results."""
        if abs(interval_s - self._grid[0].interval_s) > 0.02 * interval_s:
            for kind in (*self._grid, self.best):
                kind.space(interval_s)

    def consider(self, values: Sequence[float], level: float, sigma: float) -> None:
        """Judge by the results up to what may be a rest, the newest last, given its level and the noise."""
        e = [(value - level) / sigma for value in values]
        highest, lowest = max(max(e, default=0.0), 0.0), min(min(e, default=0.0), 0.0)
        span = highest - lowest
        if span < LEARN_SIGMA:
            self._considered = None
            return
        bounds = lowest - BEYOND * span, highest + BEYOND * span
        self._considered = [_loss(kind, e, bounds) for kind in self._grid]
        self._weigh_up([kind.loss + loss for kind, loss in zip(self._grid, self._considered, strict=True)])

    def keep(self) -> None:
        """It was a rest: what was considered last is learned."""
        if self._considered is None:
            return
        self.seen += 1
        for kind, loss in zip(self._grid, self._considered, strict=True):
            kind.loss = FORGET * kind.loss + loss
        self._considered = None

    def _weigh_up(self, losses: list[float]) -> None:
        least = min(losses)
        likely = [(math.exp(least - loss), kind) for kind, loss in zip(self._grid, losses, strict=True)]
        total = sum(weight for weight, _ in likely)
        frequency = math.exp(sum(weight * math.log(kind.frequency) for weight, kind in likely) / total)
        damping = sum(weight * kind.damping for weight, kind in likely) / total
        self.best = Kind(frequency, damping, self._grid[0].interval_s)
        self.lag_s = sum(weight * kind.lag_s for weight, kind in likely) / total
        self.frequency = min(kind.frequency for weight, kind in likely if weight > LIKELY)


def _loss(kind: Kind, e: Sequence[float], bounds: tuple[float, float]) -> float:
    """What it costs a kind to explain distances from a rest, newest last, in units of the noise."""
    free = FreeResponse(kind, 1.5, 3.0)
    loss = 0.0
    index = len(e) - 1
    while index >= 0 and not free.is_spent:
        off = e[index]
        z = free.explain(off, 1.0 + (MISMATCH * off) ** 2, LARGEST_Z)
        if z is None:
            break
        if abs(off) >= WORTH_SIGMA:
            loss += 0.5 * min(z, WORTH_SIGMA)
        index -= 1
    for k in range(min(index, len(e) - 2), 0, -1):
        older, this, newer = e[k - 1], e[k], e[k + 1]
        if abs(older) + abs(this) + abs(newer) < WORTH_SIGMA:
            continue
        miss = newer - kind.a1 * this - kind.a2 * older
        is_possible = bounds[0] <= miss / kind.gain <= bounds[1]
        if is_possible or abs(miss) <= 3 * kind.amplifies + 0.02 * (abs(this) + abs(older)):
            loss += UNEXPLAINED
        else:
            loss += IMPOSSIBLE
    return loss
