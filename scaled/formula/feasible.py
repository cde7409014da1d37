"""Which factors are feasible: every constraint is affine in the factor, so they form one interval.

Strategy: all masses of a situation are brought to whole numbers of one common unit, `1 / units_per_mg` mg, once.
From there on everything is exact arithmetic on whole numbers: ratios are compared by cross multiplication, and at
the factor p/q a mass is a whole number of units once it is multiplied by q. `Fraction` is met only at the ends.

A content without a tolerance (weighed by feel) drives nothing: what is in stays as it is at every factor, what is not
in yet comes to its target, whatever its stock. In the bowl it takes its room all the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from scaled.formula.situation import Content, Situation

Interval = tuple[Fraction, Fraction]
Ratio = tuple[int, int]


class Line(NamedTuple):
    """One content in whole units: its band at f is `lo_slope * f + lo_rest` to `hi_slope * f + hi_rest`.

    `inside` is what is in, `least` what stays when all that can come out has come out, `most` what there is in all
    (None: enough).
    """

    weight: int
    lo_slope: int
    lo_rest: int
    hi_slope: int
    hi_rest: int
    inside: int
    least: int
    most: int | None
    is_in: bool
    drives: bool
    is_tight: bool
    piece: int | None


class Problem(NamedTuple):
    """A situation in whole units, `factor` the one before and `planned_mg` the sum of its targets.

    `floors` is what stays of each content with all out that can come out, `kept` with nothing coming out;
    `inside_mg` is what is in as it is shown.
    """

    lines: tuple[Line, ...]
    units_per_mg: int
    capacity: int | None
    limits: Interval
    factor: Fraction
    planned_mg: Fraction
    floors: tuple[int, ...]
    kept: tuple[int, ...]
    inside_mg: tuple[int, ...]


def problem_of(situation: Situation) -> Problem:
    """The situation in whole numbers of the least unit that all its masses share."""
    contents = situation.contents
    denominators = {1 if situation.capacity_mg is None else situation.capacity_mg.denominator}
    for content in contents:
        weight = content.weight_mg.denominator
        denominators.update((weight, content.in_mg.denominator, content.out_mg.denominator))
        if content.more_mg is not None:
            denominators.add(content.more_mg.denominator)
        if content.egg_piece_mg is not None:
            denominators.add(content.egg_piece_mg.denominator)
        if content.tolerance is not None:
            under, over = content.tolerance.under, content.tolerance.over
            denominators.add(under.amount.denominator * (weight if under.is_relative else 1))
            denominators.add(over.amount.denominator * (weight if over.is_relative else 1))
    units = lcm(*denominators)
    lines = tuple([_line(content, units) for content in contents])
    return Problem(
        lines=lines,
        units_per_mg=units,
        capacity=None if situation.capacity_mg is None else _in_units(situation.capacity_mg, units),
        limits=situation.limits,
        factor=situation.factor,
        planned_mg=Fraction(sum([line.weight for line in lines]), units) * situation.factor,
        floors=tuple([line.least for line in lines]),
        kept=tuple([line.inside for line in lines]),
        inside_mg=tuple([nearest(line.inside, units) for line in lines]),
    )


def _line(content: Content, units: int) -> Line:
    weight_mg, in_mg, tolerance = content.weight_mg, content.in_mg, content.tolerance
    weight = weight_mg.numerator * (units // weight_mg.denominator)
    inside = in_mg.numerator * (units // in_mg.denominator)
    least = inside - _in_units(content.out_mg, units) if content.out_mg else inside
    lo_slope, lo_rest, hi_slope, hi_rest = weight, 0, weight, 0
    if tolerance is None:
        least = inside
        if content.is_in:
            lo_slope, hi_slope, hi_rest = 0, 0, inside
    else:
        under, over = tolerance.under.amount, tolerance.over.amount
        if tolerance.under.is_relative:  # a tolerance of more than all of it lets everything be missing
            lo_slope = max(0, weight - weight * under.numerator // under.denominator)
        else:
            lo_rest = -_in_units(under, units)
        if tolerance.over.is_relative:
            hi_slope = weight + weight * over.numerator // over.denominator
        else:
            hi_rest = _in_units(over, units)
    return Line(
        weight,
        lo_slope,
        lo_rest,
        hi_slope,
        hi_rest,
        inside,
        least,
        None if content.more_mg is None else inside + _in_units(content.more_mg, units),
        content.is_in,
        tolerance is not None,
        content.is_tight,
        None if content.egg_piece_mg is None else _in_units(content.egg_piece_mg, units),
    )


def nearest(mass: int, units: int) -> int:
    """A mass in units as whole mg, half to even."""
    whole, rest = divmod(mass, units)
    return whole + 1 if 2 * rest > units or (2 * rest == units and whole % 2) else whole


def _in_units(mass_mg: Fraction, units: int) -> int:
    return mass_mg.numerator * (units // mass_mg.denominator)


def largest(ratios: Iterable[Ratio]) -> Ratio | None:
    """The largest of some ratios (positive denominators); None of none."""
    top: Ratio | None = None
    for ratio in ratios:
        if top is None or ratio[0] * top[1] > top[0] * ratio[1]:
            top = ratio
    return top


def feasible(problem: Problem, floors: tuple[int, ...]) -> Interval | None:
    """The factors at which every content can be brought into its band, the bowl holds them and the limits allow it.

    Args:
        problem: the situation in whole units.
        floors: the least that each content can be brought down to, in units: `problem.floors` or `problem.kept`.

    Returns:
        The least and the largest factor, both feasible themselves; None where there is none.
    """
    low, high = (limit.as_integer_ratio() for limit in problem.limits)
    for line, floor in zip(problem.lines, floors, strict=True):
        _, lo_slope, lo_rest, hi_slope, hi_rest, _, _, most, _, drives, _, _ = line
        if floor > hi_rest and hi_slope and (floor - hi_rest) * low[1] > low[0] * hi_slope:
            low = floor - hi_rest, hi_slope  # below this factor what stays of it is above its band
        if most is not None and lo_slope and drives and (most - lo_rest) * high[1] < high[0] * lo_slope:
            high = most - lo_rest, lo_slope  # above this factor all there is of it is below its band
    if low[0] * high[1] > high[0] * low[1]:
        return None
    least, most_held = Fraction(*low), _held(problem, floors, Fraction(*high))
    return None if most_held is None or least > most_held else (least, most_held)


def _held(problem: Problem, floors: tuple[int, ...], high: Fraction) -> Fraction | None:
    """The largest factor up to `high` at which the least masses fit the bowl, exactly.

    Their sum is convex, piecewise affine and never falls, so that Newton's steps from above come down on the answer
    itself after at most as many steps as there are contents.
    """
    if problem.capacity is None:
        return high
    while True:
        p, q = high.numerator, high.denominator
        slope = rest = 0  # the sum near this factor is slope * f + rest
        for line, floor in zip(problem.lines, floors, strict=True):
            _, lo_slope, lo_rest, _, _, _, _, _, _, _, _, _ = line
            if lo_slope * p + lo_rest * q > floor * q:
                slope += lo_slope
                rest += lo_rest
            else:
                rest += floor
        if slope * p + rest * q <= problem.capacity * q:
            return high
        if slope == 0 or rest >= problem.capacity:
            return None
        high = Fraction(problem.capacity - rest, slope)
