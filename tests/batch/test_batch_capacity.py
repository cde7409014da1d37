"""How much goes into a bowl that is known by its weight: said before the first gram, and no correction exceeds it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from batch_plate import DOUGH, FACTS, Plate, in_tubs, to_the_egg

from scaled.batch.capacity import bowl_room_mg, capacity_mg, vessel_of
from scaled.catalogue import load_formula
from scaled.formula.values import Formula
from scaled.shipped import shipped

DENSITIES = {"oat flour": "0.44", "salt": "1.2", "butter": "0.96", "whole egg": "1.03"}


def dense(formula: Formula = DOUGH, known: dict[str, str] = DENSITIES) -> Formula:
    stages = tuple(
        replace(
            stage,
            additions=tuple(
                replace(a, density_g_ml=Fraction(known[a.key]) if a.key in known else None) for a in stage.additions
            ),
        )
        for stage in formula.stages
    )
    return replace(formula, stages=stages)


def bench(holds_l: str, formula: Formula | None = None, factor: Fraction = Fraction(1)) -> Plate:
    """A bowl of 812 g that is known to hold so many litres."""
    facts = replace(FACTS, vessels_mg=(("steel bowl", 812_000),), holds_ml=(("steel bowl", Fraction(holds_l) * 1000),))
    return Plate(formula or dense(), facts=facts, factor=factor)


def spoken(plate: Plate) -> list[str]:
    """The phrases that are spoken while the bowl is put on."""
    heard: list[str] = []
    plate.rest(1.0)
    for _ in range(30):
        plate.load_g = 812.0
        plate.reading(812.0)
        said = plate.bench.cue.spoken
        if said is not None and said.phrase not in heard:
            heard.append(said.phrase)
    return heard


def test_a_bowl_is_known_by_its_weight_and_the_nearest_is_meant() -> None:
    facts = replace(FACTS, vessels_mg=(("steel bowl", 812_000), ("its sister", 815_000), ("tub", 95_500)))
    assert vessel_of(facts, 812_000) == "steel bowl"
    assert vessel_of(facts, 813_400) == "steel bowl"
    assert vessel_of(facts, 813_600) == "its sister"
    assert vessel_of(facts, 95_700) == "tub"
    assert vessel_of(facts, 96_100) is None
    assert vessel_of(FACTS, 812_000) is None


def test_the_volume_is_that_of_each_ingredient() -> None:
    """240/0.44 + 3/1.2 + 220/0.96 + 50/1.03 = 825.7 ml for 513 g; two thirds of 1.5 l are 1,000 ml, or 621.3 g."""
    plate = bench("1.5").set_bowl()
    assert plate.batch is not None
    assert plate.batch.vessel == "steel bowl"
    millilitres = 240 / 0.44 + 3 / 1.2 + 220 / 0.96 + 50 / 1.03
    room = bowl_room_mg(plate.batch)
    assert room is not None
    assert float(room) == pytest.approx(513_000 * 1000 / millilitres)


def test_too_much_for_the_bowl_is_said_before_the_first_gram() -> None:
    """A 1 l bowl is worked with 667 ml, 414 g of the 513 g."""
    plate = bench("1").set_bowl()
    takes = "bowl 'steel bowl' takes 414 g of it at two thirds full"
    words = f"the batch is 513 g, {takes}: make less, or take a larger bowl"
    assert words in plate.snapshot.cautions
    plate.add(240)
    assert words not in plate.snapshot.cautions
    assert spoken(bench("1")) == ["put the bowl on", "too much for the bowl", "next"]


def test_a_bowl_that_is_large_enough_is_not_spoken_of() -> None:
    plate = bench("1.5").set_bowl()
    assert not [caution for caution in plate.snapshot.cautions if "two thirds" in caution]
    assert spoken(bench("1.5")) == ["put the bowl on", "next"]


def test_no_correction_makes_more_than_the_bowl_takes() -> None:
    """12 % more of the dough are 574 g: a bowl that takes 580 g has room for it, one that takes 560 g has not."""
    millilitres = 240 / 0.44 + 3 / 1.2 + 220 / 0.96 + 50 / 1.03
    for room_g, ways in ((580, ["scale up, least"]), (560, [])):
        holds = room_g / 513 * millilitres * 1.5 / 1000
        plate = to_the_egg(bench(f"{holds:.5f}")).add(57)
        assert [offer for offer in plate.offers if offer == "scale up, least"] == ways
        assert plate.offers[-1] == "keep" or plate.offers[0] == "keep"


def test_a_bowl_that_is_too_full_already_does_not_forbid_what_was_planned() -> None:
    """The cook went on: what is over still comes out."""
    plate = bench("1").set_bowl().add(250)
    assert plate.offers == ["take out", "keep"]


def test_the_scale_limits_where_it_takes_less_than_the_bowl() -> None:
    plate = bench("4").set_bowl()
    assert plate.batch is not None
    facts = replace(plate.batch.facts, capacity_mg=1_400_000)
    assert capacity_mg(replace(plate.batch, facts=facts)) == 588_000
    assert capacity_mg(replace(plate.batch, facts=replace(facts, capacity_mg=None))) == bowl_room_mg(plate.batch)


def test_what_is_not_known_is_not_told() -> None:
    """No density for the butter, no bowl by that weight, tubs: no room is worked out. A pinch may be unknown."""
    unknown = {key: value for key, value in DENSITIES.items() if key != "butter"}
    pinch = {key: value for key, value in DENSITIES.items() if key != "salt"}
    for plate, is_known in (
        (bench("1", dense(known=unknown)), False),
        (bench("1", in_tubs(dense())), False),
        (bench("1", dense(known=pinch)), True),
        (bench("1"), True),
    ):
        plate.set_bowl()
        assert plate.batch is not None
        assert (bowl_room_mg(plate.batch) is not None) is is_known
    other = Plate(dense(), facts=replace(FACTS, vessels_mg=(("tub", 95_500),), holds_ml=(("tub", Fraction(500)),)))
    assert other.batch is not None
    assert bowl_room_mg(other.batch) is None


def test_the_tub_of_what_is_weighed_first_is_not_the_bowl() -> None:
    """An egg in a tub of half a litre says nothing of the dough."""
    creamed = DOUGH.stages[1]
    egg = replace(creamed.additions[0], is_weighed_first=True)
    formula = dense(replace(DOUGH, stages=(DOUGH.stages[0], replace(creamed, additions=(egg,)))))
    facts = replace(FACTS, vessels_mg=(("tub", 812_000),), holds_ml=(("tub", Fraction(500)),))
    plate = Plate(formula, facts=facts).set_bowl()
    assert plate.batch is not None
    assert plate.batch.vessel == "tub"
    assert bowl_room_mg(plate.batch) is None


def test_the_loader_gives_each_ingredient_the_density_of_the_table() -> None:
    """Butter 0.96 g/ml: a US cup (236.588 ml) weighs 227 g (USDA SR28, NDB 1145)."""
    formula = load_formula(shipped("recipes") / "oat-and-honey-short-dough.yaml")
    butter = next(a for a in formula.weighed if a.ingredient == "butter")
    assert butter.density_g_ml is not None
    assert float(butter.density_g_ml) == pytest.approx(227 / 236.588, abs=0.005)
