"""Pushes on the scale: a hand that presses and lets go.

A push rises by at least max(20 d, 30 g, 6 standard deviations) above the rest before it, peaks within 1.5 s and comes
back to within max(2 d, 5 standard deviations, 2 % of the push). Pushes without a return between are counted by their
peaks. What rises as far for one result only is a knock; what lies still for a while is a thing and no hand.

Strategy: the turning points of the weight while it is in motion, each once.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

LEAST_D, LEAST_MG, LEAST_SIGMA = 20, 30_000.0, 6.0
RISE_S = 1.5
BACK_D, BACK_SIGMA, BACK_SHARE = 2.0, 5.0, 0.02
TURNED = 0.3
SHORTEST_S, LONGEST_S = 0.2, 3.0
SWING = 0.3
RINGS = 0.08
LAID_S = 0.7
FEWEST_UP, UP_SHARE = 2, 0.04  # results so high: what shows in one only is a knock, or a wild value
KEPT = 256


def least_push(division: float, sigma: float) -> float:
    """The lowest push in mg; `sigma` is the standard deviation of a single result."""
    return max(LEAST_D * division, LEAST_MG, LEAST_SIGMA * sigma)


@dataclass(slots=True)
class Push:
    """One push in mg above the rest before it; `from_at` and `to_at` are the troughs about its peak."""

    from_at: float
    to_at: float
    height: float


class Pushes:
    """Fed with the results of one motion, as masses above the rest before it."""

    def __init__(self, at: float, division: float, sigma: float) -> None:
        self._least = least_push(division, sigma)
        self._back = max(BACK_D * division, BACK_SIGMA * sigma)
        self._trough, self._trough_at = 0.0, at
        self._peak, self._peak_at = 0.0, at
        self._is_rising = True
        self._is_spoiled = self._was_below = False
        self._were_back = 0
        self._seen: deque[float] = deque(maxlen=KEPT)
        self._flat, self._flat_at = 0.0, at
        self.was_laid = False
        self.found: list[Push] = []

    def see(self, at: float, above: float) -> tuple[Push, ...]:
        """Take the next result; the pushes that have just come back."""
        is_below = above < -max(self._least, SWING * self._highest())
        if is_below and not self._was_below:
            self._was_below = True
            return ()  # a lone one is a wild value
        self._was_below = is_below
        self._is_spoiled |= is_below
        self._seen.append(above)
        if abs(above - self._flat) > self._back:
            self._flat, self._flat_at = above, at
        elif above >= self._least / 2 and at - self._flat_at >= LAID_S and at - self._trough_at > RISE_S:
            self._is_spoiled = self.was_laid = True
        if self._is_rising:
            self._rise(at, above)
        else:
            self._fall(at, above)
        return self._released(at, above)

    def _highest(self) -> float:
        return max([self._peak, *(push.height for push in self.found)])

    def _rise(self, at: float, above: float) -> None:
        if above >= self._peak:
            self._peak, self._peak_at = above, at
            return
        height = self._peak - max(self._trough, 0.0)
        if self._peak >= self._least and height >= self._least / 2 and self._peak - above >= TURNED * height:
            if self._peak_at - self._trough_at > RISE_S:
                self._is_spoiled = True
            self.found.append(Push(self._trough_at, at, self._peak))
            self._is_rising = False
            self._trough, self._trough_at = above, at
        elif above <= self._trough or (self._peak < self._least and above <= self._back):
            self._trough, self._trough_at = above, at
            self._peak, self._peak_at = above, at

    def _fall(self, at: float, above: float) -> None:
        if above <= self._trough:
            self._trough, self._trough_at = above, at
            if abs(above) > max(self._back, BACK_SHARE * self._highest()):
                self.found[-1].to_at = at
        elif above - max(self._trough, 0.0) >= max(self._least / 2, RINGS * self.found[-1].height):
            self._is_rising = True
            self._peak, self._peak_at = above, at

    def _released(self, at: float, above: float) -> tuple[Push, ...]:
        if not self.found or self._is_rising:
            return ()
        if abs(above) > max(self._back, BACK_SHARE * self._highest()):
            self._were_back = 0
            return ()
        self._were_back += 1
        if self._were_back < 2:
            return ()
        up = max(self._least / 2, UP_SHARE * self._highest())
        is_knock = sum(above >= up for above in self._seen) < FEWEST_UP
        pushes = tuple(push for push in self.found if SHORTEST_S <= push.to_at - push.from_at <= LONGEST_S)
        self.found.clear()
        self._were_back = 0
        self._seen.clear()
        self._is_rising = True
        self._trough, self._trough_at = above, at
        self._peak, self._peak_at = above, at
        return () if self._is_spoiled or is_knock else pushes
