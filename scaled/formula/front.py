"""Which of the ways out are worth showing, and in which order.

A way is dropped when another is no worse in all of extra mass, extra weighings, worst deviation and mass taken out
and better in one. At most three are shown, the first in the order of the table, then `keep`; the recommended one
stands in front. Everything is compared exactly, before any rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from scaled.formula.asked import Ratio
from scaled.formula.bowls import Bowl
from scaled.formula.problem import Problem

TAKE_OUT = "take out"
SCALE_DOWN = "scale down"
SCALE_UP_LEAST = "scale up, least"
WHOLE_PIECES = "whole pieces"
SCALE_UP_EXACT = "scale up, exact"
REBALANCE = "rebalance"
KEEP = "keep"

MOST_SHOWN = 3
MOST_RECOMMENDED = 115, 100  # a scale up beyond 15 % is shown, but not recommended


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
    grain, scale = bowl.grain, bowl.scale
    stay = taken_out = 0
    worst = (0, 1)
    for place, mass in bowl.apart.items():
        if problem.is_in[place]:
            more = mass - problem.inside[place] * grain
            if more == 0:
                stay += 1
            elif more < 0:
                taken_out -= more
        if problem.drives[place]:
            target = problem.weights[place] * scale
            off = abs(mass - target)
            if off * worst[1] > worst[0] * target:
                worst = off, target
    return Way(name, bowl, bowl.total(problem), problem.is_in.count(True) - stay, worst, taken_out)


def shown(ways: Sequence[Way], keep: Bowl, factor: Fraction) -> list[tuple[str, Bowl]]:
    """The offers worth showing: none that another beats, at most three, then `keep`; the recommended one in front.

    Args:
        ways: in the order of the table, without `keep`.
        keep: the bowl of going on as it is, which is always there.
        factor: the factor before.
    """
    front: list[Way] = []
    for way in ways:
        if not any(other.is_as_good_as(way) for other in front):
            front = [*[other for other in front if not way.is_as_good_as(other)], way]
    offered = [(way.name, way.bowl) for way in front[:MOST_SHOWN]] + [(KEEP, keep)]
    first = next((offer for offer in offered if _is_recommended(*offer, factor)), offered[-1])
    offered.remove(first)
    return [first, *offered]


def _is_recommended(name: str, bowl: Bowl, factor: Fraction) -> bool:
    if name == SCALE_UP_LEAST:
        (new, new_of), (old, old_of) = bowl.factor.as_integer_ratio(), factor.as_integer_ratio()
        return new * old_of * MOST_RECOMMENDED[1] <= old * new_of * MOST_RECOMMENDED[0]
    return name in {TAKE_OUT, SCALE_DOWN, REBALANCE}
