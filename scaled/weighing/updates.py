"""Which lines bring a new result of the scale, and which repeat the last one.

A streaming scale sends each internal result several times over, not always equally often. Strategy: lines are counted,
not timed, since they come late and in bunches but none is left out. Where the value runs, each change of it is the next
result, so the lines from one clear change to the next tell how often a result is sent. While the value stays the same a
new (equal) result is counted each time that as many lines have passed. Results that follow each other faster than a
scale weighs tell little more and would crowd out what was before: of those only each second, third ... counts.
"""

from __future__ import annotations

import math
from collections import deque

START_S, START_REPEATS = 0.1, 3.0  # until the value has run once; measured: streaming scales repeat 3 or 4 times,
SPARSE_S = 1 / 12  # lines further apart than that are a converter's or a slow line's, and repeat nothing
CLEAR_D = 2  # a smaller change may come after equal results, or be noise
KEPT = 24
LEAST_SHARE, NEAR = 0.2, 1.5  # the shortest counts are those without an equal result between, or without a hand's pause
ALIKE = 0.88  # so many of them equal: it is that number
ROUND = 0.1
SHORTEST_S = 0.04  # results that come closer are thinned out
LONGEST_S = 0.6  # further apart are no neighbours: scales bring 3 to 18 results a second
SILENT_S = 1.0
LINES_KEPT = 64


class Updates:
    """Tells new results from repeats; `interval_s` is the time between two that count, `repeats` the lines of each."""

    def __init__(self, interval_s: float | None = None) -> None:
        self._given = interval_s
        self._line_s, self._lines = 0.0, 0
        self._counts: deque[int] = deque(maxlen=KEPT)
        self._learned: float | None = None
        self._at = 0.0
        self._value: int | None = None
        self._was_clear = False
        self._since = self._equal = 0  # lines since the value changed, and equal results among them
        self._passed = 0  # results that did not count
        self._thinned = 1  # each how many-th result counts
        self.interval_s = 0.0
        self._measure()

    @property
    def repeats(self) -> float:
        """How many lines bring the same result, 1 if each is a new one."""
        if self._line_s and self._given:
            return max(1.0, self._given / self._line_s)
        return self._learned or (START_REPEATS if self._line_s < SPARSE_S else 1.0)

    def is_new(self, at: float, value_mg: int, division_mg: int) -> bool:
        """Whether the line at `at` brings a new result that counts."""
        if self._value is None:
            self._at, self._value, self._passed = at, value_mg, 0
            return True
        is_result = self._is_result(at, value_mg - self._value, division_mg)
        self._value = value_mg
        if not is_result:
            return False
        self._measure()
        self._passed += 1
        if self._passed < self._thinned:
            return False
        self._passed = 0
        return True

    def _measure(self) -> None:
        """The time between two results that count."""
        every_s = self._given or self._line_s * self.repeats or START_S
        self._thinned = 1 if every_s >= SHORTEST_S else max(1, math.ceil(SHORTEST_S / every_s - ROUND))
        self.interval_s = every_s * self._thinned

    def _is_result(self, at: float, change_mg: int, division_mg: int) -> bool:
        self._space(at - self._at)
        self._at = at
        self._since += 1
        if not change_mg:
            is_due = self._since >= (self._equal + 1) * self.repeats - ROUND
            self._equal += is_due
            return is_due
        is_clear = abs(change_mg) >= CLEAR_D * division_mg
        is_sooner = self._learned is not None and self._since <= self._learned - 1
        if (is_clear and self._was_clear) or is_sooner:
            self._learn(self._since)
        self._was_clear, self._since, self._equal = is_clear, 0, 0
        return True

    def forget(self) -> None:
        """The line was silent: the next one brings a new result."""
        self._value, self._was_clear = None, False
        self._since = self._equal = 0

    def _space(self, gap_s: float) -> None:
        """The mean time between two lines."""
        if gap_s < SILENT_S:
            self._lines = min(self._lines + 1, LINES_KEPT)
            self._line_s += (gap_s - self._line_s) / self._lines

    def _learn(self, lines: int) -> None:
        """So many lines came from one change to the next."""
        if lines * self._line_s > LONGEST_S:
            return
        self._counts.append(lines)
        least = sorted(self._counts)[int(LEAST_SHARE * len(self._counts))]
        near = [count for count in self._counts if count <= max(NEAR * least, least + 1)]
        usual = max(set(near), key=near.count)
        self._learned = usual if near.count(usual) >= ALIKE * len(near) else sum(near) / len(near)
