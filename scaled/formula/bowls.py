"""What an offer leaves in the bowl: at a given factor the mass of each content, exact, and in whole mg.

The rule: what is in stays as it is where it lies in its band; all else comes as near to its target as what can come
out and what there is allow, never out of its band. Is the sum above the capacity, everything goes down towards the
least that it may be by one and the same fraction of its distance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.feasible import Problem


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
    for place, (line, floor) in enumerate(zip(problem.lines, floors, strict=True)):
        weight, lo_slope, lo_rest, hi_slope, hi_rest, units_in, _, most, is_in, drives, _, _ = line
        low, high = lo_slope * p + lo_rest * q, hi_slope * p + hi_rest * q
        mass, target = units_in * q, weight * p
        inside.append(mass)
        targets.append(target)
        is_kept = is_in and low <= mass <= high
        low = max(low, floor * q)
        if most is not None and high > most * q:
            high = most * q
            if not drives:
                low = high
        if fixed and place in fixed:
            low, high = max(low, fixed[place]), min(high, fixed[place])
        if low > high:
            return None
        if not is_kept or low == high:
            mass = low if target < low else high if target > high else target
        masses.append(mass)
        lows.append(low)
        highs.append(high)
    bowl = Bowl(factor, problem.units_per_mg * q, masses, lows, highs, inside, targets)
    if problem.capacity is None or sum(masses) <= problem.capacity * q:
        return bowl
    return _lowered(bowl, problem.capacity * q)


def _lowered(bowl: Bowl, capacity: int) -> Bowl | None:
    """The bowl brought down to the capacity, each mass by the same fraction of what it can give; None: too little."""
    excess, room = sum(bowl.masses) - capacity, sum(bowl.masses) - sum(bowl.lows)
    if excess > room:
        return None
    return Bowl(
        bowl.factor,
        bowl.units_per_mg * room,
        [mass * room - (mass - low) * excess for mass, low in zip(bowl.masses, bowl.lows, strict=True)],
        [low * room for low in bowl.lows],
        [high * room for high in bowl.highs],
        [mass * room for mass in bowl.inside],
        [target * room for target in bowl.targets],
    )


def bowl_kept(problem: Problem) -> Bowl:
    """What comes of going on: what is in stays, the rest comes to its target as far as the stock goes."""
    p, q = problem.factor.numerator, problem.factor.denominator
    targets = [line.weight * p for line in problem.lines]
    inside = [line.inside * q for line in problem.lines]
    masses = [
        mass if line.is_in else target if line.most is None else min(target, line.most * q)
        for line, mass, target in zip(problem.lines, inside, targets, strict=True)
    ]
    highs = [mass if line.most is None else line.most * q for line, mass in zip(problem.lines, masses, strict=True)]
    return Bowl(problem.factor, problem.units_per_mg * q, masses, [0] * len(masses), highs, inside, targets)


def whole_mg(bowl: Bowl, inside_mg: tuple[int, ...], capacity_mg: Fraction | None) -> tuple[int, ...]:
    """The masses in whole mg, half to even, each in its range where a whole mg lies in it.

    What stays as it is stays as it is shown (`inside_mg`). Where rounding alone lifts the sum above the capacity,
    those that were rounded up the furthest come down by one mg again, as far as their ranges allow.
    """
    units = bowl.units_per_mg
    masses = []
    for mass, low, high, inside, shown in zip(bowl.masses, bowl.lows, bowl.highs, bowl.inside, inside_mg, strict=True):
        nearest = shown
        if mass != inside:
            nearest, rest = divmod(mass, units)
            if 2 * rest > units or (2 * rest == units and nearest % 2):
                nearest += 1
            if nearest * units > high and (nearest - 1) * units >= low:
                nearest -= 1
            elif nearest * units < low and (nearest + 1) * units <= high:
                nearest += 1
        masses.append(nearest)
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
