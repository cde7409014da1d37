"""A formula that is used as an ingredient of another: what is known of it, as of any ingredient."""

from __future__ import annotations

from fractions import Fraction

from scaled.formula.ingredients import Ingredient
from scaled.formula.values import Composition, Formula


def ingredient_from_formula(stem: str, formula: Formula) -> Ingredient:
    """Allergens of all its lines; price and composition a kilogram, where those of all its lines are known."""
    return Ingredient(
        name=stem,
        role="cream",
        composition=_composition(formula),
        allergens=allergens_of(formula),
        price_per_kg=_price(formula),
    )


def allergens_of(formula: Formula) -> tuple[str, ...]:
    """The allergens of all lines, those that are told too, in the order in which they occur first."""
    return tuple(dict.fromkeys(allergen for addition in formula.additions for allergen in addition.allergens))


def yield_mg(formula: Formula) -> Fraction:
    """What factor 1 comes to when it is done."""
    return formula.yield_mg or formula.mass_mg


def _price(formula: Formula) -> Fraction | None:
    cost = Fraction(0)
    for addition in formula.weighed:
        if addition.price_per_kg is None:
            return None
        cost += addition.price_per_kg * addition.target_mg(Fraction(1))
    return cost / yield_mg(formula)


def _composition(formula: Formula) -> Composition | None:
    """Of what went in; None where water is lost on the way, since it is not known how much."""
    if formula.yield_mg is not None:
        return None
    water = fat = sugars = Fraction(0)
    for addition in formula.weighed:
        share = addition.target_mg(Fraction(1)) / formula.mass_mg
        if addition.composition is None:
            return None
        water += addition.composition.water * share
        fat += addition.composition.fat * share
        sugars += addition.composition.sugars * share
    return Composition(water, fat, sugars)
