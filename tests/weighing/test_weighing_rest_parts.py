"""The parts that a rest is judged by, each against values worked by hand."""

import math

import pytest

from scaled.weighing import Reading, Weigher, WeigherSettings
from scaled.weighing.restless import Restless
from scaled.weighing.shake import Vibration
from scaled.weighing.steps import last_step, strongest
from scaled.weighing.stop import stopped_at


def test_a_step_is_found_and_never_dated_too_early():
    flat = [100.0, 101.0, 100.0, 101.0, 100.0, 101.0, 100.0, 101.0]
    assert last_step(flat, variance=0.36, least=0.6, sigmas=3.0) == 0
    assert last_step([*flat[:5], 103.0, 103.0, 103.0], variance=0.36, least=0.6, sigmas=3.0) in (5, 6, 7)


def test_the_surest_sign_of_a_change_may_be_one_result_or_several():
    """One result off by 2 beside a mean of 9: 2 / sqrt(1 + 1 / 9); three off by 1: 1 / sqrt(1 / 3 + 1 / 9)."""
    assert strongest([0.0, 0.0, 2.0], 9, 1.0) == (pytest.approx(2 / math.sqrt(1 + 1 / 9)), 1)
    assert strongest([1.0, 1.0, 1.0], 9, 1.0) == (pytest.approx(1 / math.sqrt(1 / 3 + 1 / 9)), 3)


def test_a_load_stopped_before_the_value_lay_about_its_level_and_not_before_it_moved():
    """100 g set down at 1.0 s, about its level from 1.3 s on: at 10 rad/s it stopped 0.15 s before."""
    came_in = [
        *((0.1 * k, 0.0) for k in range(11)),
        (1.1, 60.0),
        (1.2, 95.0),
        *((1.3 + 0.1 * k, 100.0) for k in range(9)),
    ]
    assert stopped_at(came_in, 100.0, 1.0, 0.3, 10.0, not_before=1.1) == (pytest.approx(1.15), 13)
    assert stopped_at(came_in, 100.0, 1.0, 0.3, 5.0, not_before=1.1) == (pytest.approx(1.1), 13)
    assert stopped_at(came_in, 100.0, 1.0, 0.3, 20.0, not_before=1.1) == (pytest.approx(1.225), 13)
    always = [(0.1 * k, 100.0) for k in range(9)]
    assert stopped_at(always, 100.0, 1.0, 0.3, 10.0, not_before=-math.inf) == (0.0, 0)
    wild = [*came_in[:17], (1.7, 900.0), *came_in[18:]]
    assert stopped_at(wild, 100.0, 1.0, 0.3, 10.0, not_before=1.1)[1] == 13


def test_the_level_of_a_swing_is_found_and_a_pour_is_no_swing():
    """2.3 Hz of 2 g about 500 g, ten results a second; then 5 g/s."""
    swing = [500_000 + 2_000 * math.sin(2 * math.pi * 2.3 * k / 10) for k in range(40)]
    found = Vibration().shaken(swing, 0.1, 36.0)
    assert found is not None
    assert found.level == pytest.approx(500_000, abs=1)
    assert Vibration().shaken([500.0 * k for k in range(40)], 0.1, 36.0) is None


def test_a_step_among_the_results_does_not_keep_what_follows_from_being_a_rest():
    """A slow scale overshoots by a division for five results: 881.5 g was then no rest for another five seconds."""
    weigher = Weigher(WeigherSettings(interval_s=0.125))
    on_its_way = [0] * 20 + [1000, 3000, 6000, 8000, 8600, 8797, 8806, 8812, 8815] + [8816] * 5
    tenths = on_its_way + [8815] * 40
    rests = [weigher.see(Reading(n * 0.125, value * 100)).rest for n, value in enumerate(tenths)]
    known = next(n for n, rest in enumerate(rests[len(on_its_way) :]) if rest and abs(rest.mass_mg - 881_500) <= 50)
    assert known * 0.125 <= 1.5


def test_a_vibration_that_is_known_tells_the_next_level_sooner_and_another_one_is_not_taken_for_it():
    """3.3 Hz of 2 g, ten results a second: the next load is told from 9 results, a swing twice as large only later."""

    def swinging(level: float, by: float) -> list[float]:
        return [level + by * math.sin(2 * math.pi * 3.3 * k / 10 + 1) for k in range(40)]

    vibration = Vibration()
    assert vibration.shaken(swinging(0, 2_000)[:9], 0.1, 36.0) is None
    assert vibration.shaken(swinging(0, 2_000), 0.1, 36.0) is not None
    found = vibration.shaken(swinging(500_000, 2_000)[:9], 0.1, 36.0)
    assert found is not None
    assert found.level == pytest.approx(500_000, abs=1)
    assert vibration.shaken(swinging(500_000, 4_000)[:9], 0.1, 36.0) is None
    found = vibration.shaken(swinging(500_000, 4_000), 0.1, 36.0)
    assert found is not None
    assert found.level == pytest.approx(500_000, abs=1)


@pytest.mark.parametrize(
    ("grams", "is_said"),
    [
        (lambda t: 3 * math.cos(2 * math.pi * 0.15 * t), True),  # half a slow swing down
        (lambda t: -3 * math.cos(2 * math.pi * 0.15 * t), False),  # half a slow swing up: it may be a trickle
        (lambda t: 3 * math.cos(2 * math.pi * 4.9 * t), False),  # a fast one
        (lambda t: 10 * (1 + 5 * max(0, t - 1)) * math.exp(-5 * max(0, t - 1)), False),  # spooned out, a slow scale
        (lambda t: -0.06 * t, False),  # drift: a warm pot beside the scale
    ],
)
def test_a_slow_even_fall_is_no_hand_and_no_drift(grams, is_said):
    """Ten results a second for 3 s on a scale of 0.1 g."""
    restless = Restless()
    said = []
    for k in range(31):
        restless.see(k / 10, round(10 * grams(k / 10)) * 100.0, 100)
        said.append(restless.is_restless)
    assert any(said) == is_said
