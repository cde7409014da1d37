"""What a correction starts from: for each addition what is in, what can come out and what can still be added.

`situation_of` builds it from a formula and what a cook says is in; the machine builds the same value from a running
batch. The solver (`formula.correct`) reads nothing else.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from scaled.formula.values import Addition, Composition, Formula, Stage, Tolerance

Mixing = Literal["tubs", "mixed"]

MOST_UP_UNKEPT = Fraction(103, 100)  # what is whipped falls together while more is weighed (common practice)


@dataclass(frozen=True)
class Content:
    """One addition as it is asked for and as it stands. Masses in mg, exact.

    `in_mg` is what is in the bowl (0 and `is_in` False where it is not in yet), `out_mg` how much of that can come
    out, `more_mg` how much can still be added (None: enough). `tolerance` None: weighed by feel, drives nothing.
    """

    addition: Addition
    in_mg: Fraction
    is_in: bool
    out_mg: Fraction
    more_mg: Fraction | None

    def __post_init__(self) -> None:
        if self.addition.is_told or self.in_mg < 0 or self.out_mg < 0 or self.out_mg > self.in_mg:
            raise ValueError(f"{self.key}: impossible content {self}")
        if self.more_mg is not None and self.more_mg < 0:
            raise ValueError(f"{self.key}: less than nothing to hand")

    @property
    def key(self) -> str:
        return self.addition.key

    @property
    def weight_mg(self) -> Fraction:
        return self.addition.nominal_mg

    @property
    def tolerance(self) -> Tolerance | None:
        return self.addition.tolerance

    @property
    def is_tight(self) -> bool:
        return self.addition.is_tight

    @property
    def price_per_kg(self) -> Fraction | None:
        return self.addition.price_per_kg

    @property
    def composition(self) -> Composition | None:
        return self.addition.composition

    @property
    def is_flour(self) -> bool:
        return self.addition.is_flour or self.addition.role == "flour"

    def is_off(self, factor: Fraction) -> bool:
        """Whether what is in lies outside its band at a factor."""
        if self.tolerance is None or not self.is_in:
            return False
        target = self.weight_mg * factor
        return not self.tolerance.lo_mg(target) <= self.in_mg <= self.tolerance.hi_mg(target)


@dataclass(frozen=True)
class Situation:
    """A bowl (or set of tubs) that is to be brought into proportion.

    `factor` is the factor before; `limits` the absolute least and largest factor (the formula's limits times the
    factor planned); `capacity_mg` what the bowl may hold in all; `step` the least by which a scale up must raise the
    factor (0 outside the machine); `pieces` what factor 1 makes; `most_up` the largest factor that a scale up may reach
    where that is less than the limits allow (None: it is not), since the product does not keep.
    """

    contents: tuple[Content, ...]
    factor: Fraction
    limits: tuple[Fraction, Fraction]
    capacity_mg: Fraction | None = None
    pieces: Fraction | None = None
    step: Fraction = Fraction(0)
    most_up: Fraction | None = None

    def __post_init__(self) -> None:
        if not 0 < self.limits[0] <= self.limits[1]:
            raise ValueError(f"limits of the factor run from low to high: {self.limits}")
        if self.factor <= 0 or self.step < 0:
            raise ValueError(f"a factor is above 0 and a step is not below it: {self.factor}, {self.step}")
        if self.capacity_mg is not None and self.capacity_mg < 0:
            raise ValueError(f"a bowl holds something or nothing, not {self.capacity_mg} mg")
        if self.pieces is not None and self.pieces <= 0:
            raise ValueError(f"a formula makes more than no pieces, not {self.pieces}")


@dataclass(frozen=True)
class Offer:
    """One way out. `bowl_mg` is in the order of the contents, whole mg.

    `extra_mass_mg` against the targets at the factor before; `extra_weighings` the top-ups and takings out;
    `worst_deviation` max |b/(f w) - 1|, exact; `makes` the factor times the pieces; `cost` extra money, None where a
    price is not known.
    """

    offer: str
    factor: Fraction
    bowl_mg: tuple[int, ...]
    extra_mass_mg: Fraction
    extra_weighings: int
    taken_out_mg: int
    worst_deviation: Fraction
    makes: Fraction | None
    cost: Fraction | None


@dataclass(frozen=True)
class Correction:
    """The feasible factors (None where there is none) and the offers, the recommended one first."""

    factor_range: tuple[Fraction, Fraction] | None
    offers: tuple[Offer, ...]


def situation_of(
    formula: Formula,
    in_mg: Mapping[str, Fraction],
    *,
    factor: Fraction = Fraction(1),
    closed: Collection[str] = (),
    stock_mg: Mapping[str, Fraction] | None = None,
    capacity_mg: Fraction | None = None,
    mixing: Mixing | None = None,
) -> Situation:
    """The situation that a cook tells: what was weighed, what is to hand, which stages are closed.

    Args:
        formula: as written.
        in_mg: mass that is in, by addition key. What is not named is in at its target when it comes before the last
            one named, and not in yet when it comes after it.
        factor: the factor before; the formula's limits are multiples of it.
        closed: names of the stages that are closed.
        stock_mg: what is to hand beside what is in, by addition key; not named: enough.
        capacity_mg: what the bowl, or all tubs together, may hold.
        mixing: "tubs": everything can come out, of closed stages too (what is not late still takes no more);
            "mixed": nothing can; None: as the formula's vessels say. From a tub of its own all of it comes out until
            its stage is closed; from the bowl the share that its form lets out of the last addition, until its stage
            is closed.

    Raises:
        KeyError: a key that is no weighed addition, a stage that the formula does not have.
    """
    stock_mg = stock_mg or {}
    keys = [addition.key for addition in formula.weighed]
    for key in (*in_mg, *stock_mg):
        if key not in keys:
            raise KeyError(key)
    stages = {formula.stage(name).name for name in closed}
    last_in = max((keys.index(key) for key in in_mg), default=-1)
    in_order = [(stage, addition) for stage in formula.stages for addition in stage.additions if not addition.is_told]
    in_bowl = [i for i, (stage, _) in enumerate(in_order) if stage.vessel == "one bowl" and i <= last_in]
    contents = []
    for i, (stage, addition) in enumerate(in_order):
        is_in, is_closed = i <= last_in, stage.name in stages
        mass = in_mg.get(addition.key, addition.target_mg(factor)) if is_in else Fraction(0)
        share = _share_out(stage, addition, mixing, is_closed=is_closed, is_top=bool(in_bowl) and i == in_bowl[-1])
        more = Fraction(0) if is_closed and not stage.is_late else stock_mg.get(addition.key)
        contents.append(Content(addition, mass, is_in, out_mg=mass * share, more_mg=more))
    low, high = formula.limits
    return Situation(
        contents=tuple(contents),
        factor=factor,
        limits=(low * factor, high * factor),
        capacity_mg=capacity_mg,
        pieces=formula.pieces,
        most_up=None if formula.keeps else MOST_UP_UNKEPT * factor,
    )


def _share_out(stage: Stage, addition: Addition, mixing: Mixing | None, *, is_closed: bool, is_top: bool) -> Fraction:
    """The share of what is in that can come out; `is_top`: the last addition in the bowl."""
    if mixing == "mixed":
        return Fraction(0)
    if mixing == "tubs":
        return Fraction(1)
    if is_closed:
        return Fraction(0)
    if stage.vessel == "separate tubs":
        return Fraction(1)
    return addition.share_out if is_top else Fraction(0)
