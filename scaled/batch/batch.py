"""A batch as its events left it: what is in, at which factor, what is open, what is asked.

`Batch` is never stored, only folded from events by `scaled.batch.apply`; everything here is read from it. Masses are
whole mg, `reference_mg` is the gross at which the open weighing began, so that its net is gross minus reference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, wraps
from typing import TypeVar, cast

from scaled.batch.events import BenchFacts, Doubt
from scaled.batch.snapshot import BatchState, WeighingKind
from scaled.formula.advice import Advice
from scaled.formula.situation import Offer
from scaled.formula.values import Addition, Formula, Product

T = TypeVar("T")


@dataclass(frozen=True)
class Content:
    """What is in of one addition. `is_kept`: it was left outside its band on purpose; `has_run_out`: no more of it."""

    key: str
    in_mg: int = 0
    is_in: bool = False
    weighings: int = 0
    mends: int = 0
    is_kept: bool = False
    has_run_out: bool = False


@dataclass(frozen=True)
class Weighing:
    """An act of weighing: the addition itself, more of one that is in, or some of it taken out."""

    key: str
    kind: WeighingKind


@dataclass(frozen=True)
class Question:
    """An addition landed outside its band; `net_mg` since it was opened, the rest as in `OffersMade`."""

    key: str
    net_mg: int
    gross_mg: int
    settled_at: float
    offers: tuple[Offer, ...]
    asked_at: float
    advice: Advice | None = None
    more_water: Fraction | None = None


@dataclass(frozen=True)
class Swap:
    """Another product is weighed for what is still to come of an addition, after `in_mg` of what was weighed before."""

    key: str
    product: Product
    in_mg: int


@dataclass(frozen=True)
class Doubted:
    doubt: Doubt
    gross_mg: int
    raised_at: float


@dataclass(frozen=True)
class Confirmed:
    """The newest confirmation: late grains belong to it for a while."""

    key: str
    at: float
    gross_mg: int


@dataclass(frozen=True)
class Corrected:
    """An offer was taken about this addition: the factor and the shares (see `Batch.shares`) as they were before it."""

    key: str
    factor: Fraction
    shares: tuple[tuple[str, Fraction], ...]


@dataclass(frozen=True)
class Emptying:
    """A stage is started again and the vessel is to be emptied: what was in it, mg by addition key."""

    stage: str
    thrown_mg: tuple[tuple[str, int], ...]

    @property
    def mass_mg(self) -> int:
        return sum(mass_mg for _key, mass_mg in self.thrown_mg)


@dataclass(frozen=True)
class Batch:
    """A batch in the making, or as it ended.

    It never changes, so what follows from it is worked out once and kept with it: it is asked for with each reading.

    Attributes:
        factor: that of now; `planned` is the one that the limits are multiples of, `ordered` the one it began with.
        order: the keys of what is weighed, in the present order.
        correcting: the weighings of a correction that are still to do.
        reference_mg: the gross at which the open weighing began; None while its vessel does not stand yet.
        vessel_mg: the gross of the empty vessel; None while none stands.
        vessel: its name, where it is known by its weight.
        standing_mg: the gross of a vessel that is done with and has not been lifted yet.
        plate_mg: the gross of the empty plate: 0 until the scale's zero is lost with something on it, None where that
            was before we knew.
        poured: the keys of what was weighed first, in a tub of its own, and is in the bowl by now.
        shares: by key, the share of its nominal weight to which a rebalancing changed what was not in yet.
        corrected: the offers taken, oldest first.
        emptying: while it stands the vessel is awaited at `reference_mg`, which is its empty weight again.
        before_yes: the batch as it was when a question was answered, until the first gram of the new plan is in.
    """

    id: str
    formula: Formula
    factor: Fraction
    planned: Fraction
    ordered: Fraction
    facts: BenchFacts
    started_at: float
    order: tuple[str, ...]
    contents: tuple[Content, ...]
    state: BatchState = "running"
    correcting: tuple[Weighing, ...] = ()
    reference_mg: int | None = None
    vessel_mg: int | None = None
    vessel: str | None = None
    standing_mg: int | None = None
    plate_mg: int | None = 0
    question: Question | None = None
    doubted: Doubted | None = None
    confirmed: Confirmed | None = None
    closed: frozenset[str] = frozenset()
    poured: frozenset[str] = frozenset()
    shares: tuple[tuple[str, Fraction], ...] = ()
    lots: tuple[tuple[str, str], ...] = ()
    swaps: tuple[Swap, ...] = ()
    corrected: tuple[Corrected, ...] = ()
    emptying: Emptying | None = None
    before_yes: Batch | None = field(default=None, repr=False)

    @property
    def is_open(self) -> bool:
        return self.state in ("running", "held")

    @cached_property
    def weighing(self) -> Weighing | None:
        """The weighing that is open; None when all is in."""
        if self.correcting:
            return self.correcting[0]
        apart = self._next_to_pour_in()
        if apart is not None:
            return Weighing(apart, "pour in")
        for key in self.order:
            if not self.content(key).is_in:
                return Weighing(key, "addition")
        return None

    def _next_to_pour_in(self) -> str | None:
        """The key of what was weighed first and whose place in the bowl has come."""
        for addition in self.formula.weighed:
            content = self.content(addition.key)
            if not content.is_in:
                return None
            if self.is_apart(addition) and self.formula.stage(addition.stage).vessel == "one bowl":
                return addition.key
        return None

    @cached_property
    def addition(self) -> Addition | None:
        """The addition that the open weighing is of."""
        weighing = self.weighing
        return None if weighing is None else self.formula.addition(weighing.key)

    @cached_property
    def last_in(self) -> str | None:
        """The key of the addition that went in last, in the present order."""
        keys = [key for key in self.order if self.content(key).is_in]
        return keys[-1] if keys else None

    @cached_property
    def contents_mg(self) -> int:
        return sum(c.in_mg for c in self.contents)

    @property
    def stage_to_start_again(self) -> str | None:
        """The stage that a good cook would start again, by the question that stands."""
        advice = None if self.question is None else self.question.advice
        return None if advice is None else advice.start_again

    def content(self, key: str) -> Content:
        """What is in of the addition with this key; raises KeyError."""
        return self._content_by_key[key]

    @cached_property
    def _content_by_key(self) -> dict[str, Content]:
        return {content.key: content for content in self.contents}

    def product_of(self, key: str) -> Product | None:
        """The product that is weighed now for this addition; None: what the formula names."""
        return self._product_by_key.get(key)

    @cached_property
    def _product_by_key(self) -> dict[str, Product]:
        return {swap.key: swap.product for swap in self.swaps}  # the newest of a key stays

    def name_of(self, addition: Addition) -> str:
        """What is weighed now for an addition, by name."""
        product = self.product_of(addition.key)
        return addition.ingredient if product is None else product.name

    def is_in_tubs(self, addition: Addition) -> bool:
        return self.is_apart(addition) or self.formula.stage(addition.stage).vessel == "separate tubs"

    def share_of(self, addition: Addition) -> Fraction:
        """How much of its nominal weight is wanted: 1 but for what a rebalancing changed."""
        return dict(self.shares).get(addition.key, Fraction(1))

    def target_mg(self, addition: Addition) -> Fraction:
        """The exact target at the present factor, in mg."""
        known = self._targets_mg.get(addition.key)
        if known is None:
            known = self._targets_mg[addition.key] = addition.target_mg(self.factor * self.share_of(addition))
        return known

    def band_mg(self, addition: Addition) -> tuple[int, int]:
        """The band at the present factor, in whole mg, both ends included."""
        known = self._bands_mg.get(addition.key)
        if known is None:
            known = self._bands_mg[addition.key] = addition.band_mg(self.factor * self.share_of(addition))
        return known

    @cached_property
    def _targets_mg(self) -> dict[str, Fraction]:
        return {}

    @cached_property
    def _bands_mg(self) -> dict[str, tuple[int, int]]:
        return {}

    @cached_property
    def needs_a_tub(self) -> bool:
        """The open weighing is done in a tub of its own."""
        weighing, addition = self.weighing, self.addition
        if weighing is None or addition is None or weighing.kind == "pour in":
            return False
        return self.is_in_tubs(addition)

    def is_apart(self, addition: Addition) -> bool:
        """It is weighed first, in a tub of its own, and has not been poured in yet."""
        return addition.is_weighed_first and addition.key not in self.poured

    def with_content(self, content: Content) -> Batch:
        return replace(self, contents=tuple(content if c.key == content.key else c for c in self.contents))

    def opened(self, standing: str | None = None) -> Batch:
        """Where the next weighing has a tub of its own, none stands yet; `standing` is the key whose tub is on."""
        weighing, addition = self.weighing, self.addition
        if weighing is None or addition is None or (addition.key == standing and weighing.kind != "pour in"):
            return self
        stands_apart = standing is not None and self.is_apart(self.formula.addition(standing))
        if not stands_apart and not self.needs_a_tub:
            return self
        return replace(self, reference_mg=None, vessel_mg=None, vessel=None, standing_mg=self.reference_mg)

    def net_mg(self, gross_mg: int) -> int:
        """What the open weighing has gained since it was opened; 0 where no vessel stands."""
        return 0 if self.reference_mg is None else gross_mg - self.reference_mg

    def total_mg(self, gross_mg: int) -> int:
        """All of the open addition that is in the vessel at this gross."""
        weighing = self.weighing
        return self.net_mg(gross_mg) + (self.content(weighing.key).in_mg if weighing else 0)


def once_a_batch(work: Callable[[Batch], T]) -> Callable[[Batch], T]:
    """`work`, done once for each batch and kept with it, since a batch never changes."""
    name = f"{work.__module__}.{work.__qualname__}"

    @wraps(work)
    def kept(batch: Batch) -> T:
        if name not in batch.__dict__:
            batch.__dict__[name] = work(batch)
        return cast(T, batch.__dict__[name])

    return kept
