"""Kitchen cases as a cook would tell them, and the advice that a good cook would give.

The formulas are files, read with the installed ingredient table; what comes out, what is tight, what keeps and what
things consist of is the table's word. The advice is common practice.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from correction_dough import fixed, formula_of, grams, percent, told, weighed

from scaled.catalogue import load_formula
from scaled.formula.advice import Advice, advice, is_left_by_itself
from scaled.formula.balance import balances, water_of_flour
from scaled.formula.correct import correct
from scaled.formula.situation import Content, Correction, Offer, Situation
from scaled.formula.values import Composition, Formula
from scaled.shipped import shipped
from scaled.texts.correction import correction_text

SHORT_DOUGH = """\
formula: Rye and almond short dough
pieces: 8
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    late: LATE
    additions:
      - {ingredient: wheat flour, weight: 240 g, flour: yes, price: 1.20}
      - {ingredient: sea salt, weight: 3 g, price: 1}
  - stage: creamed
    additions:
      - {ingredient: butter, weight: 220 g, price: 9}
      - {ingredient: granulated sugar, weight: 110 g, price: 1.5}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, price: 5}
"""

CUSTARD = """\
formula: Bay custard
pieces: 6
stages:
  - stage: eggs
    additions:
      - {ingredient: egg yolk, weight: 80 g, tolerance: ±2 %, price: 9}
      - {ingredient: granulated sugar, weight: 100 g, price: 1.5}
  - stage: milk
    additions:
      - {ingredient: whole milk, weight: 500 g, price: 1.1}
      - {ingredient: butter, weight: 50 g, price: 9}
"""

MARSHMALLOW = """\
formula: Rosehip marshmallow
keeps: no
stages:
  - stage: syrup
    additions:
      - {ingredient: granulated sugar, weight: 300 g}
      - {ingredient: water, weight: 100 g}
  - stage: whipped
    additions:
      - {ingredient: gelatin, weight: 20 g}
      - {ingredient: egg white, weight: 60 g, tolerance: ±2 %}
"""


class Kitchen:
    """One formula file and what was done with it."""

    def __init__(self, file: Path) -> None:
        self.formula: Formula = load_formula(file)

    def after(self, **wrong: object) -> Told:
        inside = {key: mass for key, mass in wrong.items() if isinstance(mass, int | float)}
        more = {key: value for key, value in wrong.items() if key not in inside}
        named = {self.key(name): mass for name, mass in inside.items()}
        stock = more.pop("stock", None)
        if isinstance(stock, dict):
            more["stock"] = {self.key(name): mass for name, mass in stock.items()}
        return Told(self.formula, told(self.formula, named, **more))  # type: ignore[arg-type]

    def key(self, name: str) -> str:
        words = name.replace("_", " ")
        return next(addition.key for addition in self.formula.weighed if words in addition.key)


class Told:
    def __init__(self, formula: Formula, situation: Situation) -> None:
        self.formula, self.situation = formula, situation
        self.correction: Correction = correct(situation)
        self.names = [offer.offer for offer in self.correction.offers]
        self.text = correction_text(formula, situation, self.correction)

    @property
    def advice(self) -> Advice:
        return advice(self.formula, self.situation, self.correction.offers)

    @property
    def advised(self) -> Offer:
        return self.correction.offers[self.advice.offer]

    def bowl(self, offer: str) -> dict[str, float]:
        found = next(o for o in self.correction.offers if o.offer == offer)
        keys = [content.key for content in self.situation.contents]
        return {key: mass / 1000 for key, mass in zip(keys, found.bowl_mg, strict=True)}


@pytest.fixture
def short_dough(tmp_path: Path) -> Kitchen:
    return _written(tmp_path, SHORT_DOUGH.replace("LATE", "yes"))


@pytest.fixture
def custard(tmp_path: Path) -> Kitchen:
    return _written(tmp_path, CUSTARD)


def _written(folder: Path, text: str) -> Kitchen:
    file = folder / "formula.yaml"
    file.write_text(text, encoding="utf-8")
    return Kitchen(file)


def test_five_grams_of_salt_instead_of_three(short_dough: Kitchen) -> None:
    """Too little salt comes out of flour, and nobody makes half as much dough again: flour is cheap, start again."""
    case = short_dough.after(salt=5)
    assert case.names == ["keep"]
    assert case.advice == Advice(0, "it cannot be made up for", "dry")
    assert (
        "Advice: start the stage 'dry' again: it cannot be made up for.\n"
        "     Empty the bowl (245 g, worth 0.29), put it back empty, and weigh 240 g of wheat flour, then the rest of "
        "the stage as planned.\n"
    ) in case.text


def test_five_grams_of_salt_when_the_butter_is_in_already(short_dough: Kitchen) -> None:
    """Then more is lost by starting again: it is kept and noted."""
    case = short_dough.after(salt=5, butter=220)
    assert case.names == ["keep"]
    assert case.advice.start_again is None
    assert "sea salt +67 %" in case.text


def test_butter_ran_out_at_180_grams_in_tubs(short_dough: Kitchen) -> None:
    """Everything still stands in tubs: make less of it all."""
    case = short_dough.after(butter=180, stock={"butter": 0}, mixing="tubs")
    assert case.names == ["scale down", "keep"]
    assert "17 % less: 6.6 pieces instead of 8" in case.text
    assert "butter: nothing more to be had, 40 g needed" in case.text


def test_butter_ran_out_but_there_is_another_pack(short_dough: Kitchen) -> None:
    case = short_dough.after(butter=180, stock={"butter": 250})
    assert case.advised.offer == "scale up, least"
    assert "top up, nothing else changes" in case.text
    assert case.bowl("scale up, least")["butter"] == 220


def test_an_egg_of_57_grams_in_the_dough(short_dough: Kitchen) -> None:
    """12 % more of everything, or nine shells instead of eight."""
    case = short_dough.after(egg=57)
    assert case.advised.offer == "scale up, least"
    assert "12 % more: 8.9 pieces instead of 8" in case.text
    assert "9 pieces instead of 8" in case.text
    assert "whole egg +14 %, water +2.2 % of the flour" in case.text


def test_a_second_yolk_slipped_in(custard: Kitchen) -> None:
    """98 g of yolk for 80: the milk and the butter that are still to come are moved a little, all else stays."""
    case = custard.after(yolk=98)
    assert case.advised.offer == "rebalance"
    bowl = case.bowl("rebalance")
    assert bowl["egg yolk"] == 98
    assert 500 < bowl["whole milk"] <= 525
    assert 47.5 <= bowl["butter"] < 50
    shares = balances(case.situation, case.advised.bowl_mg)
    assert shares is not None
    with_it, kept, written = shares
    assert abs(with_it.fat - written.fat) < abs(kept.fat - written.fat)
    assert "if kept" in case.text


def test_nothing_is_taken_off_the_rest_for_what_can_be_topped_up(custard: Kitchen) -> None:
    """10 g of sugar are missing: they are added. Where there is no more of it the milk and the butter follow."""
    assert custard.after(sugar=90).names == ["scale up, least", "keep"]
    assert custard.after(sugar=90, stock={"sugar": 0}).names == ["rebalance", "keep"]


def test_honey_stuck_in_the_tub() -> None:
    """34 of 40 g came out of the tub: the rest is scraped in, nothing else changes."""
    kitchen = Kitchen(shipped("recipes") / "oat-and-honey-short-dough.yaml")
    case = kitchen.after(honey=34)
    assert case.names == ["scale up, least", "keep"]
    assert case.bowl("scale up, least")["honey"] == 40
    assert "top up honey by 6 g, to 40 g" in case.text


def test_a_choux_that_needs_less_egg() -> None:
    """How much egg a choux takes is seen at the spatula: 400 g instead of 440 to 520 are right if the cook says so."""
    case = Kitchen(shipped("recipes") / "choux.yaml").after(egg=400)
    assert case.names == ["keep"]
    assert case.advice.why == "nothing is wrong"


def test_a_choux_is_not_made_more_of_once_its_panade_is_cooked() -> None:
    """The panade stage is cooked and not late: with 20 g of milk too much in a closed stage there is no way but on."""
    case = Kitchen(shipped("recipes") / "choux.yaml").after(milk=290, bread_flour=280, closed=["panade"])
    assert case.names == ["keep"]
    assert case.correction.factor_range is None


def test_a_little_too_much_sugar_is_left_and_noted(short_dough: Kitchen) -> None:
    """1.5 g over on a tolerance of 1.1 g: no cook tops up four ingredients for that."""
    case = short_dough.after(sugar=111.5)
    assert case.names[0] == "take out"  # dry on top: most of it could be spooned off
    assert case.advice == Advice(case.names.index("keep"), "it is little")
    assert "leave it, note it" in case.text


def test_a_little_too_much_leavening_is_not_left() -> None:
    formula = formula_of(weighed("flour", 200, percent(1)), weighed("soda", 4, percent(3), role="leavening"))
    case = Told(formula, told(formula, {"soda": 4.17}))
    assert case.advice.why == "first"


def test_milk_poured_over_in_the_custard(custard: Kitchen) -> None:
    """560 g for 500: 11 % more of all; the eggs are in the bowl too, so that nothing is thrown away."""
    case = custard.after(milk=560)
    assert case.advised.offer == "scale up, least"
    assert case.advice.start_again is None
    assert "11 % more" in case.text


def test_a_cheap_first_ingredient_is_weighed_again_rather_than_made_up_for(short_dough: Kitchen) -> None:
    """276 g of flour for 240 ask for 14 % more butter, sugar and egg, which cost more than the flour in the bowl."""
    case = short_dough.after(flour=276, mixing="mixed")
    assert case.advice == Advice(0, "it costs less than making more", "dry")
    # Lost: 276 g at 1.20. Dearer by making more, to 276/242.4 of the formula: the mass that is more than was planned.
    share = Fraction(276_000, 242_400) - 1
    more = 36 * Fraction(12, 10) + share * (3 * 1 + 220 * 9 + 110 * Fraction(15, 10) + 50 * 5)
    assert abs(case.advised.cost - more / 1000) < Fraction(1, 1000)
    assert f"what is in costs less than making more, which is {float(more / 1000):.2f} dearer." in case.text
    assert "Empty the bowl (276 g, worth 0.33), put it back empty, and weigh 240 g of wheat flour.\n" in case.text


@pytest.mark.parametrize(
    ("price", "is_anew"),
    [(0, True), (Fraction(5, 4), True), (Fraction(14, 10), False), (40, False), (None, False)],
)
def test_it_is_weighed_again_where_what_is_in_costs_less_than_what_is_more(
    short_dough: Kitchen,
    price: Fraction | None,
    is_anew: bool,  # noqa: FBT001
) -> None:
    """276 g of flour are lost by it, or 36 g of flour and 0.332 (see above) are more: equal at a price of 1.385."""
    formula = _priced(short_dough.formula, "wheat flour", price)
    situation = told(formula, {"wheat flour": 276}, mixing="mixed")
    said = advice(formula, situation, correct(situation).offers)
    assert said == (Advice(0, "it costs less than making more", "dry") if is_anew else Advice(0, "first"))


def test_where_a_price_is_not_known_of_what_makes_it_dearer_nothing_is_compared(short_dough: Kitchen) -> None:
    formula = _priced(short_dough.formula, "butter", None)
    situation = told(formula, {"wheat flour": 276}, mixing="mixed")
    offers = correct(situation).offers
    assert offers[0].cost is None
    assert advice(formula, situation, offers) == Advice(0, "first")


def test_what_is_not_there_a_second_time_is_not_weighed_again(short_dough: Kitchen) -> None:
    """Starting again needs 240 g of flour; what is spooned into the bin is no stock."""
    assert short_dough.after(flour=276, mixing="mixed", stock={"flour": 239}).advice == Advice(0, "first")
    assert short_dough.after(flour=276, mixing="mixed", stock={"flour": 240}).advice.start_again == "dry"
    assert short_dough.after(salt=5, stock={"flour": 100}).advice.start_again is None


def test_a_closed_stage_is_weighed_again_into_an_empty_bowl(tmp_path: Path) -> None:
    """Nothing can be added to what is closed; too much salt in it is thrown away with its flour all the same."""
    case = _written(tmp_path, SHORT_DOUGH.replace("LATE", "no")).after(salt=5, closed=["dry"])
    assert case.names == ["keep"]
    assert case.advice == Advice(0, "it cannot be made up for", "dry")


def _priced(formula: Formula, name: str, price: Fraction | int | None) -> Formula:
    stages = tuple(
        replace(
            stage,
            additions=tuple(
                replace(addition, price_per_kg=None if price is None else Fraction(price))
                if addition.key == name
                else addition
                for addition in stage.additions
            ),
        )
        for stage in formula.stages
    )
    return replace(formula, stages=stages)


def test_a_whipped_mass_is_not_made_up_for_by_much(tmp_path: Path) -> None:
    """What is whipped falls together while more of everything is weighed: 3 % and no further."""
    kitchen = _written(tmp_path, MARSHMALLOW)
    little = kitchen.after(egg_white=62.9)
    assert "scale up, least" in little.names
    much = kitchen.after(egg_white=66)
    assert much.names == ["keep"]
    assert much.correction.factor_range == (Fraction(66, 60) / Fraction(102, 100), Fraction(5, 4))


def test_two_grams_of_gelatin_too_much(tmp_path: Path) -> None:
    """A gel is as firm as its gelatin: 10 % more of all is no answer to a slip of 2 g."""
    kitchen = _written(tmp_path, MARSHMALLOW.replace("keeps: no\n", ""))
    case = kitchen.after(gelatin=22, mixing="mixed")
    assert case.names == ["keep"]


def test_a_bowl_that_is_full_lets_nothing_be_made_up_for(short_dough: Kitchen) -> None:
    case = short_dough.after(egg=57, mixing="mixed", capacity_mg=grams(650))
    assert case.names == ["keep"]
    assert "No factor from 0.5 to 2" in case.text


def test_flour_over_and_salt_short_in_tubs(short_dough: Kitchen) -> None:
    """Both are put right in one walk: flour back, salt in."""
    case = short_dough.after(flour=262, salt=2, mixing="tubs")
    assert case.advised.offer == "take out"
    assert case.bowl("take out") == {
        "wheat flour": 240,
        "sea salt": 3,
        "butter": 220,
        "granulated sugar": 110,
        "whole egg": 50,
    }
    assert "take out 22 g of wheat flour" in case.text
    assert "top up sea salt by 1 g" in case.text


class TestLeftByItself:
    """The setting `leave_small`: up to a division or half the tolerance above the band goes on by itself."""

    @pytest.mark.parametrize(
        ("inside", "division_mg", "is_left"),
        [(101.0, 100, False), (101.1, 100, True), (101.5, 100, True), (101.51, 100, False), (102.0, 1000, True)],
    )
    def test_up_to_a_division_or_half_the_tolerance(self, inside: float, division_mg: int, is_left: bool) -> None:  # noqa: FBT001
        sugar = weighed("sugar", 100, percent(1))
        content = Content(sugar, grams(inside), is_in=True, out_mg=Fraction(0), more_mg=None)
        assert is_left_by_itself(content, Fraction(1), division_mg) is is_left

    def test_never_for_what_is_tight(self) -> None:
        salt = weighed("salt", 3, fixed(0.2), role="salt")
        content = Content(salt, grams(3.21), is_in=True, out_mg=Fraction(0), more_mg=None)
        assert not is_left_by_itself(content, Fraction(1), 100)


class TestBalance:
    def test_water_of_the_flour(self) -> None:
        """7 g of egg bring 5.3 g of water to 240 g of flour (USDA SR28 01123: 76.15 g water in 100 g of whole egg)."""
        egg = Composition(Fraction(7615, 10_000), Fraction(951, 10_000), Fraction(37, 10_000))
        formula = formula_of(
            weighed("flour", 240, percent(1), is_flour=True), weighed("egg", 50, percent(2), composition=egg)
        )
        situation = told(formula, {"egg": 57})
        water = water_of_flour(situation, (240_000, 57_000))
        assert water == Fraction(7, 240) * egg.water
        assert round(float(water) * 100, 1) == 2.2

    def test_without_a_composition_nothing_is_rebalanced_and_nothing_said_of_water(self) -> None:
        formula = formula_of(
            weighed("flour", 240, percent(1), is_flour=True),
            weighed("egg", 50, percent(2)),
            weighed("milk", 90, percent(1)),
        )
        situation = told(formula, {"egg": 60}, mixing="mixed")
        assert water_of_flour(situation, (240_000, 60_000, 90_000)) is None
        assert balances(situation, (240_000, 60_000, 90_000)) is None
        assert "rebalance" not in [offer.offer for offer in correct(situation).offers]
