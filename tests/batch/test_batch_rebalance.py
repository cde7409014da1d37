"""A rebalancing that the solver itself offers, followed on the scale to the end."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from batch_plate import Plate

from scaled.batch.choosing import situation
from scaled.catalogue import load_formula
from scaled.formula.balance import balances
from scaled.formula.correct import correct
from scaled.formula.values import Formula

CUSTARD = """\
formula: Bay custard
pieces: 6
keeps: KEEPS
stages:
  - stage: eggs
    additions:
      - {ingredient: egg yolk, weight: 80 g, tolerance: ±2 %}
      - {ingredient: granulated sugar, weight: 100 g}
  - stage: milk
    additions:
      - {ingredient: whole milk, weight: 500 g}
      - {ingredient: butter, weight: 50 g}
"""
KEYS = ("egg yolk", "granulated sugar", "whole milk", "butter")


@pytest.fixture
def custard(tmp_path: Path) -> Formula:
    return _written(tmp_path, "yes")


def _written(folder: Path, keeps: str) -> Formula:
    file = folder / "bay-custard.yaml"
    file.write_text(CUSTARD.replace("KEEPS", keeps), encoding="utf-8")
    return load_formula(file)


def test_a_second_yolk_is_balanced_by_what_is_still_to_come(custard: Formula) -> None:
    """98 g of yolk for 80: 22 % more of all is too much; the milk and the butter follow, and are weighed to it."""
    plate = Plate(custard).set_bowl().add(98)
    assert plate.offers[0] == "rebalance"
    asked = plate.seen["offers"][0]["bowl"]
    assert 500 < asked["whole milk"] <= 525
    assert 47.5 <= asked["butter"] < 50
    plate.wish("next").rest(1)
    for key in KEYS[1:]:
        shown = plate.snapshot.addition
        assert shown is not None
        assert shown.key == key
        assert float(shown.target_mg) / 1000 == pytest.approx(asked[key], abs=0.0005)
        plate.add(float(shown.remaining_mg) / 1000)
    assert plate.record["state"] == "complete"
    assert [a["in_tolerance"] for a in plate.record["additions"]] == [False, True, True, True]
    assert _fat_off(custard, [plate.in_g(key) for key in KEYS]) < _fat_off(custard, [98, 100, 500, 50])


def _fat_off(formula: Formula, bowl_g: list[float]) -> float:
    """By what share of the bowl its fat differs from the formula's."""
    batch = Plate(formula).batch
    assert batch is not None
    shares = balances(situation(batch, 0), [round(mass * 1000) for mass in bowl_g])
    assert shares is not None
    return abs(shares[0].fat - shares[2].fat)


def test_what_was_rebalanced_once_is_not_changed_a_second_time(custard: Formula) -> None:
    """5 % of what the formula says is the most: milk over in its turn finds the butter changed already."""
    plate = Plate(custard).set_bowl().add(98).wish("next").rest(1).add(100).add(560)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert "rebalance" not in plate.offers
    butter = situation(plate.batch, plate.batch.question.net_mg).contents[3]
    assert butter.composition is None
    assert Fraction(95, 100) * 50_000 <= butter.weight_mg <= 50_000


def test_what_falls_together_is_scaled_up_by_three_per_cent_at_most(tmp_path: Path) -> None:
    """Yolk over by 4 %: the batch follows only where the product keeps."""
    for keeps, most in (("yes", None), ("no", Fraction(103, 100))):
        plate = Plate(_written(tmp_path, keeps)).set_bowl().add(85)
        assert plate.batch is not None
        stands = situation(plate.batch, 85_000)
        assert stands.most_up == most
        factors = [shown.offer.factor for shown in plate.snapshot.offers]
        assert max(factors) > Fraction(103, 100) if most is None else max(factors) == 1
        assert tuple(shown.offer for shown in plate.snapshot.offers) == correct(stands).offers


def test_the_limit_of_what_does_not_keep_goes_with_the_factor_planned(tmp_path: Path) -> None:
    plate = Plate(_written(tmp_path, "no"), factor=Fraction(2)).set_bowl().add(165)
    assert plate.batch is not None
    assert situation(plate.batch, 165_000).most_up == Fraction(206, 100)
