"""Which of the ways out are worth showing, and in which order.

A way is dropped when another is no worse in all of extra mass, extra weighings, worst deviation and mass taken out
and better in one. At most three are shown, the first in the order of the table, then `keep`; the recommended one
stands in front. Everything is compared exactly, before any rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from scaled.formula.bowls import Bowl
from scaled.formula.feasible import Problem, Ratio

TAKE_OUT = "take out"
SCALE_DOWN = "scale down"
SCALE_UP_LEAST = "scale up, least"
WHOLE_PIECES = "whole pieces"
SCALE_UP_EXACT = "scale up, exact"
REBALANCE = "rebalance"
KEEP = "keep"
ORDER = (TAKE_OUT, SCALE_DOWN, SCALE_UP_LEAST, WHOLE_PIECES, SCALE_UP_EXACT, REBALANCE, KEEP)

MOST_SHOWN = 3
MOST_RECOMMENDED = Fraction(115, 100)  # a scale up beyond 15 % is shown, but not recommended


class Way(NamedTuple):
    """One way out before rounding, with the four that are compared.

    `total` is the mass of the bowl and `taken_out` what comes out of it, both in the bowl's units (the extra mass is
    the total less what was planned, which is the same for all); `weighings` those of what is in; `worst` the worst
    deviation, mass over target.
    """

    name: str
    bowl: Bowl
    total: int
    weighings: int
    worst: Ratio
    taken_out: int

    def is_as_good_as(self, other: Way) -> bool:
        """No worse in any of the four."""
        mine, theirs = self.bowl.units_per_mg, other.bowl.units_per_mg
        return (
            self.weighings <= other.weighings
            and self.total * theirs <= other.total * mine
            and self.worst[0] * other.worst[1] <= other.worst[0] * self.worst[1]
            and self.taken_out * theirs <= other.taken_out * mine
        )


def way_of(name: str, bowl: Bowl, problem: Problem) -> Way:
    """A bowl with what it costs."""
    weighings = taken_out = 0
    worst = (0, 1)
    for line, mass, inside, target in zip(problem.lines, bowl.masses, bowl.inside, bowl.targets, strict=True):
        if mass != inside and line.is_in:
            weighings += 1
            if mass < inside:
                taken_out += inside - mass
        if mass != target and line.drives and abs(mass - target) * worst[1] > worst[0] * target:
            worst = abs(mass - target), target
    return Way(name, bowl, sum(bowl.masses), weighings, worst, taken_out)


def shown(ways: Sequence[Way], keep: Way, factor: Fraction) -> list[Way]:
    """The ways worth showing: none that another beats, at most three, then `keep`; the recommended one in front.

    Args:
        ways: in the order of the table, without `keep`.
        keep: going on as it is, always there.
        factor: the factor before.
    """
    front = [way for place, way in enumerate(ways) if not _is_beaten(way, ways[:place], ways[place + 1 :])]
    offered = [*front[:MOST_SHOWN], keep]
    first = next((way for way in offered if _is_recommended(way, factor)), keep)
    offered.remove(first)
    return [first, *offered]


def _is_beaten(way: Way, earlier: Sequence[Way], later: Sequence[Way]) -> bool:
    """Another is no worse in any of the four and better in one; equal in all, the earlier row stays."""
    return any(other.is_as_good_as(way) for other in earlier) or any(
        other.is_as_good_as(way) and not way.is_as_good_as(other) for other in later
    )


def _is_recommended(way: Way, factor: Fraction) -> bool:
    if way.name == SCALE_UP_LEAST:
        return way.bowl.factor <= MOST_RECOMMENDED * factor
    return way.name in {TAKE_OUT, SCALE_DOWN, REBALANCE}
