"""A batch without an overshoot needs no touch at all; what else the weight decides by itself."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from batch_plate import BOWL_G, DOUGH, FACTS, STEP_S, Plate, in_tubs, to_the_egg

from scaled.batch.events import BenchFacts


def test_a_batch_is_weighed_without_a_touch(plate: Plate) -> None:
    to_the_egg(plate).add(50)
    assert plate.named == ["BatchStarted", "VesselTared", *["AdditionConfirmed"] * 4, "BatchCompleted"]
    assert [plate.in_g(key) for key in ("oat flour", "salt", "butter", "whole egg")] == [240, 3, 220, 50]
    assert plate.record["state"] == "complete"


def test_the_machine_moves_on_a_second_after_the_rest_began(plate: Plate) -> None:
    plate.set_bowl().add(240, rest_s=0.8)
    assert plate.open == "oat flour"
    plate.rest(0.5)
    assert plate.open == "salt"


def test_in_the_lowest_third_of_the_band_it_waits_longer(plate: Plate) -> None:
    plate.set_bowl().add(238, rest_s=2.2)  # the band is 237.6 to 242.4 g, its lowest third ends at 239.2 g
    assert (plate.open, plate.phase) == ("oat flour", "in band")
    plate.rest(0.6)
    assert plate.open == "salt"


def test_what_is_still_missing_is_spoken_once_though_since_when_it_rests_is_dated_anew(plate: Plate) -> None:
    plate.set_bowl().add(200, rest_s=0)
    dated, spoken = set(), []
    for _ in range(30):
        plate.rest(STEP_S)
        rest, said = plate.bench.rest, plate.bench.cue.spoken
        if rest is not None and said is not None:
            dated.add(rest.since)
            spoken.append((said.serial, said.phrase))
    assert len(dated) > 1
    assert len(set(spoken)) == 1
    assert spoken[0][1] == "under"


def test_under_waits_for_more_and_never_ends_by_itself(plate: Plate) -> None:
    plate.set_bowl().add(200, rest_s=10)
    assert plate.phase == "under"
    assert plate.seen["addition"]["remaining_g"] == 40.0
    plate.add(40)
    assert plate.in_g("oat flour") == 240


def test_a_pause_in_a_pour_ends_nothing(plate: Plate) -> None:
    plate.set_bowl().add(100, rest_s=0.6).add(100, rest_s=0.6).add(40)
    assert plate.named.count("AdditionConfirmed") == 1
    assert plate.in_g("oat flour") == 240


def test_late_grains_belong_to_the_ingredient_just_confirmed(plate: Plate) -> None:
    plate.set_bowl().add(240, rest_s=1.5)
    assert plate.open == "salt"
    plate.add(0.1, rest_s=1.0)
    assert plate.named[-1] == "AdditionAmended"
    assert plate.in_g("oat flour") == pytest.approx(240.1)
    assert plate.phase == "waiting"


def test_late_grains_of_the_last_ingredient_amend_a_complete_batch(plate: Plate) -> None:
    to_the_egg(plate).add(50, rest_s=1.5)
    assert plate.record["state"] == "complete"
    plate.add(0.5, rest_s=1.0)
    assert plate.in_g("whole egg") == pytest.approx(50.5)


def test_the_start_of_the_next_is_no_late_grain(plate: Plate) -> None:
    plate.set_bowl().add(240, rest_s=1.5).add(3)
    assert plate.in_g("oat flour") == 240
    assert plate.in_g("salt") == 3


def test_the_bowl_goes_off_and_comes_back(plate: Plate) -> None:
    plate.set_bowl().add(240).add(-BOWL_G - 240)
    assert (plate.phase, plate.snapshot.cue.word) == ("vessel off", "put back")
    plate.add(BOWL_G + 240)
    assert (plate.phase, plate.open) == ("waiting", "salt")
    plate.add(3)
    assert plate.in_g("salt") == 3


def test_what_clings_to_the_spoon_is_no_ingredient(plate: Plate) -> None:
    """Back within 0.5 % of the contents: the bowl weighs from there on, what is in stays what it is."""
    plate.set_bowl().add(240).add(-BOWL_G - 240).add(BOWL_G + 239.2).add(3)
    assert plate.in_g("oat flour") == 240
    assert plate.in_g("salt") == 3


def test_the_cook_adds_with_the_bowl_in_hand(plate: Plate) -> None:
    """A rise of no more than the open target is the open ingredient."""
    plate.set_bowl().add(-BOWL_G).add(BOWL_G + 239.8)
    assert plate.in_g("oat flour") == pytest.approx(239.8)


def test_a_bowl_that_comes_back_lighter_is_asked_about_once(plate: Plate) -> None:
    plate.set_bowl().add(240).add(-BOWL_G - 240).add(BOWL_G + 200)
    assert (plate.phase, plate.named[-1]) == ("asking", "DoubtRaised")
    plate.wish("next").rest(1)
    assert plate.named.count("DoubtRaised") == 1
    assert plate.in_g("oat flour") == 200  # the cook said yes: forty grams of the flour are gone


def test_the_scale_is_lost_and_comes_back(plate: Plate) -> None:
    plate.set_bowl().add(100).silence(20)
    assert plate.snapshot.scale_state == "ready"
    plate.rest().add(140)
    assert plate.in_g("oat flour") == 240


def test_poured_on_while_the_scale_was_away(plate: Plate) -> None:
    plate.set_bowl().add(100)
    plate.load_g += 50
    plate.silence(10).rest().add(90)
    assert plate.in_g("oat flour") == 240


def test_the_tare_key_in_the_middle_changes_nothing(plate: Plate) -> None:
    plate.set_bowl().add(100)
    plate.zero_g = plate.load_g
    plate.rest().add(140)
    assert "ReferenceMoved" in plate.named
    assert plate.in_g("oat flour") == 240
    plate.add(3).add(220).add(50)
    assert plate.record["state"] == "complete"


def test_a_bowl_tared_by_the_scale_starts_with_one_yes(plate: Plate) -> None:
    plate.load_g = plate.zero_g = BOWL_G
    plate.rest(5)
    assert plate.phase == "vessel off"
    plate.wish("next").add(240)
    assert plate.in_g("oat flour") == 240


def test_a_whisk_laid_in_and_lifted_again_is_no_ingredient(plate: Plate) -> None:
    plate.set_bowl().add(80).add(-80).add(240)
    assert plate.in_g("oat flour") == 240
    plate.add(80).add(-80)  # over the three grams of salt by far: asked, and withdrawn when it is lifted
    assert plate.named[-2:] == ["OffersMade", "OffersWithdrawn"]
    plate.add(3)
    assert plate.in_g("salt") == 3


def test_a_tool_that_weighs_what_is_asked_opens_the_ingredient_again(plate: Plate) -> None:
    """240 g of rolling pin, lifted within half a minute: the flour is still to come."""
    plate.set_bowl().add(240).rest(5)
    assert plate.open == "salt"
    plate.add(-240)
    assert (plate.named[-1], plate.open, plate.phase) == ("AdditionReopened", "oat flour", "waiting")
    plate.add(239).add(3).add(220).add(50)
    assert plate.record["state"] == "complete"
    assert [plate.in_g(key) for key in ("oat flour", "salt", "butter", "whole egg")] == [239, 3, 220, 50]


def test_each_tub_is_tared_by_itself() -> None:
    plate = Plate(in_tubs(DOUGH))
    for mass in (240, 3, 220, 50):
        plate.rest(1).add(95).add(mass).add(-95 - mass)
    assert plate.record["state"] == "complete"
    assert plate.named.count("VesselTared") == 4


def test_the_tub_that_is_done_is_not_taken_for_the_next(plate: Plate) -> None:
    plate = Plate(in_tubs(DOUGH))
    plate.rest(1).add(95).add(240, rest_s=8)
    assert (plate.open, plate.phase) == ("salt", "vessel off")


def test_a_bowl_heavier_than_any_known_is_asked_about() -> None:
    plate = Plate(facts=BenchFacts("bench", 100, 30.0, vessels_mg=(("steel bowl", 812_000),)))
    plate.rest(1).add(900)
    assert (plate.phase, plate.named[-1]) == ("asking", "DoubtRaised")
    plate.wish("next").add(240)
    assert plate.in_g("oat flour") == 240


def test_too_much_for_the_scale_is_said_before_the_first_gram() -> None:
    plate = Plate(facts=BenchFacts("bench", 100, 30.0, capacity_mg=1_000_000))
    plate.set_bowl()
    assert "the scale takes 1000 g" in plate.snapshot.cautions[0]
    assert not any("the scale takes" in text for text in to_the_egg(Plate()).snapshot.cautions)


def weighed_first() -> Plate:
    egg = replace(DOUGH.stages[1].additions[0], is_weighed_first=True)
    return Plate(replace(DOUGH, stages=(DOUGH.stages[0], replace(DOUGH.stages[1], additions=(egg,)))))


def test_the_egg_weighed_first_sets_the_factor_and_nothing_needs_mending() -> None:
    plate = weighed_first()
    assert plate.open == "whole egg"
    plate.rest(1).add(95).add(57)
    assert plate.batch is not None
    assert plate.batch.factor == Fraction(57, 50)
    assert (plate.open, plate.phase) == ("oat flour", "vessel off")
    plate.add(-152).add(BOWL_G).add(273.6).add(3.4).add(250.8)
    assert (plate.open, plate.snapshot.addition.kind) == ("whole egg", "pour in")
    assert plate.seen["addition"]["remaining_g"] == 57.0
    plate.add(56.6)  # what clings to its tub is loss
    record = plate.record
    assert record["state"] == "complete"
    assert [a["in_tolerance"] for a in record["additions"]] == [True] * 4
    assert record["additions"][3]["actual_g"] == 57.0
    assert record["corrections"] == []


def test_a_second_egg_of_two_is_waited_for() -> None:
    """One egg alone would be a factor below the limits: it is no batch yet."""
    egg = replace(DOUGH.stages[1].additions[0], is_weighed_first=True, weight_mg=Fraction(100_000))
    limits = (Fraction(4, 5), Fraction(5, 4))
    plate = Plate(replace(DOUGH, stages=(DOUGH.stages[0], replace(DOUGH.stages[1], additions=(egg,))), limits=limits))
    plate.rest(1).add(95).add(51, rest_s=6)
    assert (plate.open, plate.phase) == ("whole egg", "under")
    plate.add(52)
    assert plate.batch is not None
    assert plate.batch.factor == Fraction(103, 100)


def test_at_another_factor_everything_follows() -> None:
    plate = Plate(factor=Fraction(3, 2))
    plate.set_bowl().add(360).add(4.5).add(330).add(75)
    assert plate.record["state"] == "complete"
    assert FACTS.capacity_mg is not None
