"""What still arrives after "stop", learned for each ingredient.

After the cook is told to stop, a smooth stream brings flow times a nearly constant time: material in the air, the jug
turned back, the scale's lag. Strategy: a mean of the last few tails seen, held towards the starting value while few
are known; a tail outside a window (a lump, a second thought) is not learned from.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

START_S = 0.83
START_SD_S = 0.25
WINDOW_S = (0.1, 2.5)
KEPT = 8
LEAST_RATE_G_S = 1.0


@dataclass(frozen=True, slots=True)
class Tail:
    """Seconds of flow that still arrive after "stop", with its standard deviation; `seen_s` are the last ones."""

    seconds: float = START_S
    sd_s: float = START_SD_S
    seen_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not (0 <= self.seconds < 60 and self.sd_s >= 0):
            raise ValueError(f"a tail of {self.seconds} s with a deviation of {self.sd_s} s cannot be")


START = Tail()
"""What is assumed of an ingredient that was never poured."""


def learn(tail: Tail, rate_g_s: float, arrived_g: float) -> Tail:
    """The tail after one more pour, of which `arrived_g` came after "stop" was said at `rate_g_s`."""
    if rate_g_s < LEAST_RATE_G_S:
        return tail
    seen = arrived_g / rate_g_s
    if not WINDOW_S[0] <= seen <= WINDOW_S[1]:
        return tail
    kept = (*tail.seen_s, seen)[-KEPT:]
    weight = len(kept) / (len(kept) + 1)
    seconds = weight * statistics.median(kept) + (1 - weight) * START_S
    spread = 1.4826 * statistics.median(abs(value - seconds) for value in kept)
    return Tail(seconds, weight * max(spread, 0.05) + (1 - weight) * START_SD_S, kept)
