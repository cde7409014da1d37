"""Which lines bring a new result of the scale, and which repeat the last one.

A streaming scale sends each internal result several times over. Strategy: a change of value is a new result; the
shortest usual time between two changes is the scale's own interval, and while the value stays the same a new (equal)
result is counted each time that this interval has passed.
"""

from __future__ import annotations

SHORTEST_S = 0.04
START_S = 0.1
LONGEST_S = 0.4
LONGER_AFTER = 12


class Updates:
    """Tells new results from repeats; `interval_s` is what was learned of the time between two results."""

    def __init__(self, interval_s: float | None = None) -> None:
        self._given = interval_s
        self.interval_s = interval_s or START_S
        self._at: float | None = None
        self._changed_at: float | None = None
        self._value: int | None = None
        self._missed = 0

    def is_new(self, at: float, value_mg: int) -> bool:
        """Whether the line at `at` brings a new result."""
        if self._at is None or self._value is None:
            self._remember(at, value_mg)
            return True
        if value_mg != self._value:
            if self._changed_at is not None and self._given is None:
                self._learn(at - self._changed_at)
            self._changed_at = at
            self._remember(at, value_mg)
            return True
        if at - self._at >= 0.98 * self.interval_s:
            self._remember(at, value_mg)
            return True
        return False

    def forget(self) -> None:
        """The line was silent: the next one brings a new result."""
        self._at = self._changed_at = self._value = None

    def _remember(self, at: float, value_mg: int) -> None:
        self._at, self._value = at, value_mg

    def _learn(self, gap_s: float) -> None:
        """Learn from the time between two changes; longer than one interval means that equal results lay between."""
        gap_s = max(gap_s, SHORTEST_S)
        if gap_s < 0.7 * self.interval_s:
            self.interval_s, self._missed = gap_s, 0
        elif gap_s < 1.5 * self.interval_s:
            self.interval_s += 0.1 * (gap_s - self.interval_s)
            self._missed = 0
        elif gap_s < 2.5 * self.interval_s:
            self._missed += 1
            if self._missed >= LONGER_AFTER:
                self.interval_s, self._missed = min(gap_s, LONGEST_S), 0
