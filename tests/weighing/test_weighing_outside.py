"""What is reckoned at rest, against published values: NIST's certified means and deviations, and JCGM 106."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest
from test_weighing_moments import CERTIFIED

from scaled.batch.acceptance import p_in_band
from scaled.formula.uncertainty import measuring_capability
from scaled.weighing.level import noise_of, scatter

SETS = [(name, values, mean, deviation, tolerance) for name, values, mean, deviation, tolerance in CERTIFIED]


@pytest.mark.parametrize(("name", "values", "mean", "deviation", "tolerance"), SETS)
def test_the_scatter_of_a_rest_is_the_certified_deviation(
    name: str, values: list[float], mean: float, deviation: float, tolerance: float
) -> None:
    """NIST StRD, NumAcc1 to 4 (see `test_weighing_moments`), as results at rest with nothing else mixed in."""
    assert scatter(values, 0.0, 0.0) == pytest.approx(deviation, rel=tolerance), name
    assert math.fsum(values) / len(values) == pytest.approx(mean, rel=1e-9), name


def test_an_even_swing_is_no_noise() -> None:
    """NumAcc2 to 4 go up and down by the same each time: a bench that shakes, not the scale's own noise."""
    assert [noise_of(values) for _, values, *_ in SETS[1:]] == [None, None, None]


# JCGM 106:2012, 7.2 and 7.4: one-sided probabilities of conformity are Phi(z) of the distance to the limit in u. The
# quantiles are those of any table of the standard normal distribution.
PHI = [(0.0, 0.5), (1.0, 0.841345), (1.4, 0.919243), (1.645, 0.950015), (2.0, 0.977250), (3.0, 0.998650)]


@pytest.mark.parametrize(("z", "probability"), PHI)
def test_the_probability_of_conformity_on_one_side(z: float, probability: float) -> None:
    assert p_in_band(round(100_000 + 1000 * z), (100_000, 10**9), 1000.0) == pytest.approx(probability, abs=2e-6)


def test_the_probability_of_conformity_between_two_limits() -> None:
    """In the middle of a band of 4 u (C_m = 1): 2 Phi(2) - 1 = 0.9545; on a limit of a wide band: one half."""
    band = (98_000, 102_000)
    assert measuring_capability(band, 1000.0) == 1.0
    assert p_in_band(100_000, band, 1000.0) == pytest.approx(0.954500, abs=2e-6)
    assert p_in_band(98_000, (98_000, 10**9), 1000.0) == pytest.approx(0.5)


def test_a_guard_of_one_uncertainty_leaves_at_most_sixteen_percent() -> None:
    """JCGM 106:2012, 8.3.2: with the acceptance limit drawn in by u the risk of the worst that passes is 1 - Phi(1)."""
    worst = 1 - p_in_band(100_000 + 1000, (100_000, 10**9), 1000.0)
    assert worst == pytest.approx(1 - NormalDist().cdf(1.0))
    assert worst == pytest.approx(0.158655, abs=2e-6)
