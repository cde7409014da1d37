"""How long to wait before the next try: short at first, then longer, never longer than 5 s, and never giving up."""

from __future__ import annotations

import random

FIRST_S = 0.25
LONGEST_S = 5.0
LEAST_SHARE = 0.5  # of the nominal wait; the rest is chance, so that several ports do not knock at once


class Backoff:
    """The waits of one port."""

    def __init__(self, source: random.Random | None = None) -> None:
        self._random = source or random.Random()  # noqa: S311 - jitter is no secret
        self._tries = 0

    def next_s(self) -> float:
        """The wait before the next try, in seconds."""
        nominal_s = min(LONGEST_S, FIRST_S * float(1 << min(self._tries, 10)))
        self._tries += 1
        return nominal_s * self._random.uniform(LEAST_SHARE, 1.0)

    def reset(self) -> None:
        """It works again: begin anew."""
        self._tries = 0
