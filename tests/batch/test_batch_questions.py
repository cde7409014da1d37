"""What is asked, what is offered, and how the cook is walked through what was chosen."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from batch_plate import DOUGH, Plate, addition, in_tubs, percent, to_the_egg

from scaled.batch.apply import apply
from scaled.batch.events import OffersMade, OfferTaken, ToppedUp
from scaled.formula.situation import Offer
from scaled.formula.values import Addition, Stage


def test_an_egg_of_57_grams_is_offered_its_ways_out(plate: Plate) -> None:
    to_the_egg(plate).add(57)
    assert plate.phase == "asking"
    assert plate.offers == ["scale up, least", "whole pieces", "scale up, exact", "keep"]
    least = plate.seen["offers"][0]
    assert least["factor_exact"] == "19/17"
    assert least["bowl"] == {"oat flour": 268.235, "salt": 3.353, "butter": 245.882, "whole egg": 57.0}
    assert [change["ingredient"] for change in least["changes"]] == ["oat flour", "salt", "butter"]


def test_a_press_on_the_scale_says_yes_and_the_top_ups_follow(plate: Plate) -> None:
    to_the_egg(plate).add(57)
    plate.press().rest(2)
    assert isinstance(plate.events[-1], OfferTaken)
    assert plate.open == "oat flour"
    assert plate.seen["addition"]["remaining_g"] == pytest.approx(28.235)
    plate.add(28.2).add(0.4).add(25.9)
    assert plate.record["state"] == "complete"
    assert [a["in_tolerance"] for a in plate.record["additions"]] == [True] * 4
    assert plate.record["corrections"] == [{"after": "whole egg", "offer": "scale up, least", "factor": 19 / 17}]


def test_a_press_in_the_first_second_is_still_the_egg(plate: Plate) -> None:
    to_the_egg(plate).add(57, rest_s=1.4)
    assert plate.phase == "asking"
    plate.press().rest(2)
    assert plate.phase == "asking"


def test_two_presses_mean_say_it_again(plate: Plate) -> None:
    to_the_egg(plate).add(57)
    plate.press().rest(0.3).press().rest(2)
    assert plate.phase == "asking"


def test_spooned_back_into_the_band_nothing_needs_an_answer(plate: Plate) -> None:
    plate.set_bowl().add(250)
    assert plate.phase == "asking"
    plate.add(-10)
    assert plate.named[-2:] == ["OffersWithdrawn", "AdditionConfirmed"]
    assert plate.in_g("oat flour") == 240


def test_taken_out_by_the_offer(plate: Plate) -> None:
    plate.set_bowl().add(250)
    assert plate.offers[0] == "take out"
    plate.wish("next").rest(1)
    assert plate.snapshot.cue.word == "take out"
    plate.add(-4)
    assert plate.snapshot.cue.word == "take out"
    plate.add(-6)
    assert plate.in_g("oat flour") == 240
    flour = plate.record["additions"][0]
    assert [t["grams"] for t in flour["topups"]] == [-10.0]
    assert flour["actual_g"] == 240.0


def test_too_much_taken_out_is_put_back(plate: Plate) -> None:
    plate.set_bowl().add(250).wish("next").add(-15)
    assert plate.phase == "under"
    plate.add(5)
    assert plate.in_g("oat flour") == 240


def test_more_of_it_while_the_question_stands_is_asked_anew(plate: Plate) -> None:
    to_the_egg(plate).add(57).add(3)
    assert plate.named[-2:] == ["OffersMade", "OffersMade"]
    assert plate.offers == ["keep", "scale up, least", "scale up, exact"]  # 18 % more is no longer what is advised
    assert plate.seen["offers"][1]["factor_exact"] == "20/17"


def test_an_overshot_top_up_asks_again_and_comes_to_an_end(plate: Plate) -> None:
    to_the_egg(plate).add(57).wish("next").add(40)
    assert plate.phase == "asking"
    question = next(e for e in reversed(plate.events) if isinstance(e, OffersMade))
    assert question.key == "oat flour"
    assert all(offer.factor >= Fraction(19, 17) for offer in question.offers)


def test_kept_as_it_is_the_deviation_is_recorded(plate: Plate) -> None:
    to_the_egg(plate).add(57).choose(3)
    assert plate.record["state"] == "complete"
    egg = plate.record["additions"][3]
    assert (egg["actual_g"], egg["in_tolerance"]) == (57.0, False)
    assert plate.record["corrections"][0]["offer"] == "keep"


def test_what_was_kept_is_not_asked_about_again() -> None:
    """A kept flour does not come back as a reason when the egg is over."""
    plate = Plate()
    plate.set_bowl().add(250).choose([*plate.offers].index("keep"))
    plate.add(3).add(220).add(57)
    least = plate.seen["offers"][plate.offers.index("scale up, least")]
    assert least["factor_exact"] == "19/17"


def test_a_yes_is_taken_back_until_the_first_gram(plate: Plate) -> None:
    to_the_egg(plate).add(57).choose(0).rest(1).wish("back")
    assert plate.phase == "asking"
    plate.choose(1).rest(1)
    assert plate.batch is not None
    assert plate.batch.factor == Fraction(9, 8)
    plate.add(30).wish("back")
    assert plate.refused is not None
    assert [c["offer"] for c in plate.record["corrections"]] == ["whole pieces"]


def test_that_is_all_there_is(plate: Plate) -> None:
    """In one bowl the flour cannot come out: there is nothing but to leave it."""
    plate.set_bowl().add(240).add(3).add(180).wish("next")
    assert plate.offers == ["keep"]
    plate.wish("next")
    assert plate.open == "whole egg"
    assert plate.in_g("butter") == 180


def test_in_tubs_less_is_made_of_everything() -> None:
    plate = Plate(in_tubs(DOUGH))
    plate.rest(1).add(95).add(240).add(-335).add(95).add(3).add(-98).add(95).add(180).wish("next")
    assert plate.offers == ["scale down", "keep"]
    assert plate.seen["offers"][0]["factor_exact"] == "100/121"
    plate.wish("next").rest(1)
    assert (plate.open, plate.phase) == ("oat flour", "vessel off")
    plate.add(-275).add(335).add(-41.7)
    assert plate.in_g("oat flour") == pytest.approx(198.3)
    plate.add(-95 - 198.3).add(98).add(-0.5)
    assert plate.in_g("salt") == pytest.approx(2.5)


def test_each_round_of_corrections_raises_the_factor_and_ends() -> None:
    """A cook who overshoots every top-up is led to an end: the factor only grows, within its limits."""
    stages = tuple(
        replace(stage, additions=tuple(replace(a, share_out=Fraction(0)) for a in stage.additions))
        for stage in DOUGH.stages
    )
    plate = to_the_egg(Plate(replace(DOUGH, stages=stages))).add(57).wish("next")
    factors = [Fraction(19, 17)]
    for _ in range(40):
        if plate.phase == "asking":
            if plate.offers == ["keep"]:
                break
            plate.choose(plate.offers.index("scale up, least")).rest(1)
            assert plate.batch is not None
            assert plate.batch.factor > factors[-1]
            factors.append(plate.batch.factor)
        if plate.snapshot.addition is None:
            break
        shown = plate.snapshot.addition
        plate.add(float(shown.remaining_mg + shown.target_mg * Fraction(3, 100)) / 1000)
    assert factors[-1] <= 2
    assert len(factors) >= 3


def test_three_mends_of_one_ingredient_are_enough_said(plate: Plate) -> None:
    to_the_egg(plate).add(57).wish("next")
    for _ in range(3):
        assert plate.open == "oat flour"
        plate.add(float(plate.snapshot.addition.remaining_mg) / 1000 + 15).wish("next").rest(1)
        if plate.open != "oat flour":
            while plate.open != "none" and plate.phase != "asking":
                plate.add(float(plate.snapshot.addition.remaining_mg) / 1000)
    assert any(isinstance(e, ToppedUp | OfferTaken) for e in plate.events)


def test_hold_resume_and_abort(plate: Plate) -> None:
    plate.set_bowl().add(100).wish("hold").add(500).add(-500)
    assert plate.record["state"] == "held"
    plate.wish("resume").rest().add(140)
    assert plate.in_g("oat flour") == 240
    plate.wish("abort")
    assert plate.record["state"] == "aborted"
    plate.wish("resume")
    assert plate.refused is not None


def test_later_puts_an_addition_behind_the_others_of_its_stage(plate: Plate) -> None:
    plate.set_bowl().wish("later")
    assert plate.open == "salt"
    plate.add(3).add(220)
    assert plate.open == "oat flour"
    plate.wish("later")
    assert plate.refused is not None
    plate.add(240).add(50)
    assert plate.record["state"] == "complete"


def test_with_something_in_it_cannot_wait(plate: Plate) -> None:
    plate.set_bowl().add(100).wish("later")
    assert plate.refused is not None
    assert plate.open == "oat flour"


def test_close_stage_only_when_all_of_it_is_in(plate: Plate) -> None:
    plate.set_bowl().add(240).wish("close stage")
    assert plate.refused is not None
    plate.add(3).add(220).wish("close stage")
    assert plate.named[-1] == "StageClosed"


def test_nothing_of_a_closed_stage_can_be_topped_up() -> None:
    stages = (replace(DOUGH.stages[0], is_late=False), DOUGH.stages[1])
    plate = to_the_egg(Plate(replace(DOUGH, stages=stages)))
    plate.wish("close stage").add(57)
    assert plate.offers == ["keep"]


def test_by_feel_ends_with_the_cooks_yes() -> None:
    feel = Addition(
        "water", "dry", "water", "by feel", Fraction(230_000), None, feel_mg=(Fraction(200_000), Fraction(260_000))
    )
    stages = (Stage("dry", (feel, addition("salt", 3, percent(10), "dry"))),)
    plate = Plate(replace(DOUGH, stages=stages, pieces=None))
    plate.set_bowl().add(215, rest_s=10)
    assert plate.open == "water"
    plate.press().rest(2)
    assert plate.open == "salt"
    assert plate.in_g("water") == 215


def test_a_guard_keeps_an_uncertainty_away_from_the_limits() -> None:
    """JCGM 106:2012, 8.3.2: guarded acceptance; u of one net is 0.059 g at d = 0.1 g, s = 0.03 g."""
    plate = to_the_egg(Plate(replace(DOUGH, is_guarded=True)))
    plate.add(51.0)
    assert plate.phase == "asking"
    assert plate.record["additions"][0]["guarded"] is True
    free = to_the_egg(Plate()).add(51.0)
    assert free.record["state"] == "complete"


def test_a_rebalancing_changes_what_is_not_in_yet_and_nothing_else(plate: Plate) -> None:
    """Flour over by 10 g: the butter and the egg that follow are weighed to what the offer asks."""
    plate.set_bowl().add(250)
    assert plate.batch is not None
    bowl = (250_000, 3_000, 228_800, 51_000)
    offer = Offer("rebalance", Fraction(1), bowl, Fraction(19_800), 0, 0, Fraction(1, 20), Fraction(8), None)
    plate.batch = apply(plate.batch, OffersMade(plate.at, "oat flour", 250_000, 1_062_000, plate.at, (offer,)))
    plate.choose(0).rest(1)
    assert plate.open == "salt"
    plate.add(3)
    assert plate.seen["addition"]["target_g"] == 228.8
    plate.add(228.8)
    assert plate.seen["addition"]["band_g"] == [49.98, 52.02]
    plate.add(51)
    assert plate.batch.state == "complete"
    assert [plate.in_g(a.key) for a in DOUGH.weighed] == [250, 3, 228.8, 51]
