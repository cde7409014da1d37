"""Two cooks of the same skill: one is told when to slow down and to stop, the other sees the digits only.

Both have the same hands: a jug that pours 10 to 60 g/s and 1 to 10 at the end (assumed), a reaction that is normal
plus exponential (mu 0.25, sigma 0.04, tau 0.08 s, assumed; a simple reaction takes 231 ms on average: Woods et al.
2015, doi 10.3389/fnhum.2015.00131), 0.15 to 0.4 s to turn the jug back (assumed). What is missing at rest both
make up in the same way, from the number that they see: with a spoon or a pinch, 8 % off.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from pour_bench import STEP_S, PourBench, Stuff

from scaled.simulator.parameters import ScaleParameters
from scaled.weighing.advice import Advice, Said
from scaled.weighing.pours import Pours
from scaled.weighing.tail import Tail

FLOWS_G_S, END_FLOWS_G_S, TURNS_S = (10.0, 60.0), (1.0, 10.0), (0.15, 0.4)
SPOON_G, PORTION_ERROR = 15.0, 0.08
PORTION_S = (1.0, 2.0)
SEES_S = 0.8  # until nobody takes the number before a portion for the one after it
LOOKS_S = 1.0  # a number that has not changed for so long is believed
CONFIRM_S, CONFIRM_LOW_S = 1.0, 2.5
MUCH_S = 2.0  # of the jug's flow: less than that is poured slowly from the beginning
LONGEST_S = 90.0
LEARNED = 0.3  # how well the one with the digits knows his own tail
NAME = "poured"


@dataclass(frozen=True)
class Wanted:
    """One addition: its target and half its band, in grams, and the flows of this pour."""

    target_g: float
    half_g: float
    flow_g_s: float
    end_g_s: float


@dataclass(frozen=True)
class Poured:
    """How an addition ended: what is in beyond the target, and how long it took until it was done with."""

    off_g: float
    half_g: float
    seconds: float

    @property
    def is_out(self) -> bool:
        return abs(self.off_g) > self.half_g


def reaction_s(source: random.Random) -> float:
    return max(0.1, source.gauss(0.25, 0.04) + source.expovariate(1 / 0.08))


def usual_tail_s(parameters: ScaleParameters, stuff: Stuff) -> float:
    """What arrives after a decision, over the flow, on average: reaction, half the turn, fall, and the scale's lag."""
    shown_late_s = 0.5 / parameters.updates_per_s + 0.5 / parameters.lines_per_s
    lag_s = 2 * parameters.damping / parameters.natural_frequency_rad_s + shown_late_s
    return 0.25 + 0.08 + sum(TURNS_S) / 4 + stuff.fall_s + lag_s


class Hand:
    """The hand on the jug: what is decided happens after a reaction, and a change of flow takes a turn of the wrist."""

    def __init__(self, bench: PourBench, source: random.Random) -> None:
        self.bench = bench
        self.random = source
        self.flow_g_s = 0.0
        self._from_g_s = self._to_g_s = 0.0
        self._from_at, self._takes_s = 0.0, 1.0
        self._due: list[tuple[float, float]] = []

    def decide(self, flow_g_s: float) -> None:
        self._due.append((self.bench.at + reaction_s(self.random), flow_g_s))

    def step(self) -> None:
        at = self.bench.at
        while self._due and self._due[0][0] <= at:
            self._from_g_s, self._to_g_s = self.flow_g_s, self._due.pop(0)[1]
            self._from_at, self._takes_s = at, self.random.uniform(*TURNS_S)
        share = min(1.0, (at - self._from_at) / self._takes_s)
        self.flow_g_s = self._from_g_s + share * (self._to_g_s - self._from_g_s)
        self.bench.step(self.flow_g_s)

    @property
    def is_still(self) -> bool:
        return not self._due and self.flow_g_s == 0.0 == self._to_g_s


class Cook:
    """Weighs one addition after the other into the same bowl; `pours` is what the machine has learned meanwhile."""

    def __init__(self, bench: PourBench, source: random.Random) -> None:
        self.bench = bench
        self.random = source
        self.pours = Pours()
        self.base_mg = 0
        self.wanted = Wanted(100.0, 2.0, 30.0, 5.0)

    def weigh_anew(self, wanted: Wanted) -> Poured:
        """One addition, and the bowl is emptied."""
        poured = self.weigh(wanted)
        self.empty()
        return poured

    def empty(self) -> None:
        self.bench.empty()
        self.wait(1.0)

    def begin(self, wanted: Wanted) -> None:
        """From a weight at rest."""
        self.rest()
        self.wanted = wanted
        self.base_mg = self.resting_mg()

    def weigh(self, wanted: Wanted) -> Poured:
        """One addition, until it is in the band or over."""
        self.begin(wanted)
        bench = self.bench
        start_at, before_g = bench.at, bench.on_g
        while bench.at - start_at < LONGEST_S:
            missing_g = self.missing_g()
            if missing_g <= wanted.half_g + 1e-9:
                break
            if missing_g > max(SPOON_G, 4 * wanted.half_g):
                self.pour()
            else:
                self.portion(missing_g)
            self.rest()
        waited = self.confirm_s(self.missing_g())
        return Poured(bench.on_g - before_g - wanted.target_g, wanted.half_g, bench.at - start_at + waited)

    def missing_g(self) -> float:
        """As the number at rest says it."""
        return self.wanted.target_g - (self.resting_mg() - self.base_mg) / 1000

    def confirm_s(self, missing_g: float) -> float:
        """What is still to be waited until it is done with, once the weight is at rest."""
        raise NotImplementedError

    def resting_mg(self) -> int:
        raise NotImplementedError

    def said(self) -> Advice:
        """What is to be done now with the jug."""
        raise NotImplementedError

    def is_at_rest(self) -> bool:
        raise NotImplementedError

    def pour(self) -> None:
        hand, wanted = Hand(self.bench, self.random), self.wanted
        is_much = self.missing_g() > MUCH_S * wanted.flow_g_s
        hand.decide(wanted.flow_g_s if is_much else wanted.end_g_s)
        word: Advice = "pour freely" if is_much else "slow"
        while word != "stop":
            hand.step()
            self.look()
            now = self.said()
            if now in ("stop", "a little, then wait") and hand.flow_g_s > 0:
                hand.decide(0.0)
                word = "stop"
            elif now == "slow" and word == "pour freely":
                hand.decide(min(wanted.end_g_s, wanted.flow_g_s))
                word = "slow"
        while not hand.is_still:
            hand.step()
            self.look()

    def portion(self, missing_g: float) -> None:
        """A spoon or a pinch of what is missing, and a look at the number."""
        self.wait(self.random.uniform(*PORTION_S))
        self.bench.drop(missing_g * max(0.3, self.random.gauss(1.0, PORTION_ERROR)))
        self.wait(self.bench.stuff.fall_s + SEES_S)

    def rest(self) -> None:
        until = self.bench.at + 6.0
        while not self.is_at_rest() and self.bench.at < until:
            self.wait(STEP_S)

    def wait(self, seconds: float) -> None:
        until = self.bench.at + seconds
        while self.bench.at < until - 1e-9:
            self.bench.step()
            self.look()

    def look(self) -> None:
        """Take in what is shown now."""


class ToldCook(Cook):
    """Does what the machine says; the machine learns this ingredient's after-flow.

    `stopped` are the stops that were said in a pour, each with what was known of the tail then.
    """

    def __init__(self, bench: PourBench, source: random.Random) -> None:
        super().__init__(bench, source)
        self.stopped: list[tuple[Said, Tail]] = []
        self._is_pouring = False

    def pour(self) -> None:
        self._is_pouring = True
        super().pour()
        self._is_pouring = False

    def look(self) -> None:
        weight, wanted = self.bench.weight, self.wanted
        if weight.rest is not None:
            self.pours = self.pours.rested(weight)
            return
        band = (self._gross(wanted.target_g - wanted.half_g), self._gross(wanted.target_g + wanted.half_g))
        before = self.pours.said
        self.pours = self.pours.pouring(NAME, weight, self._gross(wanted.target_g), band)
        said = self.pours.said
        if self._is_pouring and said is not before and said is not None and said.word == "stop":
            self.stopped.append((said, self.pours.tail(NAME)))

    def _gross(self, mass_g: float) -> int:
        return round(self.base_mg + 1000 * mass_g)

    def said(self) -> Advice:
        return "pour freely" if self.pours.said is None else self.pours.said.word

    def is_at_rest(self) -> bool:
        return self.bench.weight.rest is not None

    def resting_mg(self) -> int:
        division = self.bench.weight.division_mg
        rest = self.bench.weight.rest
        return self.bench.weight.shown_mg if rest is None else round(rest.mass_mg / division) * division

    def confirm_s(self, missing_g: float) -> float:
        is_low = missing_g > self.wanted.half_g / 3
        rest = self.bench.weight.rest
        rested_s = 0.0 if rest is None else self.bench.at - rest.since
        return max(0.0, (CONFIRM_LOW_S if is_low else CONFIRM_S) - rested_s)


class DigitCook(Cook):
    """Sees the number, knows how fast the jug pours just now, and has learned how much still comes: to within 30 %.

    Slows down early enough that even a tail misjudged by so much does not reach the target, and turns the jug back
    when the number and what he reckons is still to come make the target.
    """

    def __init__(self, bench: PourBench, source: random.Random, tail_s: float) -> None:
        super().__init__(bench, source)
        self.tail_s = tail_s
        self._number = 0
        self._since = 0.0
        self._slowed = False

    def pour(self) -> None:
        self._slowed = self.missing_g() <= MUCH_S * self.wanted.flow_g_s
        super().pour()

    def look(self) -> None:
        shown_mg = self.bench.shown_mg
        if abs(shown_mg - self._number) > self.bench.scale.parameters.division_mg:
            self._number, self._since = shown_mg, self.bench.at

    def said(self) -> Advice:
        wanted = self.wanted
        missing_g = wanted.target_g - (self.bench.shown_mg - self.base_mg) / 1000
        flow = wanted.end_g_s if self._slowed else wanted.flow_g_s
        to_come_g = flow * self.tail_s
        if to_come_g >= missing_g:
            return "stop"
        is_hit = LEARNED * to_come_g <= wanted.half_g
        if not self._slowed and not is_hit and (1 + LEARNED) * to_come_g + wanted.end_g_s >= missing_g:
            self._slowed = True
        return "slow" if self._slowed else "pour freely"

    def is_at_rest(self) -> bool:
        return self.bench.at - self._since >= LOOKS_S

    def resting_mg(self) -> int:
        return self.bench.shown_mg

    def confirm_s(self, _missing_g: float) -> float:
        return 0.0
