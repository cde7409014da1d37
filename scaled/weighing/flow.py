"""How fast the weight changes, and where it would end if the cook stopped now.

Strategy: a straight line through the results of the last instant, by least squares: short enough to follow a hand,
long enough to see through the division.
"""

from __future__ import annotations

from collections.abc import Sequence

from scaled.weighing.tail import START_S

SPAN_S = 0.6


def slope(results: Sequence[tuple[float, float]], span_s: float = SPAN_S) -> tuple[float, float]:
    """Mean value and slope a second of the (time, value) results within `span_s` of the last one."""
    last_at, last = results[-1]
    n, sum_t, sum_v, sum_tt, sum_tv = 0, 0.0, 0.0, 0.0, 0.0
    for at, value in reversed(results):
        age = at - last_at
        if age < -span_s:
            break
        n += 1
        sum_t += age
        sum_v += value
        sum_tt += age * age
        sum_tv += age * value
    spread = n * sum_tt - sum_t * sum_t
    if n < 3 or spread <= 0:
        return last, 0.0
    rate = (n * sum_tv - sum_t * sum_v) / spread
    return (sum_v - rate * sum_t) / n, rate


def forecast(estimate_g: float, rate_g_s: float, tail_s: float = START_S) -> float:
    """The mass at rest if the cook stopped now."""
    return estimate_g + max(0.0, rate_g_s) * tail_s
