"""What still arrives after "stop", learned for each ingredient.

After the cook is told to stop, a smooth stream brings flow times a nearly constant time: material in the air, the jug
turned back, the scale's lag. Strategy: the starting value is what is believed at first, with its uncertainty; each
pour seen adds its own tail, weighed by how exactly it could be seen (a lump or a slow flow blurs it). A tail that
cannot be one is left out, and one far from the others counts only as far as a usual one might lie. Only the last few
are kept, since hands change.
"""

from __future__ import annotations

import statistics
from dataclasses import dataclass

START_S = 0.83  # measured on a robot's pours onto a 10 Hz bench scale: the median, of 0.57 to 1.04 s
START_SD_S = 0.25  # a person's differs
POUR_SD_S = 0.12  # assumed: from one pour to the next, a reaction and a turn of the wrist
WINDOW_S = (0.1, 2.5)
RATES_G_S = (1.0, 100.0)  # a trickle tells nothing; what is faster did not flow, but was set down
RATE_U_G_S = 0.7  # how well a flow is known when "stop" is said (simulated pours)
KEPT = 8
FAR = 2.5
SURE_OF_SPREAD = 4.0  # so many pours' worth of `POUR_SD_S`


@dataclass(frozen=True, slots=True)
class Tail:
    """Seconds of flow that still arrive after "stop", and the standard deviation of the next one about it.

    `seen_s` are the last ones seen, each with its own standard uncertainty.
    """

    seconds: float = START_S
    sd_s: float = START_SD_S
    seen_s: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if not (0 <= self.seconds < 60 and self.sd_s >= 0):
            raise ValueError(f"a tail of {self.seconds} s with a deviation of {self.sd_s} s cannot be")


START = Tail()
"""What is assumed of an ingredient that was never poured."""


def learn(tail: Tail, rate_g_s: float, arrived_g: float, u_g: float = 0.0) -> Tail:
    """The tail after one more pour.

    Args:
        tail: what was known before.
        rate_g_s: the flow when "stop" was said.
        arrived_g: how much came after that.
        u_g: the standard uncertainty of that mass: the scale's, and a lump more or less.
    """
    if not RATES_G_S[0] <= rate_g_s <= RATES_G_S[1]:
        return tail
    seen_s = arrived_g / rate_g_s
    if not WINDOW_S[0] <= seen_s <= WINDOW_S[1]:
        return tail
    u_s = (u_g**2 + (RATE_U_G_S * seen_s) ** 2) ** 0.5 / rate_g_s
    return _from((*tail.seen_s, (seen_s, u_s))[-KEPT:])


def _from(seen: tuple[tuple[float, float], ...]) -> Tail:
    middle = statistics.median(seconds for seconds, _ in seen)
    total, squares = START_S / START_SD_S**2, SURE_OF_SPREAD * POUR_SD_S**2
    weights, pulled = 1 / START_SD_S**2, []
    for seconds, u_s in seen:
        sd_s = (POUR_SD_S**2 + u_s**2) ** 0.5
        near = min(max(seconds, middle - FAR * sd_s), middle + FAR * sd_s)
        weight = 1 / sd_s**2
        total, weights = total + weight * near, weights + weight
        pulled.append((near, POUR_SD_S**2 * weight))
    mean = total / weights
    squares += sum(share * (near - mean) ** 2 for near, share in pulled)
    spread = squares / (SURE_OF_SPREAD + sum(share for _, share in pulled))
    return Tail(mean, (1 / weights + spread) ** 0.5, seen)
