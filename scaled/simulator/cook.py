"""A simulated cook: watches Snapshots as a person does, late, and acts with hands that are not exact.

Each thing that the cook does is a generator that yields once a moment (`act` is called some fifty times a second) and
so reads like what a person does: pour until told to stop, turn the jug back, wait for the number. The figures are
those of the table in `CookStyle`; every one is drawn from one seeded source.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from scaled.batch.inputs import Intent, TakeOffer, Wanted
from scaled.batch.snapshot import ShownAddition, Snapshot
from scaled.simulator.hands import EGG_SPLASH, Hands

Range = tuple[float, float]
Moments = Iterator[None]

LOOK_S = 0.1


@dataclass(frozen=True)
class CookStyle:
    """How a cook works. Flows and portions are assumed; the reaction is assumed as normal plus exponential (a simple
    reaction takes 231 ms on average: Woods et al. 2015, doi 10.3389/fnhum.2015.00131); an egg out of the shell is
    50 g (USDA SR28 01123), its spread assumed."""

    jug_g_s: Range = (10.0, 60.0)
    end_g_s: Range = (1.0, 10.0)
    spoon_g: Range = (2.0, 15.0)
    spoon_every_s: Range = (1.0, 3.0)
    pinch_g: Range = (0.2, 1.0)
    pinch_every_s: Range = (0.8, 1.6)
    turn_back_s: Range = (0.15, 0.4)
    think_s: Range = (0.8, 2.0)
    egg_sd_g: float = 4.0
    whims: float = 0.0
    portion_error: float = 0.08
    drops_g: dict[str, tuple[float, ...]] = field(default_factory=dict)
    """What falls in at once, by addition key: the pieces in order, for a scenario."""
    stock_g: dict[str, float] = field(default_factory=dict)
    """How much of an addition there is, by key."""
    eggs_g: dict[str, float] = field(default_factory=dict)
    """The mean piece of what comes in eggs, by addition key."""
    says_yes_by: Literal["press", "page", "nothing"] = "press"
    starts_again: bool = False  # a stage, where that is advised
    left_in: tuple[float, ...] = ()
    """What share stays in the vessel at the first tries to empty it; none at the later ones."""


class Cook:
    """One cook at the bench; `busy_s` is the time spent doing something rather than waiting for the machine.

    `send` hands an intent to the bench; `see` tells the newest Snapshot; `act` moves on.
    """

    def __init__(self, hands: Hands, style: CookStyle, source: random.Random, send: Callable[[Intent], object]) -> None:
        self.hands = hands
        self.style = style
        self.random = source
        self.send = send
        self.at = 0.0
        self.step_s = 0.0
        self.busy_s = 0.0
        self.did: list[str] = []
        self._seen: deque[tuple[float, Snapshot]] = deque(maxlen=400)
        self._drops = {key: list(masses) for key, masses in style.drops_g.items()}
        self._left_in = list(style.left_in)
        self._work: Moments = iter(())
        self._is_idle = True

    def see(self, snapshot: Snapshot) -> None:
        """The page shows something new."""
        self._seen.append((self.at, snapshot))

    def act(self, at: float) -> None:
        """Do what a cook does in this moment."""
        self.step_s, self.at = at - self.at, at
        if not self._seen:
            return
        if not self._is_idle:
            self.busy_s += self.step_s
        try:
            next(self._work)
        except StopIteration:
            chosen = self._next_work()
            self._is_idle = chosen is None
            self._work = self._pause(LOOK_S) if chosen is None else chosen

    def startle(self) -> None:
        """Something happens: whatever was being done is let go."""
        self._work = self._pause(1.0)

    def newest(self, late_s: float = 0.0) -> Snapshot:
        """The newest Snapshot that was there `late_s` ago."""
        for seen_at, snapshot in reversed(self._seen):
            if seen_at <= self.at - late_s:
                return snapshot
        return self._seen[0][1]

    def _draw(self, bounds: Range) -> float:
        return self.random.uniform(*bounds)

    def _reaction_s(self) -> float:
        """Normal plus exponential: mu 0.25, sigma 0.04, tau 0.08 s (assumed)."""
        return max(0.1, self.random.gauss(0.25, 0.04) + self.random.expovariate(1 / 0.08))

    def _pause(self, seconds: float) -> Moments:
        until = self.at + seconds
        while self.at < until:
            yield

    def _next_work(self) -> Moments | None:
        """What this moment asks for, first match; None where there is nothing to do but to look."""
        snapshot = self.newest()
        addition = snapshot.addition
        if snapshot.batch is None or addition is None or snapshot.batch.state != "running":
            return None
        if snapshot.cue.word in ("scale lost", "held"):
            return None
        if addition.phase == "asking":
            return self._answer(snapshot)
        if snapshot.cue.word == "empty vessel":
            return self._empty_vessel()
        if addition.phase == "vessel off":
            return self._set_vessel(snapshot, addition)
        if snapshot.cue.word == "take out":
            return self._spoon_out(addition)
        if addition.phase in ("waiting", "under"):
            return self._add(addition)
        return None

    # The vessel.

    def _vessel_of(self, addition: ShownAddition, snapshot: Snapshot) -> str:
        is_in_tubs = snapshot.cue.spoken is not None and snapshot.cue.spoken.phrase == "put a tub on"
        return addition.key if is_in_tubs or addition.key in self.hands.vessels else "bowl"

    def _set_vessel(self, snapshot: Snapshot, addition: ShownAddition) -> Moments:
        yield from self._pause(self._draw(self.style.think_s))
        if self.hands.standing is not None:
            weight = self.newest().weight
            if weight is None or not weight.is_settled:  # nobody lifts a bowl while the number still runs
                yield from self._pause(LOOK_S)
                return
            self.hands.lift_vessel(self.at)
            yield from self._pause(self._draw((1.0, 2.0)))
        self.hands.put_vessel(self._vessel_of(addition, snapshot), self.at)
        yield from self._pause(1.5)

    def _empty_vessel(self) -> Moments:
        """Lift it, empty it more or less, put it back."""
        yield from self._pause(self._draw(self.style.think_s))
        name = self.hands.standing
        if name is None or self.newest().cue.word != "empty vessel":
            return
        self.hands.lift_vessel(self.at)
        yield from self._pause(self._draw((3.0, 8.0)))
        self.hands.empty_vessel(name, self._left_in.pop(0) if self._left_in else 0.0)
        self.hands.put_vessel(name, self.at)
        yield from self._pause(3.0)

    # Questions.

    def _answer(self, snapshot: Snapshot) -> Moments:
        yield from self._pause(self._draw((1.3, 2.5)))
        addition = self.newest().addition
        if addition is None or self.newest().offers != snapshot.offers:
            return
        if self.hands.standing is None:
            self.hands.put_vessel(self._vessel_of(addition, snapshot), self.at)
        elif snapshot.cue.word == "lift vessel":
            yield from self._lift_and_put_back()
        elif self.style.starts_again and snapshot.start_again is not None:
            self.send(Wanted(self.at, "start again"))
        elif self.style.says_yes_by == "nothing":
            yield from self._pause(LOOK_S)
        elif snapshot.offers and self.style.says_yes_by == "press":
            self.hands.press(self._draw((200.0, 400.0)), self.at)
        elif snapshot.offers:
            self.send(TakeOffer(self.at, 0, snapshot.seq))
        else:
            self.send(Wanted(self.at, "next"))
        yield from self._pause(3.0)

    def _lift_and_put_back(self) -> Moments:
        name = self.hands.standing
        if name is None:
            return
        self.hands.lift_vessel(self.at)
        yield from self._pause(self._draw((2.0, 4.0)))
        self.hands.put_vessel(name, self.at)
        yield from self._pause(1.5)

    # Adding.

    def _add(self, addition: ShownAddition) -> Moments:
        if self.random.random() < self.style.whims:
            yield from self._whim()
            return
        yield from self._pause(self._draw(self.style.think_s))
        seen = self.newest().addition
        if seen is None or seen.key != addition.key or seen.phase not in ("waiting", "under"):
            return
        missing_g = float(seen.remaining_mg) / 1000
        left_g = self._left_g(addition.key)
        if left_g <= 0:
            self.send(Wanted(self.at, "next"))
            yield from self._pause(2.0)
        elif self._drops.get(addition.key):
            yield from self._drop(addition.key, self._drops[addition.key].pop(0))
        elif addition.key in self.style.eggs_g and missing_g > 0.6 * self.style.eggs_g[addition.key]:
            mean_g = self.style.eggs_g[addition.key]
            yield from self._drop(addition.key, self.random.gauss(mean_g, self.style.egg_sd_g * mean_g / 50))
        elif missing_g > 60:
            yield from self._pour(seen)
        elif missing_g > 6:
            yield from self._portion(seen, self.style.spoon_g, self.style.spoon_every_s)
        else:
            yield from self._portion(seen, self.style.pinch_g, self.style.pinch_every_s)

    def _left_g(self, key: str) -> float:
        used_g = self.hands.true_g.get(key, 0.0) + self.hands.thrown_g.get(key, 0.0)
        return self.style.stock_g.get(key, float("inf")) - used_g

    def _drop(self, key: str, mass_g: float) -> Moments:
        self.hands.drop(key, mass_g, self.at, self._draw(EGG_SPLASH))
        yield from self._pause(2.5)

    def _pour(self, addition: ShownAddition) -> Moments:
        """From the jug: freely, then slowly, until told to stop or nothing is left; then it is turned back."""
        key, late_s = addition.key, self._reaction_s()
        fast, slow = self._draw(self.style.jug_g_s), self._draw(self.style.end_g_s)
        started = self.at
        rate = fast
        while self._is_pouring(key, late_s, started):
            seen = self.newest(late_s)
            missing_g = float(seen.addition.remaining_mg) / 1000 if seen.addition else 0.0
            rate = slow if seen.cue.word == "slow" or missing_g < 1.5 * fast else fast
            self._flow(key, rate)
            yield
        until = self.at + self._draw(self.style.turn_back_s)
        while self.at < until:
            self._flow(key, rate * (until - self.at) / self.style.turn_back_s[1])
            yield
        yield from self._pause(self._draw((1.5, 2.2)))

    def _flow(self, key: str, rate_g_s: float) -> None:
        self.hands.add(key, min(rate_g_s * self.step_s, max(0.0, self._left_g(key))), self.at)

    def _is_pouring(self, key: str, late_s: float, started: float) -> bool:
        seen = self.newest(late_s)
        if seen.addition is None or seen.addition.key != key or self._left_g(key) <= 0:
            return False
        if self.at - started < late_s + 0.3:
            return True
        return seen.cue.word not in (
            "stop",
            "a little, then wait",
            "in band",
            "over",
            "choose",
            "scale lost",
            "put back",
        )

    def _portion(self, addition: ShownAddition, portion_g: Range, every_s: Range) -> Moments:
        """One spoon or pinch, a bit less than what is missing at the end, then a look at the number."""
        missing_g = float(addition.remaining_mg) / 1000
        wanted_g = min(self._draw(portion_g), max(missing_g, 0.02))
        mass_g = wanted_g * max(0.3, self.random.gauss(1.0, self.style.portion_error))
        mass_g = min(mass_g, max(0.0, self._left_g(addition.key)))
        self.hands.add(addition.key, mass_g, self.at, fall_s=0.1)
        is_last = mass_g > 0.8 * missing_g
        yield from self._pause(2.6 if is_last else self._draw(every_s))

    def _spoon_out(self, addition: ShownAddition) -> Moments:
        yield from self._pause(self._draw(self.style.think_s))
        seen = self.newest()
        if seen.addition is None or seen.addition.key != addition.key:
            return
        excess_g = -float(seen.addition.remaining_mg) / 1000
        if excess_g > 0:
            self.hands.add(addition.key, -min(excess_g, self._draw(self.style.spoon_g)), self.at, fall_s=0.0)
        yield from self._pause(2.6)

    # What else happens at a bench.

    def _whim(self) -> Moments:
        whim = self.random.choice(("whisk", "lift", "press"))
        self.did.append(whim)
        if whim == "whisk":
            lasts_s = self._draw((2.0, 5.0))
            self.hands.lay(self._draw((60.0, 120.0)), self.at, lasts_s)
            yield from self._pause(lasts_s + 2.0)
        elif whim == "lift":
            yield from self._lift_and_put_back()
        else:
            self.hands.press(self._draw((150.0, 500.0)), self.at)
            yield from self._pause(2.0)
