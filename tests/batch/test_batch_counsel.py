"""What a good cook would say to a question: in words, first among the cautions, and without a say in the order."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from batch_plate import DOUGH, Plate, in_tubs, to_the_egg

from scaled.batch.codec import data_from_event, event_from_data
from scaled.batch.events import OffersMade, OfferTaken
from scaled.catalogue import load_formula
from scaled.formula.advice import Advice
from scaled.formula.values import Formula

SHORT_DOUGH = """\
formula: Rye and almond short dough
pieces: 8
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 240 g, flour: yes, price: 1.20}
      - {ingredient: sea salt, weight: 3 g, price: 1}
  - stage: creamed
    additions:
      - {ingredient: butter, weight: 220 g, price: 14}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, price: 5}
"""


def short_dough(folder: Path) -> Formula:
    file = folder / "rye-short-dough.yaml"
    file.write_text(SHORT_DOUGH, encoding="utf-8")
    return load_formula(file)


def cautions(plate: Plate) -> tuple[str, ...]:
    return plate.snapshot.cautions


def asked(plate: Plate) -> OffersMade:
    return next(event for event in reversed(plate.events) if isinstance(event, OffersMade))


def test_a_little_too_much_is_left_and_noted_though_the_first_offer_is_another(plate: Plate) -> None:
    """Egg over by 1.4 g, 1.4 times its tolerance: leave it. A yes still takes the first offer."""
    to_the_egg(plate).add(51.4)
    assert cautions(plate)[:2] == ("it is little: leave it, note it", "left as it is: whole egg +2.8 %")
    assert plate.offers[0] == "scale up, least"
    assert asked(plate).advice == Advice(plate.offers.index("keep"), "it is little")
    plate.wish("next")
    taken = next(event for event in plate.events if isinstance(event, OfferTaken))
    assert taken.offer.offer == "scale up, least"
    assert "it is little: leave it, note it" not in cautions(plate)


def test_more_than_a_little_speaks_for_the_first_offer(plate: Plate) -> None:
    to_the_egg(plate).add(51.6)
    assert cautions(plate)[0] == "left as it is: whole egg +3.2 %"
    assert asked(plate).advice == Advice(0, "first")


def test_five_grams_of_salt_instead_of_three_begin_the_stage_anew(tmp_path: Path) -> None:
    """Flour is cheap, and nobody makes half as much dough again."""
    plate = Plate(short_dough(tmp_path)).set_bowl().add(240).add(5)
    assert plate.offers == ["keep"]
    assert cautions(plate)[:2] == (
        "start stage dry again: sea salt cannot be made up for; that throws away 245 g, worth 0.29",
        "left as it is: sea salt +67 %",
    )


def test_flour_that_costs_less_than_the_butter_for_more_of_it_is_begun_anew(tmp_path: Path) -> None:
    formula = short_dough(tmp_path)
    flour, salt = formula.stages[0].additions
    dry = replace(formula.stages[0], additions=(replace(flour, share_out=Fraction(0)), salt))
    plate = Plate(replace(formula, stages=(dry, formula.stages[1]))).set_bowl().add(270)
    assert plate.offers[0] == "scale up, least"
    assert cautions(plate)[0].startswith("start stage dry again: what is in costs less than making more")


def test_the_water_of_an_egg_is_told_as_a_share_of_the_flour(tmp_path: Path) -> None:
    """7 g of egg at 76 % water on 240 g flour: 2.2 % (USDA SR28, NDB 1123: 76.15 g water in 100 g)."""
    plate = Plate(short_dough(tmp_path)).set_bowl().add(240).add(3).add(220).add(57)
    assert "left as it is: whole egg +14 %, water +2.2 % of the flour" in cautions(plate)
    assert asked(plate).more_water == Fraction(222, 10_000)


def test_when_nothing_is_worth_doing_it_says_so(plate: Plate) -> None:
    to_the_egg(plate).add(60)
    assert cautions(plate)[0] == "leave it, note it: the rest would have to change too much"
    closed = Plate(replace(DOUGH, stages=(replace(DOUGH.stages[0], is_late=False), DOUGH.stages[1])))
    to_the_egg(closed).wish("close stage").add(57)
    assert cautions(closed)[0] == "nothing sensible makes up for it: leave it, note it"


def test_too_near_the_limit_for_the_guard_is_no_excess() -> None:
    plate = to_the_egg(Plate(replace(DOUGH, is_guarded=True))).add(51.0)
    assert cautions(plate)[0] == "it is in its tolerance, but too near the limit for the guard: leave it, note it"


def test_what_was_asked_with_advice_is_read_back_and_what_was_asked_without_it_too(plate: Plate) -> None:
    event = asked(to_the_egg(plate).add(57))
    written = data_from_event(event)
    assert event_from_data(written) == event
    older = {name: value for name, value in written.items() if name not in ("advice", "more_water")}
    assert event_from_data(older) == replace(event, advice=None, more_water=None)


def test_ran_out_in_the_bowl_says_every_way(plate: Plate) -> None:
    plate.set_bowl().add(240).add(3).add(180).wish("next")
    assert cautions(plate)[0] == (
        "is there another pack? Go on pouring butter and name its lot; less cannot be made of what is in; "
        "or leave it, note it. It cannot wait for the others: some of it is in"
    )


def test_ran_out_in_tubs_says_how_much_less() -> None:
    plate = Plate(in_tubs(DOUGH))
    plate.rest(1).add(95).add(240).add(-335).add(95).add(3).add(-98).add(95).add(180).wish("next")
    assert "; or make 17 % less; " in cautions(plate)[0]


def test_another_pack_is_just_poured_and_its_lot_named(plate: Plate) -> None:
    """The question withdraws by itself when the weight rises, into the band or on the way there."""
    plate.set_bowl().add(240).add(3).add(180).wish("next")
    assert plate.phase == "asking"
    plate.lot("butter", "B-7").add(20)
    assert plate.named[-1] == "OffersWithdrawn"
    assert plate.open == "butter"
    plate.wish("next").add(20)
    assert plate.named[-2:] == ["OffersWithdrawn", "AdditionConfirmed"]
    plate.add(50)
    butter = plate.record["additions"][2]
    assert (butter["actual_g"], butter["in_tolerance"], butter["lot"]) == (220.0, True, "B-7")
    assert plate.record["corrections"] == []


def test_what_is_partly_in_cannot_wait_and_the_refusal_says_why(plate: Plate) -> None:
    plate.set_bowl().add(240).add(3).add(180).wish("next").wish("later")
    assert plate.refused == "some of butter is in already, so that it cannot wait: pour more of it, or take an offer"
    assert plate.phase == "asking"
