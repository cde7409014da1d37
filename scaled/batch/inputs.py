"""Everything that can reach the machine: what the scale means, the passing of time, and what the cook wants.

Each input carries `at`, monotonic seconds of the bench. Intents come from the page, the pedal, the buttons and a
press on the scale alike; the machine does not know which.
"""

from __future__ import annotations

import typing
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from scaled.batch.events import BenchFacts
from scaled.formula.values import Formula, Product
from scaled.weighing.values import Weight

Wish = Literal["next", "back", "later", "hold", "resume", "abort", "close stage", "repeat", "start again"]
WISHES: tuple[Wish, ...] = typing.get_args(Wish)


@dataclass(frozen=True, slots=True)
class WeightSeen:
    at: float
    weight: Weight


@dataclass(frozen=True, slots=True)
class ScaleLost:
    """The scale says nothing any more: unplugged, silent, or garbled beyond reading."""

    at: float


@dataclass(frozen=True, slots=True)
class ScaleBack:
    at: float


@dataclass(frozen=True, slots=True)
class Tick:
    """Time passes, 5 times a second, whether the line speaks or not."""

    at: float


@dataclass(frozen=True, slots=True)
class StartBatch:
    at: float
    formula: str
    factor: Fraction


@dataclass(frozen=True, slots=True)
class Wanted:
    """A plain wish of the cook."""

    at: float
    wish: Wish


@dataclass(frozen=True, slots=True)
class TakeOffer:
    """Take the offer at `index` (as the Snapshot numbers them); `seq` is the Snapshot's in which it was seen."""

    at: float
    index: int
    seq: int | None = None


@dataclass(frozen=True, slots=True)
class NameLot:
    """`ingredient` is an addition's key or its ingredient's name, or a word of it that fits only one."""

    at: float
    ingredient: str
    lot: str


@dataclass(frozen=True, slots=True)
class UseProduct:
    """Weigh `product` for what is still to come of an addition; `is_yes`: whatever allergens it brings."""

    at: float
    ingredient: str
    product: str
    is_yes: bool = False


@dataclass(frozen=True, slots=True)
class SwapProduct:
    """A `UseProduct` with what is known of the product looked up; only this reaches the machine."""

    at: float
    ingredient: str
    product: Product
    is_yes: bool = False


@dataclass(frozen=True, slots=True)
class BeginBatch:
    """A `StartBatch` with what its names stand for looked up; only this reaches the machine."""

    at: float
    batch: str
    formula: Formula
    factor: Fraction
    bench: BenchFacts


@dataclass(frozen=True, slots=True)
class Restarted:
    """The bench was started anew and found this batch open; after another boot its seconds count from elsewhere."""

    at: float
    is_same_boot: bool = True


Intent = StartBatch | Wanted | TakeOffer | NameLot | UseProduct
Input = WeightSeen | ScaleLost | ScaleBack | Tick | Wanted | TakeOffer | NameLot | SwapProduct | BeginBatch | Restarted
