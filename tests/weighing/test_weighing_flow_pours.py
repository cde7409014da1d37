"""Whether the cook is told to stop in time: simulated pours on scales of all kinds, drawn anew for each commit.

SCALED_POURS sets how many additions count (2,000 for the whole), SCALED_SEED which. A gate fails where the figure is
surely beyond its limit, by whole series drawn again; what is found is printed.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from statistics import fmean, quantiles

import pytest
from pour_cooks import NAME, ToldCook, usual_tail_s
from pour_series import COUNTED, Forecast, Series, compared, forecasts, rms, surely, told_of
from scene_draw import first_seed, histogram, seeds

from scaled.weighing.advice import Advice
from scaled.weighing.pours import Pours
from scaled.weighing.tail import Tail

POURS = int(os.environ.get("SCALED_POURS", "150"))
SERIES = max(10, POURS // COUNTED)
PLANTED = 10

OVER, OUT, TIME = 0.50, 0.30, 1.15
LEARNED_S, FIXED_S = 0.25, 0.28
COVERED = (0.85, 1.0)  # of the forecasts by 2 u; 95 % is meant, and 0.85 is five standard errors below for 100 of them


class WithoutATail(ToldCook):
    """A planted fault: what arrives after "stop" is forgotten."""

    def look(self) -> None:
        self.pours = Pours({NAME: Tail(0.0, 0.0)}, self.pours.name, self.pours.said)
        super().look()


class Deaf(ToldCook):
    """A planted fault: "stop" comes to nobody before the number has reached the target."""

    def said(self) -> Advice:
        word = super().said()
        reached = self.bench.shown_mg >= self.base_mg + 1000 * self.wanted.target_g
        return word if word != "stop" or reached else "slow"


@pytest.fixture(scope="module")
def by_both(say: Callable[[str], None]) -> list[Series]:
    series = [compared(seed) for seed in seeds(SERIES, "pours")]
    drawn = {
        "usual tail in s": [usual_tail_s(s.parameters, s.stuff) for s in series],
        "tail learned in s": [s.tail.seconds for s in series],
        "lumps in g": [s.stuff.lump_g for s in series],
    }
    say(f"\nseed {first_seed()}\n{histogram([s.parameters for s in series], drawn)}\n{told_of('stop in time', series)}")
    return series


@pytest.fixture(scope="module")
def expected(say: Callable[[str], None]) -> dict[str, list[Forecast]]:
    found = {}
    for name, lumpy in (("an even stream", False), ("a lumpy one", True)):
        found[name] = [
            f for seed in seeds(max(8, SERIES // 2), f"forecasts {lumpy}") for f in forecasts(seed, lumpy=lumpy)
        ]
        say(f"the end of {name}: {told_of_forecasts(found[name])}")
    return found


def told_of_forecasts(found: list[Forecast]) -> str:
    return (
        f"{len(found)} pours, off by {rms(f.learned_s for f in found):.3f} s of the flow, rms "
        f"(with the starting tail {rms(f.fixed_s for f in found):.3f} s); 2 u covers {covered(found):.1%}"
    )


def covered(found: list[Forecast]) -> float:
    return fmean(abs(f.learned_s) <= 2 * f.u_s for f in found)


def test_the_end_of_a_stream_is_foretold_when_stop_is_said(expected: dict[str, list[Forecast]]) -> None:
    found = expected["an even stream"]
    assert rms(f.learned_s for f in found) <= LEARNED_S
    assert rms(f.fixed_s for f in found) <= FIXED_S
    assert COVERED[0] <= covered(found) <= COVERED[1]


def test_a_tail_that_was_learned_is_better_than_the_one_at_the_start(expected: dict[str, list[Forecast]]) -> None:
    found = expected["an even stream"]
    assert rms(f.learned_s for f in found) < rms(f.fixed_s for f in found)


def test_lumps_make_the_end_less_sure_and_that_is_said(expected: dict[str, list[Forecast]]) -> None:
    even, lumpy = expected["an even stream"], expected["a lumpy one"]
    assert fmean(f.u_s for f in lumpy) > 1.1 * fmean(f.u_s for f in even)
    assert covered(lumpy) > 0.75


def test_who_is_told_overshoots_less_than_who_sees_the_digits(by_both: list[Series]) -> None:
    (over, _), (outside, _), (time, _) = surely(by_both, random.Random(first_seed()))
    assert over <= OVER, "the overshoot is surely more"
    assert outside <= OUT, "the share out of the band is surely more"
    assert time <= TIME, "the time is surely more"


def test_the_cook_with_the_digits_is_no_fool_and_no_wizard(by_both: list[Series]) -> None:
    """Else the comparison proves nothing: most of his are in the band, and some are not."""
    digits = [p for s in by_both for p in s.digits]
    assert 0.02 < fmean(p.is_out for p in digits) < 0.4
    assert quantiles((p.seconds for p in digits), n=4)[1] < 20


@pytest.mark.parametrize("planted", [WithoutATail, Deaf])
def test_a_planted_fault_is_found(planted: type[ToldCook], say: Callable[[str], None]) -> None:
    series = [compared(seed, planted, learning=0) for seed in seeds(PLANTED, planted.__name__)]
    say(told_of(f"planted: {planted.__name__}", series))
    (over, _), (outside, _), _ = surely(series, random.Random(first_seed()))
    assert over > OVER
    assert outside > OUT


def test_a_forecast_without_a_tail_is_found(expected: dict[str, list[Forecast]]) -> None:
    found = expected["an even stream"]
    assert rms(f.fixed_s - 0.83 for f in found) > LEARNED_S
