"""The factor that a cook's wish comes to: so many pieces, so much mass, what is to hand, a whole number of eggs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from scaled.errors import WrongUsage
from scaled.formula.eggs import piece_mg
from scaled.formula.names import staged_name
from scaled.formula.plan import Find, plan
from scaled.formula.values import MOST_FACTOR, Formula


@dataclass(frozen=True)
class Scarcest:
    """The factor that what is to hand allows, and the ingredient that sets it."""

    factor: Fraction
    ingredient: str


def factor_for_pieces(formula: Formula, pieces: Fraction) -> Fraction:
    """The factor that makes so many pieces; raises WrongUsage where the formula does not say what factor 1 makes."""
    if formula.pieces is None:
        raise WrongUsage(f"'{formula.stem}' does not say how many pieces it makes: add 'pieces:', or use --mass")
    return pieces / formula.pieces


def factor_for_mass(formula: Formula, mass_mg: Fraction) -> Fraction:
    """The factor at which all that is weighed comes to a mass."""
    return mass_mg / formula.mass_mg


def needs_mg(formula: Formula, find: Find) -> dict[str, Fraction]:
    """What factor 1 needs of everything that one may have little of: ingredients, and formulas that are used.

    What is weighed by feel is left out: it drives no factor.
    """
    needs = plan(formula, Fraction(1), find).totals_mg()
    for addition in formula.weighed:
        if addition.uses is not None:
            needs[addition.uses] = needs.get(addition.uses, Fraction(0)) + addition.target_mg(Fraction(1))
    for addition in formula.weighed:
        if addition.kind == "by feel":
            needs.pop(addition.ingredient, None)
    return needs


def stage_needs_mg(formula: Formula) -> dict[str, Fraction]:
    """What factor 1 needs of each ingredient in one stage, as `name (stage)`."""
    return {staged_name(a): a.target_mg(Fraction(1)) for a in formula.weighed if a.kind == "weighed"}


def scarcest(needs: Mapping[str, Fraction], have_mg: Mapping[str, Fraction]) -> Scarcest:
    """The largest factor that all that is to hand allows.

    Args:
        needs: as `needs_mg` gives them.
        have_mg: what is to hand, by the same names; what is not named is enough.

    Raises:
        WrongUsage: nothing at all of something is to hand.
    """
    name = min(have_mg, key=lambda name: have_mg[name] / needs[name])
    if have_mg[name] == 0:
        raise WrongUsage(f"no {name} at all makes no batch")
    return Scarcest(have_mg[name] / needs[name], name)


def whole_egg_factors(formula: Formula) -> tuple[Fraction | None, Fraction | None]:
    """The largest factor up to 1 and the smallest above at which each egg addition is a whole number of its piece.

    None where there is none, or none that makes a batch.

    Raises:
        WrongUsage: the formula weighs no egg.
    """
    eggs = [addition for addition in formula.weighed if addition.egg is not None and addition.kind == "weighed"]
    if not eggs:
        raise WrongUsage(f"'{formula.stem}' weighs no egg: use --factor, --pieces or --mass")
    step = Fraction(1)
    for number, addition in enumerate(eggs):
        one = piece_mg(addition) / addition.target_mg(Fraction(1))
        step = one if number == 0 else _common(step, one)
    below = math.floor(1 / step) * step
    above = (math.floor(1 / step) + 1) * step
    return (below if below > 0 else None), (above if above <= MOST_FACTOR else None)


def _common(one: Fraction, other: Fraction) -> Fraction:
    """The least factor that is a whole number of both."""
    return Fraction(
        math.lcm(one.numerator * other.denominator, other.numerator * one.denominator),
        one.denominator * other.denominator,
    )
