"""What a bowl costs more than was planned, in the money that the prices are in."""

from __future__ import annotations

from fractions import Fraction
from operator import mul

from scaled.formula.problem import Problem
from scaled.formula.values import MG_PER_KG


def extra_cost(problem: Problem, bowl_mg: tuple[int, ...]) -> Fraction | None:
    """The extra money against the targets at the factor before; None where the price of what differs is not known.

    What differs by less than half a mg, as rounding has it, does not count.
    """
    prices = problem.prices
    if prices is None:
        return None
    p, q = problem.factor.as_integer_ratio()
    units = problem.units_per_mg * q
    if any(2 * abs(bowl_mg[place] * units - problem.weights[place] * p) > units for place in prices.unknown):
        return None
    more = sum(map(mul, bowl_mg, prices.per_kg)) * units - prices.planned * p
    return Fraction(more, units * prices.parts * MG_PER_KG)
