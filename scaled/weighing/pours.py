"""What is known of each ingredient's after-flow, and the pour that goes on: frozen, and lost with the process.

Only cues depend on it, never what is accepted. Strategy: when "stop" is said in a pour, what came in by the next rest
is a tail seen, unless the weight says that this was no pour that ended there: it went on, it fell, it took too long.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from scaled.weighing.advice import Said, advised
from scaled.weighing.tail import START, Tail, learn
from scaled.weighing.values import Weight

STEADY_S = 1.0  # beyond the tail: a flow that was just being slowed tells of none
ENDS_S = 3.0  # a tail is over by then: the longest that is learned from lasts 2.5 s


@dataclass(frozen=True)
class Pours:
    """`tails` by the ingredient's name; `said` what was said last in the pour of `name` that goes on, None between."""

    tails: Mapping[str, Tail] = field(default_factory=dict)
    name: str = ""
    said: Said | None = None

    def tail(self, name: str) -> Tail:
        """What is known of an ingredient's after-flow."""
        return self.tails.get(name, START)

    def pouring(self, name: str, weight: Weight, target_mg: float, band_mg: tuple[int, int]) -> Pours:
        """With what is to be said of a weight that is not at rest (gross masses, as in `advised`)."""
        before = self.said if name == self.name else None
        said = advised(weight, target_mg, band_mg, self.tail(name), before)
        return self if said is before else replace(self, name=name, said=said)

    def rested(self, weight: Weight) -> Pours:
        """With what was learned, now that the weight is at rest."""
        said, rest = self.said, weight.rest
        if said is None or rest is None:
            return self
        tail = self.tail(self.name)
        is_seen = said.word == "stop" and said.steady_s > tail.seconds + STEADY_S and 0 < rest.since - said.at <= ENDS_S
        if not is_seen:
            return replace(self, said=None)
        u_g = math.hypot(said.u_g, rest.u_mg / 1000)
        learned = learn(tail, said.rate_g_s, rest.mass_mg / 1000 - said.estimate_g, u_g)
        return replace(self, tails={**self.tails, self.name: learned}, said=None)

    def broken_off(self) -> Pours:
        """The pour is not followed any more: the scale was lost, the vessel lifted, something else asked."""
        return self if self.said is None else replace(self, said=None)
