"""The machine with a plate under it: loads are put on, time goes by in readings, events are looked at.

The readings are clean (10 a second, steps without noise), so that a test says exactly what happens when; the noise of
the world is the business of the simulated kitchen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.envelope import FIRST_CHAIN, Envelope, chained
from scaled.batch.events import BenchFacts, Event
from scaled.batch.inputs import (
    BeginBatch,
    Input,
    NameLot,
    Restarted,
    ScaleBack,
    ScaleLost,
    TakeOffer,
    Tick,
    Wanted,
    WeightSeen,
)
from scaled.batch.record import record_from, record_json
from scaled.batch.snapshot import Snapshot, snapshot_json
from scaled.batch.step import step
from scaled.batch.view import snapshot_of
from scaled.formula.values import Addition, Formula, Side, Stage, Tolerance
from scaled.weighing import Reading, Weigher, WeigherSettings

STEP_S = 0.1
BOWL_G = 812.0


def percent(amount: float) -> Tolerance:
    side = Side(Fraction(str(amount)) / 100, is_relative=True)
    return Tolerance(side, side)


def grams(amount: float) -> Tolerance:
    side = Side(Fraction(str(amount)) * 1000, is_relative=False)
    return Tolerance(side, side)


def addition(name: str, weight_g: float, tolerance: Tolerance, stage: str, **more: object) -> Addition:
    return Addition(name, stage, name, "weighed", Fraction(str(weight_g)) * 1000, tolerance, **more)  # type: ignore[arg-type]


DOUGH = Formula(
    stem="oat-dough",
    title="Oat dough",
    stages=(
        Stage(
            "dry",
            (
                addition("oat flour", 240, percent(1), "dry"),
                addition("salt", 3, grams(0.3), "dry", role="salt"),
                addition("butter", 220, percent(1), "dry"),
            ),
        ),
        Stage("creamed", (addition("whole egg", 50, percent(2), "creamed", egg="whole", share_out=Fraction(0)),)),
    ),
    pieces=Fraction(8),
    limits=(Fraction(1, 2), Fraction(2)),
)


def stiff(formula: Formula) -> Formula:
    """Nothing comes out of the bowl, and what is dear comes last: too much of the first is best thrown away."""
    prices = {"oat flour": Fraction(1), "salt": Fraction(1), "butter": Fraction(14), "whole egg": Fraction(5)}
    stages = tuple(
        replace(
            stage,
            additions=tuple(replace(a, share_out=Fraction(0), price_per_kg=prices[a.key]) for a in stage.additions),
        )
        for stage in formula.stages
    )
    return replace(formula, stages=stages)


def in_tubs(formula: Formula) -> Formula:
    stages = tuple(replace(stage, vessel="separate tubs") for stage in formula.stages)
    return replace(formula, stages=stages, vessel="separate tubs")


FACTS = BenchFacts("bench", 100, 30.0, capacity_mg=6_000_000)


class Plate:
    """The bench of a test. Loads in grams; `events` are all that happened, in order."""

    def __init__(self, formula: Formula = DOUGH, facts: BenchFacts = FACTS, factor: Fraction = Fraction(1)) -> None:
        self.at = 0.0
        self.load_g = 0.0
        self.zero_g = 0.0
        self.batch: Batch | None = None
        self.bench = Bench()
        self.weigher = Weigher(WeigherSettings(division_mg=facts.division_mg))
        self.events: list[Event] = []
        self.envelopes: list[Envelope] = []
        self.boot = "first boot"
        self.after_each: Callable[[Event], None] = lambda _event: None
        self.refused: str | None = None
        self.formula, self.factor, self.facts = formula, factor, facts
        self.begin("b1")

    # What happens.

    def begin(self, batch: str) -> Plate:
        """Begin a batch of the formula."""
        self.take(BeginBatch(self.at, batch, self.formula, self.factor, self.facts))
        return self

    def take(self, given: Input) -> None:
        taken = step(self.batch, self.bench, given)
        self.batch, self.bench = taken.batch, taken.bench
        self.refused = taken.refusal.why if taken.refusal else None
        for event in taken.events:
            self.events.append(event)
            plain = Envelope(
                "bench", len(self.events), self.batch.id, self.boot, f"2026-11-24T10:00:{self.at:06.3f}+00:00", event
            )
            self.envelopes.append(chained(plain, self.envelopes[-1].chain if self.envelopes else FIRST_CHAIN))
            self.after_each(event)

    def rest(self, seconds: float = 3.0) -> Plate:
        """Time goes by with the load as it is."""
        for _ in range(round(seconds / STEP_S)):
            self.reading(self.load_g)
        return self

    def reading(self, shown_g: float) -> None:
        self.at = round(self.at + STEP_S, 6)
        value_mg = round(round((shown_g - self.zero_g) * 10) * 100)
        self.take(WeightSeen(self.at, self.weigher.see(Reading(self.at, value_mg, shown_division_mg=100))))

    def add(self, mass_g: float, rest_s: float = 3.0) -> Plate:
        """More on the plate, over half a second, then rest."""
        for share in (0.2, 0.4, 0.6, 0.8, 1.0):
            self.reading(self.load_g + share * mass_g)
        self.load_g += mass_g
        return self.rest(rest_s)

    def set_bowl(self) -> Plate:
        self.rest(1.0)
        return self.add(BOWL_G)

    def press(self, push_g: float = 200.0) -> Plate:
        for share in (0.3, 0.8, 1.0, 0.8, 0.3):
            self.reading(self.load_g + share * push_g)
        return self

    def silence(self, seconds: float) -> Plate:
        self.take(ScaleLost(self.at))
        self.at = round(self.at + seconds, 6)
        self.take(ScaleBack(self.at))
        self.weigher.lost()
        return self

    def ticks(self, seconds: float) -> Plate:
        for _ in range(round(seconds / 0.2)):
            self.at = round(self.at + 0.2, 6)
            self.take(Tick(self.at))
        return self

    def wish(self, wish: str) -> Plate:
        self.take(Wanted(self.at, wish))  # type: ignore[arg-type]
        return self

    def choose(self, index: int) -> Plate:
        self.take(TakeOffer(self.at, index))
        return self

    def lot(self, ingredient: str, lot: str) -> Plate:
        self.take(NameLot(self.at, ingredient, lot))
        return self

    def restart(self) -> Plate:
        """The daemon is killed and starts anew: bench and filter are gone, the batch is folded from its events."""
        self.bench = Bench()
        self.weigher.lost()
        self.take(Restarted(self.at))
        return self

    def reboot(self) -> Plate:
        """The machine was switched off and on: its seconds begin again."""
        self.bench, self.at, self.boot = Bench(), 5.0, f"{self.boot} and another"
        self.weigher.lost()
        self.take(Restarted(self.at, is_same_boot=False))
        return self

    # What is seen.

    @property
    def snapshot(self) -> Snapshot:
        return snapshot_of(self.batch, self.bench, seq=1, wall="2026-11-24T10:00:00+00:00", scale="bench")

    @property
    def seen(self) -> dict[str, object]:
        return snapshot_json(self.snapshot)

    @property
    def phase(self) -> str:
        shown = self.snapshot.addition
        return shown.phase if shown else "none"

    @property
    def open(self) -> str:
        shown = self.snapshot.addition
        return shown.key if shown else "none"

    @property
    def offers(self) -> list[str]:
        return [shown.offer.offer for shown in self.snapshot.offers]

    @property
    def named(self) -> list[str]:
        """The events by name."""
        return [type(event).__name__ for event in self.events]

    def in_g(self, key: str) -> float:
        assert self.batch is not None
        return self.batch.content(key).in_mg / 1000

    @property
    def record(self) -> dict[str, object]:
        return record_json(record_from(self.envelopes))


def to_the_egg(plate: Plate) -> Plate:
    """Everything in but the egg."""
    return plate.set_bowl().add(240).add(3).add(220)
