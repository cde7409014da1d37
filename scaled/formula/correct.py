"""The ways out of a bowl that is not as it was meant: each brings it into proportion, and says what it costs.

A bowl is in proportion if one factor puts every content in its band. `correct` finds the factors for which that can
be had (`feasible`), makes an offer of each row of this table that is there, and shows the few worth showing (`front`).

| offer | factor | comes out |
|---|---|---|
| take out | the one before | the excess of every overshot one, down to its target |
| scale down | the largest feasible, where that lies below the one before | what must |
| scale up, least | the smallest feasible, not below the one before | nothing |
| whole pieces | the smallest feasible above the least that makes whole pieces, or whole eggs | nothing |
| scale up, exact | the one that puts the worst overshot one on its target | nothing |
| rebalance | the one before | nothing; what is not in yet is changed a little (`balance`) |
| keep | the one before | nothing |

All but the last two are in proportion.

What the rows mean where several things went wrong at once:

- `take out` stands only where everything else is or can be brought into its band at the factor before, too: what is
  short is topped up in the same walk.
- `scale down` stands wherever no factor from the one before upwards is feasible but a smaller one is, whatever the
  reason: something ran out, a stage is closed, the bowl is too small. Overshot ones come down as far as they must.
- Nothing comes out for the three that scale up, so that something overshot *and* something that ran out leave
  nothing but `scale down` or `keep`.
- A tight ingredient (salt, leavening, gelling, acid) that alone drives the factor by more than 5 % is not made up
  for: a dough with half as much salt again is not saved by half as much again of all else.
- What does not keep (whipped, sponge, choux, meringue) is scaled up by 3 % at most.
- Everything in its band and nothing short: there is nothing to correct, only `keep`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from heapq import merge
from math import ceil, floor
from typing import NamedTuple

from scaled.formula.balance import rebalanced
from scaled.formula.bowls import Bowl, bowl_at, bowl_kept, whole_mg
from scaled.formula.cost import Prices, extra_cost, prices_of
from scaled.formula.feasible import Interval, Line, Problem, feasible, largest, problem_of
from scaled.formula.front import (
    KEEP,
    REBALANCE,
    SCALE_DOWN,
    SCALE_UP_EXACT,
    SCALE_UP_LEAST,
    TAKE_OUT,
    WHOLE_PIECES,
    Way,
    shown,
    way_of,
)
from scaled.formula.situation import Correction, Offer, Situation

MOST_BY_TIGHT = Fraction(105, 100)  # how far a tight ingredient alone may drive the factor


class Standing(NamedTuple):
    """What is wrong at the factor before: the places of what is `over` and `under`, and whether the rest can follow."""

    over: list[int]
    under: list[int]
    is_short: bool


def correct(situation: Situation) -> Correction:
    """The feasible factors and the ways out of a situation, the recommended one first.

    The range of factors is that with all that can come out or go in; the offers are those of the table above.
    """
    problem = problem_of(situation)
    free = feasible(problem, problem.floors)
    ways = [way_of(KEEP, bowl_kept(problem), problem)]
    standing = standing_of(problem)
    if any(standing):
        others = [way_of(name, bowl, problem) for name, bowl in candidates(problem, situation, free, standing)]
        ways = shown(others, ways[0], problem.factor)
    prices = prices_of(situation)
    return Correction(free, tuple([_offer(way, problem, situation, prices) for way in ways]))


def standing_of(problem: Problem) -> Standing:
    """How the bowl stands at the factor before."""
    p, q = problem.factor.numerator, problem.factor.denominator
    over, under = [], []
    is_short, total = False, 0
    for place, line in enumerate(problem.lines):
        _, lo_slope, lo_rest, hi_slope, hi_rest, units_in, _, most, is_in, drives, _, _ = line
        low, inside = lo_slope * p + lo_rest * q, units_in * q
        if is_in and inside > hi_slope * p + hi_rest * q:
            over.append(place)
        elif is_in and inside < low:
            under.append(place)
        is_short = is_short or (most is not None and drives and low > most * q)
        total += max(low, inside)
    is_full = problem.capacity is not None and total > problem.capacity * q
    return Standing(over, under, is_short or is_full)


def candidates(
    problem: Problem, situation: Situation, free: Interval | None, standing: Standing
) -> Iterator[tuple[str, Bowl]]:
    """The bowls of the table's rows that are there, in its order, `keep` left out and before any is dropped."""
    if free is not None:
        yield from _in_proportion(problem, situation, free, standing.over)
    if changed := rebalanced(situation, [*standing.over, *standing.under]):
        yield REBALANCE, bowl_kept(problem, changed)


def _in_proportion(
    problem: Problem, situation: Situation, free: Interval, overshot: list[int]
) -> Iterator[tuple[str, Bowl]]:
    if overshot and free[0] <= problem.factor <= free[1] and (bowl := _taken_out(problem, overshot)):
        yield TAKE_OUT, bowl
    if free[1] < problem.factor and (bowl := bowl_at(problem, free[1], problem.floors)):
        yield SCALE_DOWN, bowl
    up = _upwards(problem, situation, free, is_overshot=bool(overshot))
    if up is None:
        return
    if bowl := bowl_at(problem, up[0], problem.kept):
        yield SCALE_UP_LEAST, bowl
    if bowl := _whole_pieces(problem, situation.pieces, up):
        yield WHOLE_PIECES, bowl
    if overshot and (bowl := _exact(problem, overshot, up)):
        yield SCALE_UP_EXACT, bowl


def _taken_out(problem: Problem, overshot: list[int]) -> Bowl | None:
    p, q = problem.factor.numerator, problem.factor.denominator
    targets = {place: max(problem.lines[place].weight * p, problem.floors[place] * q) for place in overshot}
    bowl = bowl_at(problem, problem.factor, problem.floors, targets)
    # Where the bowl is too small for the targets themselves the overshot ones give way like the rest.
    return bowl or bowl_at(problem, problem.factor, problem.floors)


def _upwards(problem: Problem, situation: Situation, free: Interval, *, is_overshot: bool) -> Interval | None:
    """The factors not below the one before that are feasible with nothing coming out, the least of them first.

    `free` are the factors that are feasible with all that can come out. Where something is overshot the least is at
    least a `step` above the one before.
    """
    kept = free if problem.kept == problem.floors else feasible(problem, problem.kept)
    if kept is None or _is_by_tight_alone(problem, kept[0]):
        return None
    least, most = max(kept[0], problem.factor), kept[1]
    if situation.step and is_overshot:
        least = max(least, problem.factor + situation.step)
    if situation.most_up is not None:
        most = min(most, situation.most_up)
    return None if least > most else (least, most)


def _is_by_tight_alone(problem: Problem, least: Fraction) -> bool:
    """A tight ingredient, and nothing else as much, asks for more than 5 % above the factor before."""
    p, q = least.numerator, least.denominator
    asking = [
        line.is_tight
        for line in problem.lines
        if line.drives and line.inside * q == line.hi_slope * p + line.hi_rest * q
    ]
    return bool(asking) and all(asking) and least > max(problem.limits[0], MOST_BY_TIGHT * problem.factor)


def _exact(problem: Problem, overshot: list[int], up: Interval) -> Bowl | None:
    on_target = largest((problem.lines[place].inside, problem.lines[place].weight) for place in overshot)
    if on_target is None or not up[0] <= (factor := Fraction(*on_target)) <= up[1]:
        return None
    return bowl_at(problem, factor, problem.kept)


def _whole_pieces(problem: Problem, pieces: Fraction | None, up: Interval) -> Bowl | None:
    """Whole pieces above the least factor; where the formula tells no pieces, whole eggs from the least factor on."""
    if pieces is None:
        return _whole_eggs(problem, up)
    made = up[0] * pieces
    if made.denominator == 1:
        return None
    factor = ceil(made) / pieces
    return bowl_at(problem, factor, problem.kept) if factor <= up[1] else None


def _whole_eggs(problem: Problem, up: Interval) -> Bowl | None:
    """The smallest factor at which each egg that needs a top-up gets it in whole pieces, and at least one does.

    An egg of mass a needs one where a lies below its band; with n pieces it lies in its band on a closed interval of
    factors. The smallest factor sought is therefore the least one itself or the lower end of such an interval. (Where
    a band is wider than a piece there may be none smallest, just above the factor at which the egg would do as it
    is; then the next such end is taken.) Of several numbers of pieces that would do, the fewest are taken.
    """
    eggs = {place: line for place, line in enumerate(problem.lines) if line.piece and line.is_in and line.drives}
    ends = [_piece_factors(line, up) for line in eggs.values()]
    for factor in merge([up[0]] if eggs else [], *ends):
        fixed: dict[int, int] = {}
        for place, line in eggs.items():
            short = line.lo_slope * factor.numerator + (line.lo_rest - line.inside) * factor.denominator
            if short > 0 and line.piece:
                count = -(-short // (line.piece * factor.denominator))
                fixed[place] = (line.inside + count * line.piece) * factor.denominator
        if fixed and (bowl := bowl_at(problem, factor, problem.kept, fixed)):
            return bowl
    return None


def _piece_factors(line: Line, up: Interval) -> Iterator[Fraction]:
    """The factors above the least at which an egg with 1, 2, 3 ... pieces more lies at the upper end of its band."""
    piece = line.piece or 0
    at_least = line.hi_slope * up[0] + line.hi_rest
    count = max(1, floor((at_least - line.inside) / piece) + 1)
    while (factor := Fraction(line.inside + count * piece - line.hi_rest, line.hi_slope)) <= up[1]:
        yield factor
        count += 1


def _worst_deviation(way: Way, problem: Problem, bowl_mg: Sequence[int]) -> Fraction:
    """max |b/(f w) - 1| of the whole mg, over what drives the factor."""
    units, off, of = way.bowl.units_per_mg, 0, 1
    for line, mass, target in zip(problem.lines, bowl_mg, way.bowl.targets, strict=True):
        away = abs(mass * units - target)
        if line.drives and away * of > off * target:
            off, of = away, target
    return Fraction(off, of)


def _offer(way: Way, problem: Problem, situation: Situation, prices: Prices | None) -> Offer:
    """A way in whole mg, with its pieces and its price; what it costs is that of the whole mg."""
    bowl_mg = whole_mg(way.bowl, problem.inside_mg, None if way.name == KEEP else situation.capacity_mg)
    moved = [
        after - before
        for line, before, after in zip(problem.lines, problem.inside_mg, bowl_mg, strict=True)
        if before != after and line.is_in
    ]
    factor = way.bowl.factor
    return Offer(
        offer=way.name,
        factor=factor,
        bowl_mg=bowl_mg,
        extra_mass_mg=sum(bowl_mg) - problem.planned_mg,
        extra_weighings=len(moved),
        taken_out_mg=-sum([mass for mass in moved if mass < 0]),
        worst_deviation=_worst_deviation(way, problem, bowl_mg),
        makes=None if situation.pieces is None else factor * situation.pieces,
        cost=extra_cost(prices, problem, bowl_mg),
    )
