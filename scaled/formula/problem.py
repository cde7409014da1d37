"""A situation in whole numbers, which is what the solver works on.

Strategy: all masses of a situation are brought to whole numbers of one common unit, `1 / units_per_mg` mg, once. From
there on everything is exact arithmetic on whole numbers: ratios are compared by cross multiplication, and at the
factor p/q a mass is a whole number of units once it is multiplied by q. `Fraction` is met only at the ends. What every
content has stands in columns; what few have (a stock, an egg's piece) stands by its place.

A content without a tolerance (weighed by feel) drives nothing: what is in stays as it is at every factor, what is not
in yet comes to its target, whatever its stock. In the bowl it takes its room all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from scaled.formula.situation import Content, Situation

Interval = tuple[Fraction, Fraction]
Ratio = tuple[int, int]
Column = Sequence[int]
Bands = tuple[Column, Column, Column, Column]
Line = tuple[int, int, int, int, int, int, int, int, int]


class Problem(NamedTuple):
    """A situation in whole units; the columns are in the order of the contents.

    The band of a content at f is `lo_slope * f + lo_rest` to `hi_slope * f + hi_rest`: `bands` are these four columns,
    and `is_wide` says that half a mg off any target within the limits still lies in its band. `inside` is what is in,
    `inside_mg` the same as it is shown, `floors` what stays of it when all that can come out has come out. Places are
    `tight`, the tight ones, and `lightest_first`, all of them; by place there are `stocks`, what there is in all (not
    named: enough), and `eggs`, the mass of a piece. `factor` is the one before, `planned_mg` the sum of its targets,
    `total` that of the weights.
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
    eggs: dict[int, int]
    units_per_mg: int
    capacity: int | None
    limits: Interval
    factor: Fraction
    total: int
    planned_mg: Fraction
    is_wide: bool


def problem_of(situation: Situation) -> Problem:
    """The situation in whole numbers of the least unit that all its masses share."""
    contents, capacity_mg, factor = situation.contents, situation.capacity_mg, situation.factor
    more = {place: content.more_mg for place, content in enumerate(contents) if content.more_mg is not None}
    eggs = {place: content.egg_piece_mg for place, content in enumerate(contents) if content.egg_piece_mg is not None}
    others = [*more.values(), *eggs.values(), *(() if capacity_mg is None else (capacity_mg,))]
    units, columns = _columns(contents, others)
    weights, lo_slopes, lo_rests, hi_slopes, hi_rests, inside, floors, inside_mg = columns
    below = min([weight - slope - rest for weight, slope, rest in zip(weights, lo_slopes, lo_rests, strict=True)])
    above = min([slope + rest - weight for weight, slope, rest in zip(weights, hi_slopes, hi_rests, strict=True)])
    least, of = situation.limits[0].as_integer_ratio()
    total = sum(weights)
    return Problem(
        weights,
        (lo_slopes, lo_rests, hi_slopes, hi_rests),
        inside,
        floors,
        inside_mg,
        is_in=[content.is_in for content in contents],
        drives=[content.tolerance is not None for content in contents],
        tight=[place for place, content in enumerate(contents) if content.is_tight],
        lightest_first=sorted(range(len(weights)), key=weights.__getitem__),
        stocks={place: inside[place] + _in_units(mass, units) for place, mass in more.items()},
        eggs={place: _in_units(mass, units) for place, mass in eggs.items()},
        units_per_mg=units,
        capacity=None if capacity_mg is None else _in_units(capacity_mg, units),
        limits=situation.limits,
        factor=factor,
        total=total,
        planned_mg=Fraction(total * factor.numerator, units * factor.denominator),
        is_wide=2 * min(below, above) * min(least, of) >= units * of,
    )


def _columns(contents: Sequence[Content], others: Sequence[Fraction]) -> tuple[int, tuple[Column, ...]]:
    """How many parts a mg has, and all contents in them, by columns.

    Mostly whole mg do, which are tried first: weights in grams, bands in per cent of them, what a scale shows. `others`
    are masses that must be whole numbers of parts too.
    """
    *columns, rests = zip(*[_line(content, 1) for content in contents], strict=True)
    if not any(rests) and all(mass.denominator == 1 for mass in others):
        return 1, tuple(columns)
    parts = lcm(*[mass.denominator for mass in others], *[_parts(content) for content in contents])
    *columns, _ = zip(*[_line(content, parts) for content in contents], strict=True)
    return parts, tuple(columns)


def _parts(content: Content) -> int:
    """How many parts a mg must have for the masses and the band of a content to be whole numbers of them."""
    of = content.weight_mg.denominator
    parts = lcm(of, content.in_mg.denominator, content.out_mg.denominator)
    if content.tolerance is None:
        return parts
    _, less_of, is_less_relative, _, more_of, is_more_relative = content.tolerance.in_whole_numbers
    return lcm(parts, of * less_of if is_less_relative else less_of, of * more_of if is_more_relative else more_of)


def _line(content: Content, units: int) -> Line:
    """A content's weight, the four numbers of its band, what is in, what stays of it and what is in in whole mg.

    The last number is 0 where all of them are exact.
    """
    weight, of = content.weight_mg.as_integer_ratio()
    weight, rest = weight * (units // of), units % of
    inside, of = content.in_mg.as_integer_ratio()
    shown = inside if of == 1 else round(content.in_mg)
    inside, rest = inside * (units // of), rest + units % of
    if content.tolerance is None:
        slope, end = (0, inside) if content.is_in else (weight, 0)
        return weight, slope, 0, slope, end, inside, inside, shown, rest
    less, less_of, is_less_relative, more, more_of, is_more_relative = content.tolerance.in_whole_numbers
    lo_slope, lo_rest, hi_slope, hi_rest = weight, 0, weight, 0
    if is_less_relative:  # a tolerance of more than all of it lets everything be missing
        lo_slope = max(0, weight - weight * less // less_of)
        rest += weight * less % less_of
    else:
        lo_rest = -less * (units // less_of)
        rest += units % less_of
    if is_more_relative:
        hi_slope = weight + weight * more // more_of
        rest += weight * more % more_of
    else:
        hi_rest = more * (units // more_of)
        rest += units % more_of
    out, of = content.out_mg.as_integer_ratio()
    floor, rest = inside - out * (units // of), rest + units % of
    return weight, lo_slope, lo_rest, hi_slope, hi_rest, inside, floor, shown, rest


def _in_units(mass_mg: Fraction, units: int) -> int:
    return mass_mg.numerator * (units // mass_mg.denominator)
