"""For how long a rest is proven, against values worked by hand and against what a weigher does with it."""

import pytest

from scaled.weighing import Reading, Weigher
from scaled.weighing.division import Division
from scaled.weighing.noise import LEAST_D, Noise
from scaled.weighing.proof import change_odds, rested_since
from scaled.weighing.response import Kind

AT_ONCE = Kind(1000.0, 1.0, 0.1)  # what is put on is shown by the next result
SLOW = Kind(5.0, 1.0, 0.1)


def spaced(values: list[float]) -> list[tuple[float, float]]:
    return [(0.1 * n, value) for n, value in enumerate(values)]


def since(values: list[float], kind: Kind = AT_ONCE) -> float | None:
    return rested_since(spaced(values), stopped=-0.5, change=1.0, sigma=0.4, remembers=0.0, kind=kind)


def test_the_odds_of_a_change_are_those_of_a_normal_distribution():
    """Five values before and four after of variance 1/4: (|4 x 1 - 4 x 4 / 8| x 2 - (4 - 16 / 8)) / (2 / 4) = 4."""
    odds = change_odds([0.0] * 5 + [1.0] * 4, 0.25, 0.0, AT_ONCE)
    assert odds[4] == pytest.approx(4.0)
    assert max(odds) == odds[4]
    assert change_odds([7.0] * 9, 0.25, 0.0, AT_ONCE)[4] == pytest.approx(-4.0)


def test_noise_that_remembers_itself_proves_less():
    values = [0.0, 1.0] * 6
    assert change_odds(values, 0.25, 0.5, AT_ONCE)[6] > change_odds(values, 0.25, 0.0, AT_ONCE)[6]


def test_a_rest_counts_from_its_stop_less_what_cannot_show_yet():
    """A scale that follows at once proves all but the last interval; one of 5 rad/s is half way after 0.34 s."""
    quick, slow = since([3.0] * 12), since([3.0] * 12, SLOW)
    assert quick is not None and slow is not None
    assert -0.5 <= quick <= -0.3
    assert slow - quick >= 0.2


def test_what_looks_like_the_beginning_of_a_change_does_not_count():
    calm, doubtful = since([3.0] * 12), since([3.0] * 11 + [4.0])
    assert calm is not None and doubtful is not None
    assert doubtful >= calm + 0.1 - 1e-9


def test_a_grain_of_a_division_begins_the_rest_anew():
    found = since([3.0] * 8 + [4.0] * 12)
    assert found is not None
    assert 0.8 <= found <= 1.2  # dated a result or two late, never early


def test_little_proves_nothing():
    assert since([3.0] * 3) is None
    assert since([3.0, 4.0, 3.0, 4.0]) is None


def test_a_lone_wild_value_does_not_keep_an_addition_open():
    """One result of 34 g among 145.9 g: for two seconds the rest was held to have only just begun."""
    grams = [0.0] * 40 + [60.0, 120.0, 140.0, 145.0] + [145.9] * 8 + [34.1] + [145.9] * 12
    weigher = Weigher()
    rest = [weigher.see(Reading(n * 0.1, round(g * 1000), shown_division_mg=100)) for n, g in enumerate(grams)][-1].rest
    assert rest is not None
    assert rest.since < (len(grams) - 13) * 0.1


@pytest.mark.parametrize(("many", "values", "wanted"), [(5, 6, 500), (5, 5, 100), (2, 12, 200), (2, 11, 100)])
def test_a_coarser_division_is_believed_once_chance_is_ruled_out(many: int, values: int, wanted: int):
    division = Division()
    for n in range(values):
        division.see(100 * many * 7 * n, 100)
    assert division.mg == wanted
    division.see(100 * many + 100, 100)
    assert division.mg == 100


def test_noise_is_told_in_the_division_that_is_known_by_now():
    noise = Noise()
    noise.rescale(0.2)
    assert noise.sigma_d > LEAST_D  # nothing was seen yet
    noise.begin(2.0)
    noise.rescale(0.2)
    assert noise.sigma_d == pytest.approx(0.4)
    noise.rescale(5.0)
    assert noise.sigma_d == pytest.approx(0.4)
