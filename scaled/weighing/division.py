"""The scale's division, learned from the values it shows.

The last digit of a line is only a hint: a scale with d = 0.5 g writes 0.1 g. Strategy: start from the hint (or the
finest digit seen), and move to 2 or 5 of it once enough different values were all multiples of that: by chance one in
2^12 or 5^6 would be.
"""

from __future__ import annotations

import math

ENOUGH_VALUES = {5: 6, 2: 12}
REMEMBERED = 64


class Division:
    """`mg` is the division in use."""

    def __init__(self, given_mg: int | None = None) -> None:
        self._is_given = given_mg is not None
        self._digit_mg = given_mg or 0
        self._common_mg = 0
        self._seen: set[int] = set()
        self.mg = given_mg or 1000

    def see(self, value_mg: int, hint_mg: int | None) -> None:
        if self._is_given or (value_mg in self._seen and not hint_mg):
            return
        common = math.gcd(self._common_mg, value_mg)
        if hint_mg:
            self._digit_mg = hint_mg
        elif value_mg:
            digit = next(step for step in (1000, 100, 10, 1) if value_mg % step == 0)
            self._digit_mg = min(digit, self._digit_mg or digit)
        if len(self._seen) < REMEMBERED:
            self._seen.add(value_mg)
        self._common_mg = common
        digit, seen = self._digit_mg or 1000, len(self._seen)
        self.mg = next(
            (digit * many for many, enough in ENOUGH_VALUES.items() if seen >= enough and common % (digit * many) == 0),
            digit,
        )
