"""Stop in time: what to tell the one who pours.

Strategy: the mass at rest if the cook stopped now is the forecast of the weight with the ingredient's own tail. Stop
is said when that expected end has come into the band far enough; before that the flow is brought down, so that what
remains can be met with the accuracy of the tail.
"""

from __future__ import annotations

from typing import Literal

from scaled.weighing.tail import Tail
from scaled.weighing.values import Weight

Advice = Literal["pour freely", "slow", "a little, then wait", "stop"]
SLOW_BEFORE_S = 3.0
SLOW_SPREADS = 2.0


def advice(weight: Weight, target_mg: float, band_mg: tuple[int, int], tail: Tail) -> Advice:
    """What to tell the cook now.

    Args:
        weight: what the scale means now, gross.
        target_mg, band_mg: the target and its band as gross masses on the same scale.
        tail: what is known of this ingredient's after-flow.
    """
    low_g, high_g, target_g = band_mg[0] / 1000, band_mg[1] / 1000, target_mg / 1000
    rate = max(0.0, weight.rate_g_s)
    expected_g = weight.estimate_g + rate * tail.seconds
    spread_g = rate * tail.sd_s
    aim_g = min(target_g, max(low_g, high_g - 2 * spread_g))
    if weight.estimate_g >= low_g or expected_g >= aim_g:
        return "stop"
    missing_g = target_g - weight.estimate_g
    if rate < 1.0 and missing_g <= 2 * (high_g - low_g):
        return "a little, then wait"
    if target_g - expected_g <= rate * SLOW_BEFORE_S or SLOW_SPREADS * spread_g > high_g - target_g:
        return "slow" if missing_g <= max(rate * SLOW_BEFORE_S, high_g - low_g) * 2 else "pour freely"
    return "pour freely"
