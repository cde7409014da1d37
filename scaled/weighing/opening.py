"""What stood on the plate when the readings began, where it was moved before it was known to rest.

Strategy: on a noisy scale a first rest takes seconds to be known. If by then something came or was pushed, the results
from the first on that lay together say what lay there before; no more is asked of them than to be told from what came.
"""

from __future__ import annotations

import math

from scaled.weighing.creep import Level

LASTED_S, FEWEST = 1.0, 6
ROOM_D, ROOM_SIGMA = 6.0, 6.0  # so wide may the noise be
APART, AT_LEAST = 4.0, 2  # so many times that further off lie at least so many results of what came
KEPT = 300
REMEMBERS = 3.0  # (1 + k) / (1 - k) of noise that keeps k = 0.5 of itself to the next result


class Opening:
    """Fed with the results until the first rest."""

    def __init__(self) -> None:
        self._results: list[tuple[float, float]] = []

    def see(self, at: float, value: float) -> None:
        """Take the next result."""
        if len(self._results) < KEPT:
            self._results.append((at, value))

    def left(self, division: float, sigma: float) -> tuple[Level, list[tuple[float, float]]] | None:
        """Where the load stood from the beginning on and the results since it left there, None if it still stands.

        Args:
            division, sigma: the division and the standard deviation of a single result, in mg.
        """
        room = max(ROOM_D * division, ROOM_SIGMA * sigma)
        low, high, n = math.inf, -math.inf, 0
        for _, value in self._results:
            low, high = min(low, value), max(high, value)
            if high - low > room:
                break
            n += 1
        stood = self._results[:n]
        if n < FEWEST or stood[-1][0] - stood[0][0] < LASTED_S:
            return None
        mass = math.fsum(value for _, value in stood) / n
        if sum(abs(value - mass) > APART * room for _, value in self._results[n:]) < AT_LEAST:
            return None
        spread = max(sigma, math.sqrt(math.fsum((value - mass) ** 2 for _, value in stood) / (n - 1)))
        return Level(stood[0][0], mass, spread * math.sqrt(REMEMBERS / n)), self._results[n - 1 :]
