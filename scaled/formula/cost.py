"""What a bowl costs more than was planned, in the money that the prices are in."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import NamedTuple

from scaled.formula.feasible import Problem
from scaled.formula.situation import Situation

MG_PER_KG = 1_000_000


class Prices(NamedTuple):
    """Prices per kg in whole parts of the money (`1 / parts`), None where one is not known."""

    per_kg: tuple[int | None, ...]
    parts: int


def prices_of(situation: Situation) -> Prices | None:
    """The prices of all contents in order, None where not one is known."""
    prices = [content.price_per_kg for content in situation.contents]
    known = [price for price in prices if price is not None]
    parts = lcm(*[price.denominator for price in known])
    per_kg = [None if price is None else price.numerator * (parts // price.denominator) for price in prices]
    return Prices(tuple(per_kg), parts) if known else None


def extra_cost(prices: Prices | None, problem: Problem, bowl_mg: tuple[int, ...]) -> Fraction | None:
    """The extra money against the targets at the factor before; None where the price of what differs is not known.

    What differs by less than half a mg, as rounding has it, does not count.
    """
    if prices is None:
        return None
    p, q = problem.factor.numerator, problem.factor.denominator
    units = problem.units_per_mg * q
    total = 0
    for line, mass, price in zip(problem.lines, bowl_mg, prices.per_kg, strict=True):
        more = mass * units - line.weight * p
        if price is not None:
            total += more * price
        elif 2 * abs(more) > units:
            return None
    return Fraction(total, units * prices.parts * MG_PER_KG)
