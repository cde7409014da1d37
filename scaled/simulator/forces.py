"""What pushes on a plate and is no mass: a hand that presses, something that lands, a draught.

A force is a function of time in grams (what the scale would show for it) with a beginning and an end.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Force:
    """A push in grams over bench time, nothing before `from_at` and nothing from `to_at` on."""

    from_at: float
    to_at: float
    grams_at: Callable[[float], float]  # handed the seconds since `from_at`


def press(peak_g: float, at: float, *, rise_s: float = 0.25, hold_s: float = 0.2, release_s: float = 0.2) -> Force:
    """A hand on the plate: up smoothly, held, and off again."""

    def grams_at(since_s: float) -> float:
        if since_s < rise_s:
            return peak_g * _smooth(since_s / rise_s)
        if since_s < rise_s + hold_s:
            return peak_g
        return peak_g * _smooth((rise_s + hold_s + release_s - since_s) / release_s)

    return Force(at, at + rise_s + hold_s + release_s, grams_at)


def landing(peak_g: float, at: float, *, lasts_s: float = 0.12) -> Force:
    """The blow of something that drops in: half a sine, so that the load is overstated while it lands."""
    return Force(at, at + lasts_s, lambda since_s: peak_g * math.sin(math.pi * since_s / lasts_s))


def walk(by_g: float, at: float, *, lasts_s: float = 10.0) -> Force:
    """A draught or a warm pot beside the scale: the value walks away by `by_g` and comes back as slowly."""
    return Force(at, at + 2 * lasts_s, lambda since_s: by_g * (1.0 - abs(since_s - lasts_s) / lasts_s))


def _smooth(share: float) -> float:
    return 0.5 - 0.5 * math.cos(math.pi * min(1.0, max(0.0, share)))
