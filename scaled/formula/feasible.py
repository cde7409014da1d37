"""Which factors are feasible: every constraint is affine in the factor, so they form one interval.

Whatever must not be more than its band allows sets a least factor, whatever runs out sets a largest one, and the
capacity another; all are compared as ratios of whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from scaled.formula.asked import Ratio
from scaled.formula.problem import Interval, Problem


def feasible(problem: Problem, floors: Sequence[int]) -> Interval | None:
    """The factors at which every content can be brought into its band, the bowl holds them and the limits allow it.

    Args:
        problem: the situation in whole units.
        floors: the least that each content can be brought down to, in units: `problem.floors` or `problem.inside`.

    Returns:
        The least and the largest factor, both feasible themselves; None where there is none.
    """
    (low, low_of), (high, high_of) = (limit.as_integer_ratio() for limit in problem.limits)
    lo_slopes, lo_rests, hi_slopes, hi_rests = problem.bands
    for floor, slope, rest in zip(floors, hi_slopes, hi_rests, strict=True):
        if slope and (floor - rest) * low_of > low * slope:
            low, low_of = floor - rest, slope  # below this factor what stays of it is above its band
    for place, most in problem.stocks.items():
        slope, rest = lo_slopes[place], lo_rests[place]
        if slope and problem.drives[place] and (most - rest) * high_of < high * slope:
            high, high_of = most - rest, slope  # above this factor all there is of it is below its band
    if low * high_of > high * low_of:
        return None
    most, most_of = _held(problem, floors, high, high_of)
    return None if low * most_of > most * low_of else (Fraction(low, low_of), Fraction(most, most_of))


def _held(problem: Problem, floors: Sequence[int], p: int, q: int) -> Ratio:
    """The largest factor up to p/q at which the least masses fit the bowl, exactly; 0/1 where none does.

    Their sum is convex, piecewise affine and never falls, so that Newton's steps from above come down on the answer
    itself after at most as many steps as there are contents.
    """
    if problem.capacity is None:
        return p, q
    lo_slopes, lo_rests, _, _ = problem.bands
    slope, rest = sum(lo_slopes), sum(lo_rests)  # what it comes to at the least where nothing is in yet
    if slope * p + rest * q > problem.capacity * q:
        p, q = problem.capacity - rest, slope
    while p > 0:
        slope = rest = 0  # the sum near this factor is slope * f + rest
        for floor, lo_slope, lo_rest in zip(floors, lo_slopes, lo_rests, strict=True):
            if lo_slope * p + lo_rest * q > floor * q:
                slope += lo_slope
                rest += lo_rest
            else:
                rest += floor
        if slope * p + rest * q <= problem.capacity * q:
            return p, q
        if slope == 0:
            break
        p, q = problem.capacity - rest, slope
    return 0, 1
