"""What a bowl costs more than was planned, in the money that the prices are in."""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from operator import mul
from typing import NamedTuple

from scaled.formula.problem import Problem
from scaled.formula.situation import Situation

MG_PER_KG = 1_000_000


class Prices(NamedTuple):
    """Prices per kg in whole parts of the money (`1 / parts`), 0 where one is not known (`unknown` are their places).

    `planned` is what the weights at factor 1 come to, in units of the problem times these.
    """

    per_kg: list[int]
    parts: int
    unknown: list[int]
    planned: int


def prices_of(situation: Situation, problem: Problem) -> Prices | None:
    """The prices of all contents in order, None where not one is known."""
    prices = [content.price_per_kg for content in situation.contents]
    unknown = [place for place, price in enumerate(prices) if price is None]
    if len(unknown) == len(prices):
        return None
    ratios = [(0, 1) if price is None else price.as_integer_ratio() for price in prices]
    parts = lcm(*{of for _, of in ratios})
    per_kg = [price * (parts // of) for price, of in ratios]
    return Prices(per_kg, parts, unknown, sum(map(mul, problem.weights, per_kg)))


def extra_cost(prices: Prices | None, problem: Problem, bowl_mg: tuple[int, ...]) -> Fraction | None:
    """The extra money against the targets at the factor before; None where the price of what differs is not known.

    What differs by less than half a mg, as rounding has it, does not count.
    """
    if prices is None:
        return None
    p, q = problem.factor.as_integer_ratio()
    units = problem.units_per_mg * q
    if any(2 * abs(bowl_mg[place] * units - problem.weights[place] * p) > units for place in prices.unknown):
        return None
    more = sum(map(mul, bowl_mg, prices.per_kg)) * units - prices.planned * p
    return Fraction(more, units * prices.parts * MG_PER_KG)
