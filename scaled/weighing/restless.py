"""A value that swings slowly up and down and never comes to rest: a vibration close to a multiple of the scale's rate.

Swing and level cannot be told apart then. Strategy: the turning points of the value. Several swings of about the same
size, one after another, are no pour and no hand; until the value has stood still for longer than such a swing would
let it, nothing is called a rest.
"""

from __future__ import annotations

from collections import deque

# Tuned on simulated scenes (tests/weighing).
LEAST_D = 5.0
MOST_D, MOST_MG = 15.0, 12_000.0
ALIKE = 0.5
SWINGS = 3
STILL_SHARE = 0.8
SHORTEST_S, LONGEST_S = 0.8, 12.0


class Restless:
    """Fed with each distinct result; `still_s` is how long it must stand still before a rest may be called."""

    def __init__(self) -> None:
        self._swings: deque[tuple[float, float]] = deque(maxlen=SWINGS)
        self._turn: tuple[float, float] | None = None
        self._extreme = (0.0, 0.0)
        self._sign = 0
        self.still_s = 0.0

    def see(self, at: float, value: float, division: float) -> None:
        """Take the next result."""
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
        elif at - self._extreme[0] > LONGEST_S or (self.still_s and at - self._extreme[0] > 3 * self.still_s):
            self.forget()

    @property
    def is_restless(self) -> bool:
        """Whether it swings so."""
        return self.still_s > 0

    def forget(self) -> None:
        """Nothing swings any more."""
        self._swings.clear()
        self._turn, self._sign, self.still_s = None, 0, 0.0

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
        self.still_s = STILL_SHARE * sum(times) / len(times) if is_swinging else 0.0
