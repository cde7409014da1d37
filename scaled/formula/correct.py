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
  short is topped up in the same correction.
- `scale down` stands wherever no factor from the one before upwards is feasible but a smaller one is, whatever the
  reason: something ran out, a stage is closed, the bowl is too small. Overshot ones come down as far as they must.
- Nothing comes out for the three that scale up, so that something overshot *and* something that ran out leave
  nothing but `scale down` or `keep`.
- A tight ingredient (salt, leavening, gelling, acid) that alone drives the factor by more than 5 % is not made up
  for: a dough with half as much salt again is not saved by half as much again of all else.
- What does not keep (whipped, sponge, choux, meringue) is scaled up by 3 % at most.
- `rebalance` stands only where the factor before is out of reach: nobody takes butter off for flour that can be
  topped up, or spooned out.
- Everything in its band and nothing short: there is nothing to correct, only `keep`.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from heapq import merge
from math import floor
from typing import NamedTuple

from scaled.formula.balance import rebalanced
from scaled.formula.bowls import Bowl, bowl_at, bowl_kept, whole_mg
from scaled.formula.cost import extra_cost
from scaled.formula.feasible import feasible
from scaled.formula.front import (
    KEEP,
    REBALANCE,
    SCALE_DOWN,
    SCALE_UP_EXACT,
    SCALE_UP_LEAST,
    TAKE_OUT,
    WHOLE_PIECES,
    shown,
    way_of,
)
from scaled.formula.problem import Interval, Problem, problem_of
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
    offered = [(KEEP, bowl_kept(problem))]
    standing = standing_of(problem)
    if any(standing):
        others = [way_of(name, bowl, problem) for name, bowl in candidates(problem, situation, free, standing)]
        offered = shown(others, offered[0][1], problem.factor)
    return Correction(free, tuple([_offer(name, bowl, problem, situation) for name, bowl in offered]))


def standing_of(problem: Problem) -> Standing:
    """How the bowl stands at the factor before."""
    p, q = problem.factor.as_integer_ratio()
    over, under, least = [], [], 0
    columns = zip(problem.is_in, problem.inside, *problem.bands, strict=True)
    for place, (is_in, inside, lo_slope, lo_rest, hi_slope, hi_rest) in enumerate(columns):
        mass, low = inside * q, lo_slope * p + lo_rest * q
        least += low if low > mass else mass
        if is_in and mass < low:
            under.append(place)
        elif is_in and mass > hi_slope * p + hi_rest * q:
            over.append(place)
    lo_slopes, lo_rests, _, _ = problem.bands
    is_short = any(
        lo_slopes[place] * p + lo_rests[place] * q > most * q
        for place, most in problem.stocks.items()
        if problem.drives[place]
    )
    is_full = problem.capacity is not None and least > problem.capacity * q
    return Standing(over, under, is_short or is_full)


def candidates(
    problem: Problem, situation: Situation, free: Interval | None, standing: Standing
) -> Iterator[tuple[str, Bowl]]:
    """The bowls of the table's rows that are there, in its order, `keep` left out and before any is dropped."""
    if free is not None:
        yield from _in_proportion(problem, situation, free, standing.over)
    if free is not None and free[0] <= problem.factor <= free[1]:
        return
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
    if bowl := bowl_at(problem, up[0], problem.inside):
        yield SCALE_UP_LEAST, bowl
    if bowl := _whole_pieces(problem, situation.pieces, up):
        yield WHOLE_PIECES, bowl
    if overshot and (bowl := _exact(problem, overshot, up)):
        yield SCALE_UP_EXACT, bowl


def _taken_out(problem: Problem, overshot: list[int]) -> Bowl | None:
    p, q = problem.factor.as_integer_ratio()
    targets = {place: max(problem.weights[place] * p, problem.floors[place] * q) for place in overshot}
    bowl = bowl_at(problem, problem.factor, problem.floors, targets)
    # Where the bowl is too small for the targets themselves the overshot ones give way like the rest.
    return bowl or bowl_at(problem, problem.factor, problem.floors)


def _upwards(problem: Problem, situation: Situation, free: Interval, *, is_overshot: bool) -> Interval | None:
    """The factors not below the one before that are feasible with nothing coming out, the least of them first.

    `free` are the factors that are feasible with all that can come out. Where something is overshot the least is at
    least a `step` above the one before.
    """
    kept = free if problem.inside == problem.floors else feasible(problem, problem.inside)
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
    if not problem.tight or least <= max(problem.limits[0], MOST_BY_TIGHT * problem.factor):
        return False
    p, q = least.as_integer_ratio()
    _, _, slopes, rests = problem.bands
    asking = [
        place
        for place, mass in enumerate(problem.inside)
        if mass * q == slopes[place] * p + rests[place] * q and problem.drives[place]
    ]
    return bool(asking) and set(asking) <= set(problem.tight)


def _exact(problem: Problem, overshot: list[int], up: Interval) -> Bowl | None:
    factor = max([Fraction(problem.inside[place], problem.weights[place]) for place in overshot])
    return bowl_at(problem, factor, problem.inside) if up[0] <= factor <= up[1] else None


def _whole_pieces(problem: Problem, pieces: Fraction | None, up: Interval) -> Bowl | None:
    """Whole pieces above the least factor; where the formula tells no pieces, whole eggs from the least factor on."""
    if pieces is None:
        return _whole_eggs(problem, up)
    made, of = up[0].numerator * pieces.numerator, up[0].denominator * pieces.denominator
    if made % of == 0:
        return None
    factor = Fraction((made // of + 1) * pieces.denominator, pieces.numerator)
    return bowl_at(problem, factor, problem.inside) if factor <= up[1] else None


def _whole_eggs(problem: Problem, up: Interval) -> Bowl | None:
    """The smallest factor at which an egg that needs a top-up lies in its band with whole pieces more, at least one.

    An egg of mass a needs one where a lies below its band; with n pieces it lies in its band on a closed interval of
    factors. The smallest factor sought is therefore the least one itself or the lower end of such an interval. (Where
    a band is wider than a piece there may be none smallest, just above the factor at which the egg would do as it
    is; then the next such end is taken.) Of several numbers of pieces that would do, the fewest are taken. Of several
    eggs all that can have whole pieces there have them, if the bowl holds that, else one; the others are topped up
    like all else.
    """
    (lo_slopes, lo_rests, hi_slopes, hi_rests), inside = problem.bands, problem.inside
    eggs = [place for place in problem.eggs if problem.is_in[place] and problem.drives[place]]
    ends = [_piece_factors(problem, place, up) for place in eggs]
    for factor in merge([up[0]] if eggs else [], *ends):
        p, q = factor.as_integer_ratio()
        whole: dict[int, int] = {}
        for place in eggs:
            piece = problem.eggs[place]
            short = lo_slopes[place] * p + (lo_rests[place] - inside[place]) * q
            mass = (inside[place] + -(-short // (piece * q)) * piece) * q
            if short > 0 and mass <= hi_slopes[place] * p + hi_rests[place] * q:
                whole[place] = mass
        for fixed in (whole, *[{place: mass} for place, mass in whole.items()]):
            if fixed and (bowl := bowl_at(problem, factor, inside, fixed)):
                return bowl
    return None


def _piece_factors(problem: Problem, place: int, up: Interval) -> Iterator[Fraction]:
    """The factors at which an egg with 1, 2, 3 ... pieces more lies at the upper end of its band, above the least one
    and above the one at which it begins to need them.
    """
    lo_slope, lo_rest, slope, rest = (column[place] for column in problem.bands)
    inside, piece = problem.inside[place], problem.eggs[place]
    begin = max(up[0], Fraction(inside - lo_rest, lo_slope)) if lo_slope else up[1]
    count = max(1, floor((slope * begin + rest - inside) / piece) + 1)
    while (factor := Fraction(inside + count * piece - rest, slope)) <= up[1]:
        yield factor
        count += 1


def _offer(name: str, bowl: Bowl, problem: Problem, situation: Situation) -> Offer:
    """A way in whole mg, with its pieces and its price; what it costs is that of the whole mg."""
    bowl_mg = whole_mg(bowl, problem, None if name == KEEP else problem.capacity)
    changes = [
        mass - before
        for mass, before, was_in in zip(bowl_mg, problem.inside_mg, problem.is_in, strict=True)
        if mass != before and was_in
    ]
    (p, q), (planned, of) = bowl.factor.as_integer_ratio(), problem.planned_mg.as_integer_ratio()
    pieces, parts = (0, 1) if situation.pieces is None else situation.pieces.as_integer_ratio()
    return Offer(
        offer=name,
        factor=bowl.factor,
        bowl_mg=bowl_mg,
        extra_mass_mg=Fraction(sum(bowl_mg) * of - planned, of),
        extra_weighings=len(changes),
        taken_out_mg=-sum([change for change in changes if change < 0]),
        worst_deviation=_worst_deviation(bowl, problem, bowl_mg),
        makes=None if situation.pieces is None else Fraction(p * pieces, q * parts),
        cost=extra_cost(problem, bowl_mg),
    )


def _worst_deviation(bowl: Bowl, problem: Problem, bowl_mg: tuple[int, ...]) -> Fraction:
    """max |b/(f w) - 1| of the whole mg, over what drives the factor.

    Rounding moves a mass by less than 2 mg: from the lightest target up one may stop where that no longer matters.
    """
    units, scale, weights, drives = bowl.units_per_mg, bowl.scale, problem.weights, problem.drives
    off, of = 0, 1
    for places, may_stop in ((bowl.apart, False), (problem.lightest_first, True)):
        for place in places:
            weight = weights[place]
            if may_stop and 2 * units * of < off * weight:
                break
            away = abs(bowl_mg[place] * units - weight * scale)
            if away * of > off * weight and drives[place]:
                off, of = away, weight
    return Fraction(off, of * scale)
