"""What an offer leaves in the bowl: at a given factor the mass of each content, exact, and in whole mg.

The rule: what is in stays as it is where it lies in its band; all else comes as near to its target as what can come
out and what there is allow, never out of its band. Is the sum above the capacity, everything goes down towards the
least that it may be by one and the same fraction of its distance.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.feasible import Problem, nearest


@dataclass(slots=True)
class Bowl:
    """Masses at `factor`, in the order of the contents, as whole numbers of `1 / units_per_mg` mg.

    `lows` and `highs` are the least and the most that each may be at this factor; `inside` is what is in now and
    `targets` the exact targets, in the same unit.
    """

    factor: Fraction
    units_per_mg: int
    masses: list[int]
    lows: list[int]
    highs: list[int]
    inside: list[int]
    targets: list[int]


def bowl_at(
    problem: Problem, factor: Fraction, floors: tuple[int, ...], fixed: Mapping[int, int] | None = None
) -> Bowl | None:
    """The bowl at a factor p/q by the rule above; None where it is not in proportion or does not fit.

    Args:
        problem: the situation in whole units.
        factor: the factor to be made.
        floors: the least that each content can be brought down to, in units.
        fixed: masses (by place, in units times q) that are settled beforehand and do not give way to the capacity.
    """
    p, q = factor.numerator, factor.denominator
    masses, lows, highs, inside, targets = [], [], [], [], []
    for line, floor in zip(problem.lines, floors, strict=True):
        weight, lo_slope, lo_rest, hi_slope, hi_rest, units_in, _, most, is_in, drives, _, _ = line
        lo, high = lo_slope * p + lo_rest * q, hi_slope * p + hi_rest * q
        mass, target, least = units_in * q, weight * p, floor * q
        inside.append(mass)
        targets.append(target)
        low = lo if lo > least else least
        if most is not None and drives and high > most * q:
            high = most * q
        if not (is_in and lo <= mass <= high):
            mass = high if target > high else low if target < low else target
        masses.append(mass)
        lows.append(low)
        highs.append(high)
        if low > high:
            return None
    for place, mass in (fixed or {}).items():
        if not lows[place] <= mass <= highs[place]:
            return None
        masses[place] = mass
    bowl = Bowl(factor, problem.units_per_mg * q, masses, lows, highs, inside, targets)
    if problem.capacity is None or sum(masses) <= problem.capacity * q:
        return bowl
    return _lowered(bowl, problem.capacity * q, fixed or {})


def _lowered(bowl: Bowl, capacity: int, fixed: Collection[int]) -> Bowl | None:
    """The bowl brought down to the capacity, each mass by the same fraction of what it can give; None: too little."""
    gives = [
        0 if place in fixed else mass - low
        for place, (mass, low) in enumerate(zip(bowl.masses, bowl.lows, strict=True))
    ]
    excess, room = sum(bowl.masses) - capacity, sum(gives)
    if excess > room:
        return None
    return Bowl(
        bowl.factor,
        bowl.units_per_mg * room,
        [mass * room - give * excess for mass, give in zip(bowl.masses, gives, strict=True)],
        [low * room for low in bowl.lows],
        [high * room for high in bowl.highs],
        [mass * room for mass in bowl.inside],
        [target * room for target in bowl.targets],
    )


def bowl_kept(problem: Problem, changed_mg: Mapping[int, int] | None = None) -> Bowl:
    """What comes of going on: what is in stays, the rest comes to its target as far as the stock goes.

    `changed_mg` are masses (by place) that what is not in yet is brought to instead.
    """
    p, q = problem.factor.numerator, problem.factor.denominator
    targets = [line.weight * p for line in problem.lines]
    inside = [line.inside * q for line in problem.lines]
    masses = [
        mass if line.is_in else target if line.most is None else min(target, line.most * q)
        for line, mass, target in zip(problem.lines, inside, targets, strict=True)
    ]
    units = problem.units_per_mg * q
    for place, mass in (changed_mg or {}).items():
        masses[place] = mass * units
    highs = [
        mass + units if line.most is None else line.most * q for line, mass in zip(problem.lines, masses, strict=True)
    ]
    return Bowl(problem.factor, units, masses, [0] * len(masses), highs, inside, targets)


def whole_mg(bowl: Bowl, inside_mg: tuple[int, ...], capacity_mg: Fraction | None) -> tuple[int, ...]:
    """The masses in whole mg, half to even, each in its range where a whole mg lies in it.

    What stays as it is stays as it is shown (`inside_mg`). Where rounding alone lifts the sum above the capacity,
    those that were rounded up the furthest come down by one mg again, as far as their ranges allow.
    """
    units = bowl.units_per_mg
    masses = []
    for mass, low, high, inside, shown in zip(bowl.masses, bowl.lows, bowl.highs, bowl.inside, inside_mg, strict=True):
        whole = shown
        if mass != inside:
            whole = nearest(mass, units)
            if whole * units > high and (whole - 1) * units >= low:
                whole -= 1
            elif whole * units < low and (whole + 1) * units <= high:
                whole += 1
        masses.append(whole)
    if capacity_mg is not None and sum(masses) > capacity_mg:
        _lower_roundings(bowl, masses, capacity_mg)
    return tuple(masses)


def _lower_roundings(bowl: Bowl, masses: list[int], capacity_mg: Fraction) -> None:
    units = bowl.units_per_mg
    for place in sorted(range(len(masses)), key=lambda i: bowl.masses[i] - masses[i] * units):
        if sum(masses) <= capacity_mg:
            return
        if bowl.masses[place] != bowl.inside[place] and (masses[place] - 1) * units >= bowl.lows[place]:
            masses[place] -= 1
