"""A value that swings slowly up and down and never comes to rest: a vibration close to a multiple of the scale's rate.

Swing and level cannot be told apart then. Strategy: the turning points of the value. Several swings of about the same
size, one after another, are no pour and no hand; nor is a fall that goes on slowly and evenly, since nothing takes
weight away like that. Until the value has stood still for longer than such a swing would let it, nothing is called a
rest. A swing that takes longer than it was watched looks like a trickle or a rest, and nobody can tell it from one.
"""

from __future__ import annotations

import math
from collections import deque

# Tuned on simulated scenes (tests/weighing).
LEAST_D = 5.0
MOST_D, MOST_MG = 15.0, 12_000.0
ALIKE = 0.5
SWINGS = 3
STILL_SHARE = 0.8
SHORTEST_S, LONGEST_S = 0.8, 12.0
FALLS, FALL_S = 4, 0.35  # a slow fall: so many parts of so long, each of them by so much,
FALL_D, EVEN = 0.8, 3.0  # and none more than so many times another
SWING_MG = 5_000.0  # assumed: a mixer shakes a bench scale by no more


class SlowFall:
    """Fed with each distinct result; `still_s` is above 0 once a fall was seen that only a slow swing explains."""

    def __init__(self) -> None:
        self._speeds: deque[float] = deque(maxlen=FALLS)
        self._part: list[float] = []
        self._part_at = self._fell_at = self.still_s = 0.0
        self._mean: float | None = None

    def see(self, at: float, value: float, division: float) -> None:
        """Take the next result. The means of parts are compared: a fast swing cancels in them."""
        if not self._part:
            self._part_at = at
        elif at - self._part_at >= FALL_S:
            self._compare(at, math.fsum(self._part) / len(self._part), division)
            self._part, self._part_at = [], at
        self._part.append(value)

    def _compare(self, at: float, mean: float, division: float) -> None:
        """A swing of A at f falls by v = 2 pi f A at most, and about its turning point it stays within a division
        for 2 sqrt(2 d A) / v."""
        if self._mean is not None:
            self._speeds.append((self._mean - mean) / (at - self._part_at))
        self._mean = mean
        if at - self._fell_at > LONGEST_S:
            self.still_s = 0.0
        if len(self._speeds) < FALLS:
            return
        least, most = min(self._speeds), max(self._speeds)
        if FALL_D * division / FALL_S <= least and most <= EVEN * least:
            self._fell_at = at
            self.still_s = min(LONGEST_S, 2 * math.sqrt(2 * division * max(SWING_MG, division)) / most)


class Restless:
    """Fed with each distinct result."""

    def __init__(self) -> None:
        self._swings: deque[tuple[float, float]] = deque(maxlen=SWINGS)
        self._turn: tuple[float, float] | None = None
        self._extreme = (0.0, 0.0)
        self._sign = 0
        self._swung_still_s = 0.0
        self._fall = SlowFall()

    def see(self, at: float, value: float, division: float) -> None:
        """Take the next result."""
        self._fall.see(at, value, division)
        if self._turn is None:
            self._turn = self._extreme = (at, value)
            return
        if self._sign == 0:
            off = value - self._turn[1]
            if abs(off) >= LEAST_D * division:
                self._sign, self._extreme = (1 if off > 0 else -1), (at, value)
            return
        ahead = (value - self._extreme[1]) * self._sign
        if ahead > 0:
            self._extreme = (at, value)
        elif -ahead >= LEAST_D * division:
            self._swings.append((self._extreme[0] - self._turn[0], abs(self._extreme[1] - self._turn[1])))
            self._turn, self._extreme, self._sign = self._extreme, (at, value), -self._sign
            self._judge(division)
        elif at - self._extreme[0] > LONGEST_S or (
            self._swung_still_s and at - self._extreme[0] > 3 * self._swung_still_s
        ):
            self._turn_anew()

    @property
    def still_s(self) -> float:
        """How long the value must stand still before a rest may be called."""
        return max(self._swung_still_s, self._fall.still_s)

    @property
    def is_restless(self) -> bool:
        """Whether it swings so."""
        return self.still_s > 0

    def forget(self) -> None:
        """Nothing swings any more."""
        self._turn_anew()
        self._fall = SlowFall()

    def _turn_anew(self) -> None:
        self._swings.clear()
        self._turn, self._sign, self._swung_still_s = None, 0, 0.0

    def _judge(self, division: float) -> None:
        sizes = [size for _, size in self._swings]
        times = [seconds for seconds, _ in self._swings]
        is_swinging = (
            len(sizes) == SWINGS
            and min(sizes) >= ALIKE * max(sizes)
            and max(sizes) <= max(MOST_D * division, MOST_MG)
            and min(times) >= SHORTEST_S
            and max(times) <= LONGEST_S
        )
        self._swung_still_s = STILL_SHARE * sum(times) / len(times) if is_swinging else 0.0
