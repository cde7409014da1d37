"""The daemon is killed after each event in turn, and the batch goes on as if nothing had been."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from batch_plate import Plate, to_the_egg

from scaled.batch.apply import fold
from scaled.batch.codec import data_from_event, event_from_data
from scaled.batch.events import BenchRestarted, Event

Script = Callable[[Plate], object]


def the_egg(plate: Plate) -> None:
    to_the_egg(plate).add(57).rest(1).wish("next").rest(1).add(28.2).add(0.4).add(25.9).rest(2)


def the_flour_comes_out(plate: Plate) -> None:
    plate.set_bowl().add(250).rest(1).wish("next").add(-10).add(3).add(220).add(50).rest(2)


def kept(plate: Plate) -> None:
    to_the_egg(plate).add(57).rest(1).choose(3).rest(2)


SCRIPTS: list[Script] = [the_egg, the_flour_comes_out, kept]


def what_went_in(plate: Plate) -> object:
    """The record but for what a restart leaves in it: its own events and so the chain."""
    record = dict(plate.record)
    for name in ("events", "chain", "ended"):
        record.pop(name)
    for addition in record["additions"]:
        addition.pop("settled_at_s")
        for topup in addition["topups"]:
            topup.pop("settled_at_s")
    return record


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.__name__)
def test_killed_after_each_event_and_restarted(script: Script) -> None:
    undisturbed = Plate()
    script(undisturbed)
    expected = what_went_in(undisturbed)
    assert expected["state"] == "complete"
    for index in range(len(undisturbed.events) - 1):
        plate = Plate()

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
