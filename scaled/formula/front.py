"""Which of the ways out are worth showing, and in which order.

A way is dropped when another is no worse in all of extra mass, extra weighings, worst deviation and mass taken out
and better in one. At most three are shown, the first in the order of the table, then `keep`; the recommended one
stands in front. Everything is compared exactly, before any rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.bowls import Bowl
from scaled.formula.feasible import Problem, largest

TAKE_OUT = "take out"
SCALE_DOWN = "scale down"
SCALE_UP_LEAST = "scale up, least"
WHOLE_PIECES = "whole pieces"
SCALE_UP_EXACT = "scale up, exact"
KEEP = "keep"
ORDER = (TAKE_OUT, SCALE_DOWN, SCALE_UP_LEAST, WHOLE_PIECES, SCALE_UP_EXACT, KEEP)

MOST_SHOWN = 3
MOST_RECOMMENDED = Fraction(115, 100)  # a scale up beyond 15 % is shown, but not recommended


@dataclass(frozen=True, slots=True)
class Way:
    """One way out before rounding; `costs` are the four that are compared.

    `costs`: extra mass in mg against the targets at the factor before (signed), weighings of what is in, worst
    deviation (a share of the target), mass taken out in mg; all exact.
    """

    name: str
    bowl: Bowl
    costs: tuple[Fraction, Fraction, Fraction, Fraction]

    def beats(self, other: Way) -> bool:
        """No worse in all four and better in one."""
        return self.costs != other.costs and all(m <= t for m, t in zip(self.costs, other.costs, strict=True))


def way_of(name: str, bowl: Bowl, problem: Problem) -> Way:
    """A bowl with what it costs."""
    weighings = taken_out = 0
    deviations = []
    for line, mass, inside, target in zip(problem.lines, bowl.masses, bowl.inside, bowl.targets, strict=True):
        if line.is_in and mass != inside:
            weighings += 1
            taken_out += max(0, inside - mass)
        if mass != target and line.drives:
            deviations.append((abs(mass - target), target))
    worst = largest(deviations)
    units = bowl.units_per_mg
    return Way(
        name,
        bowl,
        (
            Fraction(sum(bowl.masses), units) - problem.planned_mg,
            Fraction(weighings),
            Fraction(0) if worst is None else Fraction(*worst),
            Fraction(taken_out, units),
        ),
    )


def shown(ways: Sequence[Way], keep: Way, factor: Fraction) -> list[Way]:
    """The ways worth showing: none that another beats, at most three, then `keep`; the recommended one in front.

    Args:
        ways: in the order of the table, without `keep`.
        keep: going on as it is, always there.
        factor: the factor before.
    """
    front = [
        way
        for place, way in enumerate(ways)
        if not any(other.beats(way) for other in ways) and not any(way.costs == other.costs for other in ways[:place])
    ]
    offered = [*front[:MOST_SHOWN], keep]
    first = next((way for way in offered if _is_recommended(way, factor)), keep)
    offered.remove(first)
    return [first, *offered]


def _is_recommended(way: Way, factor: Fraction) -> bool:
    if way.name == SCALE_UP_LEAST:
        return way.bowl.factor <= MOST_RECOMMENDED * factor
    return way.name in {TAKE_OUT, SCALE_DOWN}
