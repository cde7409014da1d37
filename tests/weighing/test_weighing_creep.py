"""What a level at rest does by itself is told once, from where it stood to where it came to stand."""

from __future__ import annotations

import random
from typing import Any

import pytest

from scaled.commands.replay_signal import signal_json
from scaled.weighing import Reading, Weigher, WeigherSettings
from scaled.weighing.creep import Creep, Level

STEP_S = 0.1


def signal(grams: list[float], division_mg: int = 100) -> dict[str, Any]:
    weigher = Weigher(WeigherSettings(division_mg=division_mg, interval_s=STEP_S))
    weights = [weigher.see(Reading(n * STEP_S, round(g * 1000))) for n, g in enumerate(grams)]
    return signal_json(weights, weigher.close())


def walk(by_g: float, lasts_s: float, still_s: float = 10.0) -> list[float]:
    """100 g that walk away evenly, as a scale of 0.1 g shows them."""
    on_its_way = [round(100 + by_g * n * STEP_S / lasts_s, 1) for n in range(round(lasts_s / STEP_S))]
    return [100.0] * round(still_s / STEP_S) + on_its_way + [100 + by_g] * round(still_s / STEP_S)


@pytest.mark.parametrize("by_g", [0.5, -0.5])
def test_half_a_gram_in_ten_seconds_is_one_drift_and_ends_at_a_new_rest(by_g: float) -> None:
    """Measured on real scales, each step smaller than what is a change; before, only single steps were looked at."""
    told = signal(walk(by_g, 10.0))
    assert [h["what"] for h in told["happened"]] == ["drift"]
    assert told["happened"][0]["change_g"] == pytest.approx(by_g, abs=0.03)
    assert 9 < told["happened"][0]["from_s"] < 13
    assert 18 < told["happened"][0]["to_s"] < 23
    assert told["settled"][-1]["grams"] == pytest.approx(100 + by_g, abs=0.1)


def test_a_walk_under_a_rest_that_stands_is_listed_at_its_new_value() -> None:
    """So slow that the rest is never left: 1 g in 100 s."""
    told = signal([*walk(1.0, 100.0)])
    assert told["settled"][-1]["grams"] == pytest.approx(101, abs=0.11)
    assert [(h["what"], round(h["change_g"], 1)) for h in told["happened"]] == [("drift", 1.0)]


def test_what_walks_away_and_back_are_two_drifts() -> None:
    told = signal([*walk(0.6, 20.0), *(201 - g - 0.4 for g in walk(0.6, 20.0))])
    assert [round(h["change_g"], 1) for h in told["happened"]] == [0.6, -0.6]


def test_the_noise_of_a_converter_is_no_drift() -> None:
    """0.4 g on digits of 0.01 g: what is first known of the level is known badly, and that is no change of it."""
    source, value, grams = random.Random(3), 0.0, []
    for n in range(400):
        value = 0.5 * value + 0.75**0.5 * source.gauss(0, 0.4)
        grams.append(52.0 if n in (90, 200, 330) else round(305 + value, 2))
    assert signal(grams, 10)["happened"] == []


def test_a_stream_so_thin_that_each_division_shows_for_a_while_is_an_addition() -> None:
    """6 g/s on a scale of 5 g, for 20 s: no scale drifts as fast."""
    poured = [5 * round(6 * n * STEP_S / 5) for n in range(200)]
    told = signal([1000] * 40 + [1000 + g for g in poured] + [1120] * 40, 5000)
    assert [(h["what"], h["change_g"]) for h in told["happened"]] == [("addition", pytest.approx(120, abs=5))]


def test_a_level_is_followed_until_it_turns_back() -> None:
    """Worked by hand, in divisions of 100: up by 300, then down by 200."""
    creep = Creep()
    creep.begin(Level(0.0, 1000.0, 10.0))
    for at, mass in ((1, 1020), (2, 1100), (3, 1200), (4, 1300), (5, 1300), (6, 1210)):
        assert creep.see(Level(float(at), float(mass), 10.0), 100.0) is None
    up = creep.see(Level(7.0, 1100.0, 10.0), 100.0)
    assert up is not None
    assert (up.from_at, up.to_at, up.before, up.after) == (1.0, 4.0, 1000.0, 1300.0)
    down = creep.end(100.0)
    assert down is not None
    assert (down.from_at, down.before, down.after) == (5.0, 1300.0, 1100.0)


def test_a_level_that_stays_has_not_crept() -> None:
    creep = Creep()
    creep.begin(Level(0.0, 1000.0, 10.0))
    for at, mass in ((1, 1040), (2, 960), (3, 1100), (4, 1140)):
        assert creep.see(Level(float(at), float(mass), 10.0), 100.0) is None
    assert creep.end(100.0) is None


def test_a_rest_that_stood_before_the_last_look_at_the_one_before_goes_no_way_back_in_time() -> None:
    """Seen in drawn scripts: the old level was seen until 12.636 s, the new one is told to stand since 12.556 s."""
    creep = Creep()
    creep.begin(Level(7.79, 321_248.0, 20.0))
    assert creep.see(Level(12.636, 321_248.0, 20.0), 100.0) is None
    assert creep.see(Level(12.556, 321_427.0, 31.0), 100.0) is None
    crept = creep.end(100.0)
    assert crept is not None
    assert crept.from_at <= crept.to_at
