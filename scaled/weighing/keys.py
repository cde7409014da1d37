"""The scale's own keys: tare, net/gross, unit. They move the value in a single result, which a load seldom can.

Strategy: a change between two rests with nothing in between is a key where it leads to zero, takes back what did, or
is another unit, and no load could have come so fast through this scale, or loads were seen to rise on it. Where loads
were seen to arrive in one result as well, the two look the same, and it was the load. However fast it came: what leads
from one load to another is a load, as an egg after what was poured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from scaled.weighing.response import ResponseLearner

LEAST_D, LEAST_SIGMA = 20, 6.0
BETWEEN_D, BETWEEN_SIGMA = 2.0, 4.0
SURELY_SEEN_D = 6.0
UNITS = (28.349523125, 1 / 28.349523125, 453.59237, 1 / 453.59237)  # g in oz and lb, UCUM
UNIT_ROOM = 0.01
QUICK_S = 1.0
FASTER = 1.3


class Keys:
    """Learns how loads arrive on this scale, and tells a key from them."""

    def __init__(self) -> None:
        self._rising = 0
        self._at_once = 0
        self._tared = 0.0
        self.is_doubtful = False  # the last change may have been the tare key, or a load that was lifted at once

    def is_key(
        self,
        path: Sequence[tuple[float, float]],
        before: float,
        after: float,
        division: float,
        sigma: float,
        response: ResponseLearner,
    ) -> bool:
        """Whether the change from one rest to the next was made by a key.

        Args:
            path: the results from the last of the rest before to the newest of the rest after.
            before, after: the levels of the two.
            division, sigma, response: what is known of the scale, masses in mg.
        """
        change = after - before
        self.is_doubtful = False
        if abs(change) < max(LEAST_D * division, LEAST_SIGMA * sigma):
            return False
        room = max(BETWEEN_D * division, BETWEEN_SIGMA * sigma)
        between = [at for at, v in path if abs(v - before) > room and abs(v - after) > room]
        is_zero = abs(after) <= max(2 * division, 4 * sigma)
        is_undone = abs(change + self._tared) <= max(3 * division, 0.02 * abs(change))
        if between:
            if between[-1] - between[0] <= QUICK_S:
                self._rising += 1
            return False
        is_unit = before != 0 and any(abs(after / before * factor - 1) < UNIT_ROOM for factor in UNITS)
        too_fast = self._left(abs(change), response) / division if self._rising > self._at_once else 0.0
        is_likely = is_zero or is_undone or is_unit
        shows_loads = self._rising >= 3 * self._at_once and not is_unit
        if is_likely and (too_fast > SURELY_SEEN_D or shows_loads):
            self._tared = change if is_zero else 0.0
            return True
        self._at_once += 1
        self.is_doubtful = is_zero
        return False

    def pressed(self, change: float) -> None:
        """The scale itself says that it went from gross to net or back."""
        self._tared, self.is_doubtful = change, False

    def was_pressed(self, change: float) -> None:
        """What came after it says that it was the tare key: the next that looks like it is one."""
        self._tared, self._rising, self._at_once = change, max(1, self._rising), 0

    @staticmethod
    def _left(change: float, response: ResponseLearner) -> float:
        """How far from its end a load of this size would at least have been seen once on its way."""
        if not response.seen:
            return 0.0
        kind = response.best
        return math.exp(-kind.damping * kind.frequency * FASTER * kind.interval_s) * change
