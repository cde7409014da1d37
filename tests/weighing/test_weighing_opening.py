"""What lay on the plate from the beginning is told from what came, also where its rest was not known in time."""

from __future__ import annotations

import math
import random

import pytest

from scaled.weighing import Reading, Weigher, WeigherSettings
from scaled.weighing.opening import Opening

STEP_S = 0.1
SET_DOWN = (0.1, 0.6, 1.05, 1.01)


def told(grams: list[float], noise_g: float, seed: int) -> list[tuple[str, float]]:
    """On a scale of 0.1 g, with noise that remembers half of itself from one result to the next."""
    source, noise = random.Random(seed), 0.0
    weigher = Weigher(WeigherSettings(division_mg=100, interval_s=STEP_S))
    happened = []
    for n, load in enumerate(grams):
        noise = 0.5 * noise + math.sqrt(0.75) * source.gauss(0, noise_g)
        happened += weigher.see(Reading(n * STEP_S, 100 * round((load + noise) * 10))).happened
    return [(h.what, h.change_mg / 1000) for h in (*happened, *weigher.close())]


@pytest.mark.parametrize("seed", range(1, 13))
def test_a_vessel_is_told_though_the_empty_plate_was_not_known_to_rest(seed: int) -> None:
    """0.16 g of noise, the most that was measured on scales of 0.1 g: a first rest takes up to 3 s to be known."""
    grams = [0.0] * 14 + [600 * share for share in SET_DOWN] + [600.0] * 60
    assert told(grams, 0.16, seed) == [("vessel on", pytest.approx(600, abs=0.5))]


@pytest.mark.parametrize("seed", range(1, 13))
def test_an_addition_is_told_though_the_vessel_was_not_known_to_rest(seed: int) -> None:
    grams = [600.0] * 14 + [600 + 4.0 * n for n in range(31)] + [720.0] * 60
    assert told(grams, 0.16, seed) == [("addition", pytest.approx(120, abs=0.5))]


@pytest.mark.parametrize("seed", [63, 116, 335, 337])
def test_a_pour_is_told_from_when_it_began_not_from_when_the_noise_ended_the_rest(seed: int) -> None:
    """The rest before is doubted now and then; what counts is where the value left it for good, 6.0 s after the start.

    A second of a 40 g/s pour is far beyond any noise.
    """
    grams = [600.0] * 60 + [600 + 4.0 * n for n in range(31)] + [720.0] * 60
    source, noise = random.Random(seed), 0.0
    weigher = Weigher(WeigherSettings(division_mg=100, interval_s=STEP_S))
    happened = []
    for n, load in enumerate(grams):
        noise = 0.5 * noise + math.sqrt(0.75) * source.gauss(0, 0.16)
        happened += weigher.see(Reading(n * STEP_S, 100 * round((load + noise) * 10))).happened
    addition = max((*happened, *weigher.close()), key=lambda h: h.change_mg)
    assert addition.what == "addition"
    assert 5.7 < addition.from_at < 6.3
    assert 8.8 < addition.to_at < 10.5


@pytest.mark.parametrize("seed", [*range(1, 9), 14, 17])
def test_a_press_is_told_though_what_was_pressed_was_not_known_to_rest(seed: int) -> None:
    grams = [600.0] * 14 + [640.0, 720, 790, 800, 780, 700, 620] + [600.0] * 60
    assert [what for what, _ in told(grams, 0.16, seed) if what != "drift"] == ["press"]


def opening(values: list[float]) -> Opening:
    found = Opening()
    for n, value in enumerate(values):
        found.see(n * STEP_S, value)
    return found


def test_where_the_load_stood_is_worked_out_from_the_first_results() -> None:
    """Worked by hand: 6 divisions of 100 lie together, and the mean of the first twelve is 50."""
    left = opening([0.0, 100.0] * 6 + [9000.0] * 5).left(100.0, 36.0)
    assert left is not None
    level, since = left
    assert (level.at, level.mass) == (0.0, 50.0)
    assert [value for _, value in since] == [100.0, *[9000.0] * 5]


def test_what_still_stands_or_stood_too_shortly_was_not_left() -> None:
    assert opening([0.0, 100.0] * 6).left(100.0, 36.0) is None
    assert opening([0.0, 100.0] * 6 + [9000.0] + [0.0, 100.0] * 6).left(100.0, 36.0) is None  # a lone wild value
    assert opening([0.0, 100.0] * 3 + [9000.0] * 5).left(100.0, 36.0) is None
    assert opening([300.0 * n for n in range(40)]).left(100.0, 36.0) is None  # it flowed from the first
