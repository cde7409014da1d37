"""What is a vessel, a tool, a hand: where the plate is empty, and where the noise is several divisions."""

from __future__ import annotations

import math
import random

import pytest

from scaled.weighing import Happening, Reading, Weigher, WeigherSettings
from scaled.weighing.keys import Keys
from scaled.weighing.plate import Plate
from scaled.weighing.response import ResponseLearner

STEP_S = 0.098  # a load-cell converter at 10.2 results a second


def ramp(before: float, after: float, shape: tuple[float, ...] = (0.1, 0.6, 1.05, 1.01)) -> list[float]:
    """Something set down or lifted by hand, as the scale follows it."""
    return [before + share * (after - before) for share in shape]


def told(grams: list[float], noise_g: float, division_mg: int, seed: int = 1) -> list[tuple[str, float]]:
    """What is told of a load as it is shown with noise that remembers itself (measured: 0.5 from one to the next)."""
    source, noise = random.Random(seed), 0.0
    weigher = Weigher(WeigherSettings(division_mg=division_mg, interval_s=STEP_S))
    happened: list[Happening] = []
    for n, load in enumerate(grams):
        noise = 0.5 * noise + math.sqrt(0.75) * source.gauss(0, noise_g)
        shown = division_mg * round((load + noise) * 1000 / division_mg)
        happened += weigher.see(Reading(n * STEP_S, shown)).happened
    return [(h.what, h.change_mg / 1000) for h in (*happened, *weigher.close())]


@pytest.mark.parametrize("seed", range(1, 9))
def test_a_converter_that_is_never_quite_at_zero_knows_its_empty_plate(seed: int) -> None:
    """0.4 g of noise on digits of 0.01 g: 40 divisions."""
    grams = [0.0] * 50 + ramp(0, 640) + [640.0] * 60 + ramp(640, 0) + [0.0] * 60 + ramp(0, 640) + [640.0] * 60
    happened = told(grams, 0.4, 10, seed)
    assert [what for what, _ in happened] == ["vessel on", "vessel off", "vessel on"]
    assert [change for _, change in happened] == pytest.approx([640, -640, 640], abs=1.5)


@pytest.mark.parametrize("seed", range(1, 9))
def test_a_spoon_on_a_converter_is_lifted_again(seed: int) -> None:
    """What was laid down and what is lifted differ by the noise, not by two digits."""
    grams = [640.0] * 50 + ramp(640, 655) + [655.0] * 60 + ramp(655, 640) + [640.0] * 60
    assert [what for what, _ in told(grams, 0.4, 10, seed) if what != "addition"] == ["tool"]


def test_what_is_spooned_out_of_a_tared_vessel_takes_no_vessel_off() -> None:
    """The readings begin with the vessel on, and its tare key is pressed: the empty plate would read -800 g now."""
    out, off = ramp(0, -60), ramp(-60, -800)
    grams = [800.0] * 50 + [0.0] * 60 + out + [-60.0] * 60 + off + [-800.0] * 60
    assert [what for what, _ in told(grams, 0.02, 100)] == ["re-zeroed", "removal", "vessel off"]


def test_a_plate_that_reads_below_zero_is_empty() -> None:
    """The readings begin while the tared vessel is off."""
    grams = [-800.0] * 50 + ramp(-800, 0) + [0.0] * 60
    assert told(grams, 0.02, 100) == [("vessel on", pytest.approx(800, abs=0.1))]


@pytest.mark.parametrize("held_s", [0.8, 1.1])
def test_a_hand_that_holds_still_for_a_moment_is_a_press(held_s: float) -> None:
    """A push that peaks within 1.5 s and comes back; a tool lies for longer."""
    hold = [1000.0] * round(held_s / STEP_S)
    grams = [800.0] * 50 + ramp(800, 1000, (0.2, 0.8)) + hold + ramp(1000, 800, (0.2, 0.8)) + [800.0] * 60
    assert told(grams, 0.02, 100) == [("press", 0.0)]


def test_a_tool_that_lies_for_two_seconds_is_no_press() -> None:
    grams = [800.0] * 50 + ramp(800, 1000) + [1000.0] * 20 + ramp(1000, 800) + [800.0] * 60
    assert told(grams, 0.02, 100)[-1] == ("tool", 0.0)


@pytest.mark.parametrize("still_s", [1.2, 1.4])
def test_what_is_poured_a_moment_after_the_vessel_is_no_part_of_it(still_s: float) -> None:
    """What is set down in stages ends with a longer rest than a vessel, which is not."""
    poured = [800 + 3.0 * n for n in range(41)]
    grams = [0.0] * 50 + ramp(0, 800) + [800.0] * round(still_s / STEP_S) + poured + [920.0] * 40
    assert told(grams, 0.02, 100) == [
        ("vessel on", pytest.approx(800, abs=0.1)),
        ("addition", pytest.approx(120, abs=0.2)),
    ]


def test_the_noise_of_a_converter_is_no_load_that_came_at_once() -> None:
    """0.3 g are 30 digits, but less than the noise may be: nothing is learned from it of how loads arrive."""
    keys = Keys()
    path = [(0.0, 305_000.0), (0.1, 305_300.0)]
    for _ in range(5):
        assert not keys.is_key(path, 305_000.0, 305_300.0, 10.0, 200.0, ResponseLearner())
    tared = [(0.0, 305_000.0), (0.1, 0.0)]
    assert keys.is_key(tared, 305_000.0, 0.0, 10.0, 200.0, ResponseLearner())


def test_an_empty_plate_is_known_from_where_it_was_seen() -> None:
    plate = Plate()
    plate.begin(0.0, 100.0, 30.0)
    assert plate.kind(0.0, 9_000.0, 100.0, 30.0, is_quick=True) == "addition"  # too light for a vessel
    assert plate.kind(0.0, 90_000.0, 100.0, 30.0, is_quick=False) == "addition"  # poured
    assert plate.kind(0.0, 90_000.0, 100.0, 30.0, is_quick=True) == "vessel on"
    plate.rezeroed(-90_000.0)
    assert plate.kind(0.0, 90_000.0, 100.0, 30.0, is_quick=True) == "addition"
    assert plate.kind(90_000.0, -20_000.0, 100.0, 30.0, is_quick=True) == "removal"
    assert plate.kind(70_000.0, -160_000.0, 100.0, 30.0, is_quick=True) == "vessel off"


def test_a_plate_that_was_loaded_from_the_first_takes_no_vessel_on() -> None:
    plate = Plate()
    plate.begin(500_000.0, 100.0, 30.0)
    assert plate.kind(500_000.0, 90_000.0, 100.0, 30.0, is_quick=True) == "addition"
    assert plate.kind(590_000.0, -590_000.0, 100.0, 30.0, is_quick=True) == "vessel off"
    assert plate.kind(0.0, 590_000.0, 100.0, 30.0, is_quick=True) == "vessel on"
