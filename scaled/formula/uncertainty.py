"""How sure a weighing is, and whether that is fine enough for a band.

A net is the difference of two settled grosses, so its standard uncertainty is `u = sqrt(2 (d^2/12 + s^2))`: a rounding
to the division d at each end (uniform, d^2/12: JCGM 100:2008, 4.3.7) and the scale's repeatability s. The measuring
capability index of a band of width T is `C_m = T / (4 u)` (JCGM 106:2012, 7.6.3): below 1 the scale is coarse for it.
"""

from __future__ import annotations

import math

USUAL_REPEATABILITY_D = 0.3  # of a division (assumed), until the scale's own test tells


def u_of_net_mg(division_mg: int, repeatability_mg: float, weighings: int = 1) -> float:
    """Standard uncertainty in mg of a mass that came about in so many weighings, at least one."""
    return math.sqrt(max(1, weighings) * 2 * (division_mg**2 / 12 + repeatability_mg**2))


def measuring_capability(band_mg: tuple[int, int], u_mg: float) -> float:
    """C_m of a band, both its ends in mg."""
    return (band_mg[1] - band_mg[0]) / (4 * u_mg)
