"""A situation in whole numbers, which is what the solver works on.

Strategy: all masses of a situation are brought to whole numbers of one common unit, `1 / units_per_mg` mg, once; what
the formula asks for stands ready in such numbers (`asked`). From there on everything is exact arithmetic on whole
numbers: ratios are compared by cross multiplication, and at the factor p/q a mass is a whole number of units once it
is multiplied by q. `Fraction` is met only at the ends. What every content has stands in columns; what few have (a
stock, an egg's piece) stands by its place.

A content without a tolerance (weighed by feel) drives nothing: what is in stays as it is at every factor, what is not
in yet comes to its target, as far as its stock goes. In the bowl its target takes its room all the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from scaled.formula.asked import Asked, Bands, Column, Prices, asked_of, in_units
from scaled.formula.situation import Situation

Interval = tuple[Fraction, Fraction]


class Problem(NamedTuple):
    """A situation in whole units; the columns are in the order of the contents.

    The band of a content at f is `lo_slope * f + lo_rest` to `hi_slope * f + hi_rest`: `bands` are these four columns,
    and `is_wide` says that half a mg off any target within the limits still lies in its band. `inside` is what is in,
    `inside_mg` the same as it is shown, `floors` what stays of it when all that can come out has come out. Places are
    `tight`, the tight ones, and `lightest_first`, all of them; by place there are `stocks`, what there is in all (not
    named: enough), and `eggs`, the mass of a piece. `factor` is the one before, `planned_mg` the sum of its targets,
    `total` that of the weights; `prices` are None where none is known.
    """

    weights: Column
    bands: Bands
    inside: Column
    floors: Column
    inside_mg: Column
    is_in: Sequence[bool]
    drives: Sequence[bool]
    tight: Sequence[int]
    lightest_first: Sequence[int]
    stocks: dict[int, int]
    eggs: Mapping[int, int]
    units_per_mg: int
    capacity: int | None
    limits: Interval
    factor: Fraction
    total: int
    planned_mg: Fraction
    is_wide: bool
    prices: Prices | None


def problem_of(situation: Situation) -> Problem:
    """The situation in whole numbers of the largest unit that all its masses share."""
    contents, capacity_mg, factor = situation.contents, situation.capacity_mg, situation.factor
    asked = asked_of(tuple([content.addition for content in contents]))
    ins = [content.in_mg.as_integer_ratio() for content in contents]
    outs = [content.out_mg.as_integer_ratio() for content in contents]
    more = {place: content.more_mg for place, content in enumerate(contents) if content.more_mg is not None}
    others = list(more.values()) if capacity_mg is None else [*more.values(), capacity_mg]
    units = lcm(asked.parts, *{of for _, of in (*ins, *outs)}, *[mass.denominator for mass in others])
    asked = asked.in_parts(units)
    inside = [mass * (units // of) for mass, of in ins]
    is_in = [content.is_in for content in contents]
    least, of = situation.limits[0].as_integer_ratio()
    return Problem(
        asked.weights,
        _bands(asked, inside, is_in),
        inside,
        [mass - out * (units // of) for mass, (out, of) in zip(inside, outs, strict=True)],
        nearest(inside, units),
        is_in,
        asked.drives,
        asked.tight,
        asked.lightest_first,
        stocks={place: inside[place] + in_units(mass, units) for place, mass in more.items()},
        eggs=asked.eggs,
        units_per_mg=units,
        capacity=None if capacity_mg is None else in_units(capacity_mg, units),
        limits=situation.limits,
        factor=factor,
        total=asked.total,
        planned_mg=Fraction(asked.total * factor.numerator, units * factor.denominator),
        is_wide=2 * asked.narrowest * min(least, of) >= units * of,
        prices=asked.prices,
    )


def _bands(asked: Asked, inside: Column, is_in: Sequence[bool]) -> Bands:
    """The bands that are asked for, but that of what is in by feel: it is what is in, at every factor."""
    by_feel = [place for place in asked.by_feel if is_in[place]]
    if not by_feel:
        return asked.bands
    lo_slopes, lo_rests, hi_slopes, hi_rests = (list(column) for column in asked.bands)
    for place in by_feel:
        lo_slopes[place] = hi_slopes[place] = 0
        lo_rests[place] = hi_rests[place] = inside[place]
    return lo_slopes, lo_rests, hi_slopes, hi_rests


def nearest(masses: Column, units: int) -> list[int]:
    """Masses in units as whole mg, half to even."""
    if units == 1:
        return list(masses)
    half = units // 2
    rounded = [(mass + half) // units for mass in masses]  # half a mg goes up
    if units % 2:
        return rounded  # there is no half
    return [
        whole - 1 if whole % 2 and whole * units - half == mass else whole
        for whole, mass in zip(rounded, masses, strict=True)
    ]
