"""The daemon is killed after each event in turn, and the batch goes on as if nothing had been."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from batch_plate import BOWL_G, DOUGH, Plate, stiff, to_the_egg

from scaled.batch.apply import fold
from scaled.batch.codec import data_from_event, event_from_data
from scaled.batch.events import BenchRestarted, Event
from scaled.formula.values import Formula

Script = Callable[[Plate], object]


def the_egg(plate: Plate) -> None:
    to_the_egg(plate).add(57).rest(1).wish("next").rest(1).add(28.2).add(0.4).add(25.9).rest(2)


def the_flour_comes_out(plate: Plate) -> None:
    plate.set_bowl().add(250).rest(1).wish("next").add(-10).add(3).add(220).add(50).rest(2)


def kept(plate: Plate) -> None:
    to_the_egg(plate).add(57).rest(1).choose(3).rest(2)


def begun_again(plate: Plate) -> None:
    """Too much flour, 11 % more of it all, too much salt: it is thrown away, half at first, and made anew."""
    plate.set_bowl().add(270).rest(1).wish("next").rest(1).add(6).rest(1).wish("start again").rest(1)
    plate.add(-plate.load_g).add(BOWL_G + 120).add(-120).add(240).add(3).add(220).add(50).rest(2)


SCRIPTS: list[tuple[Script, Formula]] = [
    (the_egg, DOUGH),
    (the_flour_comes_out, DOUGH),
    (kept, DOUGH),
    (begun_again, stiff(DOUGH)),
]


def what_went_in(plate: Plate) -> object:
    """The record but for what a restart leaves in it: its own events and so the chain."""
    record = dict(plate.record)
    for name in ("events", "chain", "ended"):
        record.pop(name)
    for thrown in record.get("thrown_away", ()):
        thrown.pop("at_s")
    for addition in record["additions"]:
        addition.pop("settled_at_s")
        for topup in addition["topups"]:
            topup.pop("settled_at_s")
    return record


@pytest.mark.parametrize(("script", "formula"), SCRIPTS, ids=[script.__name__ for script, _formula in SCRIPTS])
def test_killed_after_each_event_and_restarted(script: Script, formula: Formula) -> None:
    undisturbed = Plate(formula)
    script(undisturbed)
    expected = what_went_in(undisturbed)
    assert expected["state"] == "complete"
    for index in range(len(undisturbed.events) - 1):
        plate = Plate(formula)

        def kill(_event: Event, plate: Plate = plate, index: int = index) -> None:
            if len(plate.events) == index + 1:
                plate.pending = True

        plate.after_each = kill
        plate.pending = False
        _restart_when_pending(plate, index + 1)
        script(plate)
        assert sum(isinstance(e, BenchRestarted) for e in plate.events) == (1 if index else 0), index
        assert what_went_in(plate) == expected, f"killed after {undisturbed.named[index]} ({index})"


def _restart_when_pending(plate: Plate, kept: int) -> None:
    """The reading after the cut finds a bench that was started anew, with only the first `kept` events on disk."""
    reading = plate.reading

    def watched(shown_g: float) -> None:
        if plate.pending:
            plate.pending = False
            del plate.events[kept:], plate.envelopes[kept:]
            text = json.dumps([data_from_event(event) for event in plate.events])
            plate.batch = fold([event_from_data(data) for data in json.loads(text)])
            plate.restart()
        reading(shown_g)

    plate.reading = watched  # type: ignore[method-assign]


def test_a_power_cut_that_also_took_the_scales_zero(plate: Plate) -> None:
    """The scale calls the bowl zero at switch-on: nothing is weighed from that; the lifted bowl gives the zero back."""
    plate.set_bowl().add(240).add(3)
    plate.load_g += 80.0
    plate.zero_g = plate.load_g
    plate.restart().rest()
    assert (plate.phase, plate.snapshot.cue.word) == ("asking", "lift vessel")
    bowl = plate.load_g
    plate.add(-bowl)
    assert plate.phase == "vessel off"
    plate.add(bowl)
    assert plate.open == "butter"
    plate.add(140)
    assert plate.in_g("butter") == 220


def test_a_power_cut_while_the_bowl_was_off(plate: Plate) -> None:
    plate.set_bowl().add(240).add(3)
    bowl = plate.load_g
    plate.add(-bowl).restart().rest()
    assert plate.phase == "asking"
    plate.add(bowl)
    assert plate.phase == "waiting"
    plate.add(220)
    assert plate.in_g("butter") == 220


def test_a_question_can_be_answered_by_a_press_after_another_boot(plate: Plate) -> None:
    """The seconds begin again: what was asked at 18 s is asked anew at 5 s."""
    to_the_egg(plate).add(57).rest(1)
    assert plate.phase == "asking"
    assert plate.at > 15
    plate.reboot().rest(2)
    assert plate.phase == "asking"
    plate.press().rest(2)
    assert plate.named[-1] == "OfferTaken"


def test_no_late_grains_are_waited_for_after_another_boot(plate: Plate) -> None:
    """A pinch that long after the butter is a pinch of what is open, whatever the new boot's seconds say."""
    plate.set_bowl().add(240).add(3).add(220)
    plate.reboot().rest(3).add(1.5)
    assert plate.in_g("butter") == 220
    assert plate.batch is not None
    assert plate.batch.net_mg(round(plate.load_g * 1000)) == 1500


Cut = Callable[[Plate], object]


def the_daemon_dies(plate: Plate) -> None:
    plate.restart().rest(3)


def the_machine_is_switched_off(plate: Plate) -> None:
    plate.reboot().rest(3)


def the_scale_too(plate: Plate) -> None:
    plate.zero_g = plate.load_g
    plate.reboot().rest(3)


def the_line_is_silent(plate: Plate) -> None:
    plate.silence(20).rest(3)


CUTS: list[Cut] = [the_daemon_dies, the_machine_is_switched_off, the_scale_too, the_line_is_silent]


def _is_cut(cut: Cut, moment: str, plate: Plate, now: str) -> None:
    if moment == now:
        cut(plate)


@pytest.mark.parametrize("cut", CUTS, ids=lambda cut: cut.__name__)
@pytest.mark.parametrize("moment", ["full", "off", "half emptied", "back"])
@pytest.mark.parametrize("vessel_g", [BOWL_G, 95.0])
def test_cut_at_any_moment_while_the_vessel_is_emptied(cut: Cut, moment: str, vessel_g: float) -> None:
    """The bowl, and a tub lighter than what was in it: lifted once more at the most, nothing goes into what is not
    empty, and what is weighed then is what was put in."""
    plate = Plate(stiff(DOUGH)).rest(1).add(vessel_g).add(240).add(5).wish("start again").rest(1)
    _is_cut(cut, moment, plate, "full")
    plate.add(-plate.load_g)
    _is_cut(cut, moment, plate, "off")
    plate.add(vessel_g + 100)
    _is_cut(cut, moment, plate, "half emptied")
    assert "VesselTared" not in plate.named[plate.named.index("StageStartedAgain") :]
    plate.add(-plate.load_g).add(vessel_g)
    _is_cut(cut, moment, plate, "back")
    if plate.snapshot.cue.word == "lift vessel":
        plate.add(-vessel_g).add(vessel_g)
    assert (plate.phase, plate.open) == ("waiting", "oat flour")
    plate.add(240).add(3).add(220).add(50)
    assert [a["actual_g"] for a in plate.record["additions"]] == [240, 3, 220, 50]


def test_no_yes_says_that_a_bowl_is_empty_whose_zero_is_lost() -> None:
    plate = Plate(stiff(DOUGH)).set_bowl().add(240).add(5).wish("start again").rest(1)
    the_scale_too(plate)
    assert (plate.phase, plate.snapshot.cue.word) == ("asking", "lift vessel")
    plate.wish("next")
    assert plate.refused == "lift the vessel off and put it back, empty: only that tells what is in it"
    assert plate.named[-1] == "DoubtRaised"


@pytest.mark.parametrize("cut", [the_daemon_dies, the_machine_is_switched_off, the_scale_too])
def test_cut_with_a_bowl_tared_by_the_scales_own_key(cut: Cut) -> None:
    """Its weight is not known: after the scale's zero is lost too, the cook says when an empty one stands there."""
    plate = Plate(stiff(DOUGH))
    plate.load_g = plate.zero_g = BOWL_G
    plate.rest(1).wish("next").rest(1).add(240).add(5).wish("start again").rest(1)
    cut(plate)
    assert "VesselTared" not in plate.named[plate.named.index("StageStartedAgain") :]
    plate.add(-plate.load_g).add(BOWL_G)
    if plate.phase == "vessel off":
        plate.wish("next").rest(1)
    assert (plate.phase, plate.open) == ("waiting", "oat flour")
    plate.add(240).add(3)
    assert (plate.in_g("oat flour"), plate.in_g("salt")) == (240, 3)
