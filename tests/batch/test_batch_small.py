"""`leave_small: yes`: a little above the band is left without a question, and stands in the record as it is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from batch_plate import DOUGH, FACTS, Plate, to_the_egg

from scaled.batch.events import OfferTaken

LEAVING = replace(FACTS, leaves_small=True)


def leaving(formula: object = DOUGH) -> Plate:
    return Plate(formula, facts=LEAVING)  # type: ignore[arg-type]


@pytest.mark.parametrize("egg_g", [51.1, 51.5])
def test_up_to_half_the_tolerance_above_the_band_goes_on_by_itself(egg_g: float) -> None:
    """50 g ± 1 g: up to 51.5 g is left."""
    plate = to_the_egg(leaving()).add(egg_g)
    assert plate.named[-3:] == ["OffersMade", "OfferTaken", "BatchCompleted"]
    assert plate.events[-3].at == plate.events[-2].at
    assert plate.record["state"] == "complete"
    egg = plate.record["additions"][3]
    assert (egg["actual_g"], egg["in_tolerance"]) == (egg_g, False)
    assert plate.record["corrections"] == [{"after": "whole egg", "offer": "keep", "factor": 1.0}]


@pytest.mark.parametrize("egg_g", [51.6, 57.0])
def test_more_than_that_is_asked_about(egg_g: float) -> None:
    assert to_the_egg(leaving()).add(egg_g).phase == "asking"


def test_a_division_above_a_narrow_band_is_left_but_not_two() -> None:
    """50 g ± 0.1 g on a scale of 0.1 g: half the tolerance is less than it can show."""
    egg = DOUGH.addition("whole egg")
    narrow = replace(egg, tolerance=DOUGH.addition("salt").tolerance and _within(Fraction(100)))
    formula = replace(DOUGH, stages=(DOUGH.stages[0], replace(DOUGH.stages[1], additions=(narrow,))))
    assert to_the_egg(leaving(formula)).add(50.2).record["state"] == "complete"
    assert to_the_egg(leaving(formula)).add(50.3).phase == "asking"


def _within(amount_mg: Fraction) -> object:
    side = replace(DOUGH.addition("salt").tolerance.over, amount=amount_mg)  # type: ignore[union-attr]
    return replace(DOUGH.addition("salt").tolerance, under=side, over=side)  # type: ignore[type-var]


def test_without_the_setting_it_asks(plate: Plate) -> None:
    assert to_the_egg(plate).add(51.1).phase == "asking"


def test_salt_is_never_left() -> None:
    """3 g ± 0.3 g: 3.4 g is within half the tolerance above, and salt is tight."""
    assert leaving().set_bowl().add(240).add(3.4).phase == "asking"


def test_where_a_guard_is_asked_for_nothing_is_left() -> None:
    guarded = leaving(replace(DOUGH, is_guarded=True))
    assert to_the_egg(guarded).add(51.1).phase == "asking"


def test_a_top_up_a_little_over_is_left_too() -> None:
    """The flour of 268.2 g (±1 %) comes to 271.5 g by its top-up."""
    plate = to_the_egg(leaving()).add(57).wish("next").rest(1).add(31.5)
    assert plate.open == "salt"
    assert plate.in_g("oat flour") == 271.5
    taken = [event.offer.offer for event in plate.events if isinstance(event, OfferTaken)]
    assert taken == ["scale up, least", "keep"]


def test_what_was_left_by_itself_can_be_asked_about_after_all() -> None:
    plate = leaving().set_bowl().add(242.5)
    assert plate.open == "salt"
    plate.wish("back")
    assert plate.phase == "asking"
    assert plate.open == "oat flour"
    plate.add(-2.5)
    assert plate.in_g("oat flour") == 240
