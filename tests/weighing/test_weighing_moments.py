"""The mean and deviation of results against NIST's certified values."""

import pytest

from scaled.weighing.level import moments

# NIST Statistical Reference Datasets, univariate summary statistics, NumAcc1 to NumAcc4: each is defined by a formula
# and its mean and standard deviation (n - 1) are exact. https://www.itl.nist.gov/div898/strd/univ/homepage.html
CERTIFIED = [
    ("NumAcc1", [10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-9),
    ("NumAcc2", [1.2, *([1.1, 1.3] * 500)], 1.2, 0.1, 1e-9),
    ("NumAcc3", [1000000.2, *([1000000.1, 1000000.3] * 500)], 1000000.2, 0.1, 1e-7),
    ("NumAcc4", [10000000.2, *([10000000.1, 10000000.3] * 500)], 10000000.2, 0.1, 1e-7),
]


@pytest.mark.parametrize(("name", "values", "mean", "deviation", "tolerance"), CERTIFIED)
def test_the_certified_mean_and_deviation_are_met(name, values, mean, deviation, tolerance):
    found_mean, variance = moments(values)
    assert found_mean == pytest.approx(mean, rel=1e-9), name
    assert variance**0.5 == pytest.approx(deviation, rel=tolerance), name


def test_the_textbook_formula_would_not_meet_them():
    """The gate can fail: the sum of squares less the square of the sum loses the deviation of NumAcc4."""
    values = CERTIFIED[3][1]
    n, total, squares = len(values), sum(values), sum(v * v for v in values)
    naive = max(0.0, (squares - total * total / n) / (n - 1)) ** 0.5
    assert naive != pytest.approx(0.1, rel=1e-7)
