"""What tells happenings apart, each against values worked by hand: a knock and a push, a lone wild value, a tool."""

from __future__ import annotations

import pytest

from scaled.commands.replay_signal import retold, signal_json
from scaled.weighing import Happening, Reading, Weigher, WeigherSettings
from scaled.weighing.pushes import Pushes

STEP_S = 0.1


def told(tenths: list[int]) -> list[Happening]:
    """What is told of tenths of a gram, ten results a second, on a scale of 0.1 g."""
    weigher = Weigher(WeigherSettings(division_mg=100, interval_s=STEP_S))
    weights = [weigher.see(Reading(n * STEP_S, value * 100)) for n, value in enumerate(tenths)]
    return [*(h for w in weights for h in w.happened), *weigher.close()]


def pushes(above_g: list[float]) -> int:
    heard = Pushes(0.0, 100.0, 30.0)
    return sum(len(heard.see(n * STEP_S, grams * 1000)) for n, grams in enumerate(above_g, 1))


def test_what_rises_for_one_result_only_is_a_knock_and_no_push():
    assert pushes([0, 90, 20, 0, 0, 0, 0]) == 1
    assert pushes([0, 90, -5, 0, 0, 0, 0]) == 0


def test_a_lone_wild_value_while_it_pours_is_no_push():
    """16 g are poured, and one result shows 5 kg more: it leaves the level 16 g off, as a push might."""
    assert pushes([0, 6, 16, 5000, 16, 16, 16, 16, 16]) == 0
    shown = [5000] * 40 + [5060, 5160, 55000, 5159] + [5160] * 40
    assert [(h.what, h.change_mg) for h in told(shown)] == [("addition", 16_000)]


def test_a_lone_wild_value_within_a_push_does_not_spoil_it():
    """A converter now and then shows one; a load that is lifted while it is pushed shows longer."""
    assert pushes([0, 90, 200, 210, 120, 30, 0, 0, 0, 0]) == 1
    assert pushes([0, 90, 200, -700, 210, 120, 30, 0, 0, 0, 0]) == 1
    assert pushes([0, 90, 200, 210, 120, -700, 30, 0, 0, 0, 0]) == 1
    assert pushes([0, 90, 200, 210, 120, -700, -690, 0, 0, 0, 0]) == 0


def test_a_lone_wild_value_makes_no_addition_of_a_drift():
    """The value creeps by 2 d; shortly before, it shows a fifth of the load for one result."""
    crept = [5000] * 40 + [5000] * 6 + [5001] * 5 + [5002] * 60
    wild = [1000 if n == 42 else value for n, value in enumerate(crept)]
    assert [h.what for h in told(wild)] == ["drift"]


def test_what_is_spooned_out_after_a_push_that_came_back_is_a_removal():
    """A push of 400 g that leaves nothing behind, then 4 g less: no more than a push may leave behind."""
    push = [500, 2500, 4000, 4000, 2500, 500]
    shown = [8000] * 40 + [8000 + up for up in push] + [8000] * 5 + [7990, 7970, 7960] + [7960] * 40
    assert [(h.what, h.change_mg) for h in told(shown) if h.what != "press"] == [("removal", -4000)]


def test_what_is_added_while_a_tool_lies_there_is_no_part_of_it():
    laid, added = Happening("addition", 1.0, 1.5, 30_000), Happening("addition", 5.0, 6.0, 12_000)
    tool = Happening("tool", 1.0, 9.0, 0)
    assert retold([laid, added, tool]) == [tool, added]


def test_what_still_swings_when_it_is_lifted_again_was_a_tool_and_no_bump():
    """200 g for 2 s on a slow scale that rings, never at rest in between; a knock is over sooner."""
    swings = [7000 + sign * off for off in range(60, 0, -6) for sign in (1, -1)]
    shown = [5000] * 40 + [5300, 6200, *swings] + [6000, 4700, 4300, 4280, 4900, 5150, 4960, 5030] + [5000] * 40
    assert [(h.what, h.change_mg) for h in told(shown)] == [("tool", 0)]


@pytest.mark.parametrize(("still", "rests"), [(8, [500.0, 540.0]), (11, [500.0, 520.0, 540.0])])
def test_a_short_pause_on_the_way_is_no_rest(still: int, rests: list[float]):
    """20 g, a pause of 0.8 or 1.1 s, and 20 g more: one addition, ten results a second."""
    shown = [5000] * 30 + [5060, 5130] + [5200] * still + [5260, 5340] + [5400] * 30
    weigher = Weigher(WeigherSettings(division_mg=100, interval_s=STEP_S))
    weights = [weigher.see(Reading(n * STEP_S, value * 100)) for n, value in enumerate(shown)]
    signal = signal_json(weights, weigher.close())
    assert [(h["what"], round(h["change_g"], 1)) for h in signal["happened"]] == [("addition", 40.0)]
    assert [rest["grams"] for rest in signal["settled"]] == rests


@pytest.mark.parametrize("held", [6, 9, 14])
def test_a_hand_that_holds_still_is_no_rest_and_no_addition(held: int) -> None:
    """200 g that come and go at once, ten results a second: the weight was 500 g all the time."""
    weigher = Weigher(WeigherSettings(division_mg=100, interval_s=STEP_S))
    shown = [5000] * 30 + [7000] * held + [5000] * 40
    weights = [weigher.see(Reading(n * STEP_S, value * 100)) for n, value in enumerate(shown)]
    signal = signal_json(weights, weigher.close())
    assert [(h["what"], h["change_g"]) for h in signal["happened"]] == [("press", 0.0)]
    assert [rest["grams"] for rest in signal["settled"]] == [500.0]


def test_a_tare_that_the_scale_itself_tells_is_told_once():
    """Loads come from one line to the next; the flag says net from the tare on, then 220 g are poured."""
    gross = [0] * 20 + [8120] * 40 + [10520] * 40
    net = [0] * 30 + [n * 20 for n in range(1, 111)] + [2200] * 40
    weigher = Weigher(WeigherSettings(division_mg=100, interval_s=STEP_S))
    readings = [(value, False) for value in gross] + [(value, True) for value in net]
    weights = [weigher.see(Reading(n * STEP_S, v * 100, is_net=is_net)) for n, (v, is_net) in enumerate(readings)]
    happened = [*(h for w in weights for h in w.happened), *weigher.close()]
    assert [h.change_mg for h in happened if h.what == "re-zeroed"] == [pytest.approx(-1_052_000, abs=100)]
