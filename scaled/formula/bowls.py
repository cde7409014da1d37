"""What an offer leaves in the bowl: at a given factor the mass of each content, exact, and in whole mg.

The rule: what is in stays as it is where it lies in its band; all else comes as near to its target as what can come
out and what there is allow, never out of its band. Is the sum above the capacity, everything goes down towards the
least that it may be by one and the same fraction of its distance.

A bowl says only what is not simply at its target. At a factor that is feasible every content has a range, so that the
rule needs no ranges: they are worked out only where something is settled beforehand, gives way to the capacity or
might leave its range as it is rounded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.problem import Problem, nearest

Ranges = tuple[list[int], list[int]]


@dataclass(slots=True)
class Bowl:
    """Masses at `factor` as whole numbers of `1 / units_per_mg` mg.

    `apart` has those (by place) that are not just the target. A target is the weight times `scale`, a mass in the
    problem's units becomes one in these times `grain`. `ranges` are the least and the most that each content may be
    at this factor, None where whole mg cannot leave them.
    """

    factor: Fraction
    units_per_mg: int
    scale: int
    grain: int
    apart: dict[int, int]
    ranges: Ranges | None = None

    def total(self, problem: Problem) -> int:
        """The mass of it all."""
        away = [mass - problem.weights[place] * self.scale for place, mass in self.apart.items()]
        return problem.total * self.scale + sum(away)

    def masses(self, problem: Problem) -> list[int]:
        """The mass of each content, in their order."""
        masses = [weight * self.scale for weight in problem.weights]
        for place, mass in self.apart.items():
            masses[place] = mass
        return masses


def bowl_at(
    problem: Problem, factor: Fraction, floors: Sequence[int], fixed: Mapping[int, int] | None = None
) -> Bowl | None:
    """The bowl by the rule above at a factor p/q that is feasible with these floors.

    Args:
        problem: the situation in whole units.
        factor: the factor to be made.
        floors: the least that each content can be brought down to, in units.
        fixed: masses (by place, in units times q) that are settled beforehand and do not give way to the capacity.

    Returns:
        None where what is fixed is out of its range or leaves too little room.
    """
    p, q = factor.as_integer_ratio()
    lo_slopes, lo_rests, hi_slopes, hi_rests = problem.bands
    apart = {
        place: mass * q
        for place, (is_in, mass, slope, rest) in enumerate(
            zip(problem.is_in, problem.inside, lo_slopes, lo_rests, strict=True)
        )
        if is_in and mass * q >= slope * p + rest * q
    }
    if floors is not problem.inside:
        for place, mass in apart.items():
            if mass > hi_slopes[place] * p + hi_rests[place] * q:
                apart[place] = max(problem.weights[place] * p, floors[place] * q)
    for place, most in problem.stocks.items():
        if place not in apart and most * q < problem.weights[place] * p:
            apart[place] = most * q
    apart.update(fixed or {})
    bowl = Bowl(factor, problem.units_per_mg * q, p, q, apart)
    is_full = problem.capacity is not None and bowl.total(problem) > problem.capacity * q
    if is_full or fixed or problem.stocks or floors is not problem.inside or not problem.is_wide:
        lows, highs = bowl.ranges = _ranges_at(problem, factor, floors)
        if not all(lows[place] <= mass <= highs[place] for place, mass in (fixed or {}).items()):
            return None
    return _lowered(bowl, problem, floors, fixed or {}) if is_full else bowl


def _ranges_at(problem: Problem, factor: Fraction, floors: Sequence[int]) -> Ranges:
    """The least and the most that each content may be at a factor p/q, in units times q."""
    p, q = factor.as_integer_ratio()
    lo_slopes, lo_rests, hi_slopes, hi_rests = problem.bands
    lows = [max(s * p + rest * q, floor * q) for s, rest, floor in zip(lo_slopes, lo_rests, floors, strict=True)]
    highs = [slope * p + rest * q for slope, rest in zip(hi_slopes, hi_rests, strict=True)]
    for place, most in problem.stocks.items():
        highs[place] = min(highs[place], most * q)
        if not problem.drives[place]:
            lows[place] = min(lows[place], highs[place])
    return lows, highs


def _lowered(bowl: Bowl, problem: Problem, floors: Sequence[int], fixed: Mapping[int, int]) -> Bowl | None:
    """The bowl brought down to the capacity, each mass by the same fraction of what it can give; None: too little."""
    lows, highs = _ranges_at(problem, bowl.factor, floors)
    masses = bowl.masses(problem)
    gives = [0 if place in fixed else mass - lows[place] for place, mass in enumerate(masses)]
    excess, room = sum(masses) - (problem.capacity or 0) * bowl.grain, sum(gives)
    if excess > room:
        return None
    return Bowl(
        bowl.factor,
        bowl.units_per_mg * room,
        bowl.scale * room,
        bowl.grain * room,
        {place: mass * room - gives[place] * excess for place, mass in enumerate(masses)},
        ([low * room for low in lows], [high * room for high in highs]),
    )


def bowl_kept(problem: Problem, changed_mg: Mapping[int, int] | None = None) -> Bowl:
    """What comes of going on: what is in stays, the rest comes to its target as far as the stock goes.

    `changed_mg` are masses (by place) that what is not in yet is brought to instead.
    """
    p, q = problem.factor.as_integer_ratio()
    units = problem.units_per_mg * q
    apart = {place: mass * q for place, mass in enumerate(problem.inside) if problem.is_in[place]}
    for place, most in problem.stocks.items():
        if place not in apart and most * q < problem.weights[place] * p:
            apart[place] = most * q
    apart.update({place: mass * units for place, mass in (changed_mg or {}).items()})
    bowl = Bowl(problem.factor, units, p, q, apart)
    if problem.stocks:
        highs = [mass + units for mass in bowl.masses(problem)]
        for place, most in problem.stocks.items():
            highs[place] = most * q
        bowl.ranges = [0] * len(highs), highs
    return bowl


def whole_mg(bowl: Bowl, problem: Problem, capacity: int | None) -> tuple[int, ...]:
    """The masses in whole mg, half to even, each in its range where a whole mg lies in it.

    What stays as it is stays as it is shown. Where rounding alone lifts the sum above the capacity (in the problem's
    units), those that were rounded up the furthest come down by one mg again, as far as their ranges allow.
    """
    units, exact = bowl.units_per_mg, bowl.masses(problem)
    masses = nearest(exact, units)
    is_full = capacity is not None and sum(masses) * problem.units_per_mg > capacity
    if bowl.ranges is None and not is_full:
        return tuple(masses)
    moved = [place for place, mass in enumerate(problem.inside) if exact[place] != mass * bowl.grain]
    if bowl.ranges is not None:
        lows, highs = bowl.ranges
        for place in moved:
            rounded = masses[place] * units
            if rounded > highs[place] and rounded - units >= lows[place]:
                masses[place] -= 1
            elif rounded < lows[place] and rounded + units <= highs[place]:
                masses[place] += 1
    if capacity is not None:
        lows, _ = bowl.ranges or _ranges_at(problem, bowl.factor, problem.inside)
        for place in sorted(moved, key=lambda i: exact[i] - masses[i] * units):
            if sum(masses) * problem.units_per_mg <= capacity:
                break
            if (masses[place] - 1) * units >= lows[place]:
                masses[place] -= 1
    return tuple(masses)
