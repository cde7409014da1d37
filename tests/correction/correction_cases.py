"""Random formulas and bowls, and what of a bowl is possible, worked out apart from the product.

A `Case` is what a cook would tell: a formula, what is in, what is to hand, what is closed. `rows_of` turns that into
limits for each addition straight from the rules of the design, in plain fractions and without the product's code, so
that a slip there is not repeated here. `is_possible` judges one factor, which is all that brute force needs.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from fractions import Fraction

from scaled.formula.situation import Mixing, Situation, situation_of
from scaled.formula.values import Addition, Formula, Side, Stage, Tolerance

LIMITS = ((Fraction(4, 5), Fraction(5, 4)), (Fraction(1, 2), Fraction(2)), (Fraction(1), Fraction(3)))
ROLES = (None, None, None, None, "fat", "salt", "leavening")


@dataclass(frozen=True)
class Case:
    formula: Formula
    in_mg: dict[str, Fraction]
    factor: Fraction = Fraction(1)
    closed: tuple[str, ...] = ()
    stock_mg: dict[str, Fraction] = field(default_factory=dict)
    capacity_mg: Fraction | None = None
    mixing: Mixing | None = None

    @property
    def situation(self) -> Situation:
        return situation_of(
            self.formula,
            self.in_mg,
            factor=self.factor,
            closed=self.closed,
            stock_mg=self.stock_mg,
            capacity_mg=self.capacity_mg,
            mixing=self.mixing,
        )


@dataclass(frozen=True)
class Row:
    """Limits of one addition: its band at f is lo_slope f + lo_rest to hi_slope f + hi_rest, mg exact."""

    key: str
    weight: Fraction
    lo_slope: Fraction
    lo_rest: Fraction
    hi_slope: Fraction
    hi_rest: Fraction
    inside: Fraction
    least: Fraction
    most: Fraction | None
    is_in: bool
    is_by_feel: bool
    piece: Fraction | None

    def lo(self, factor: Fraction) -> Fraction:
        return self.lo_slope * factor + self.lo_rest

    def hi(self, factor: Fraction) -> Fraction:
        return self.hi_slope * factor + self.hi_rest

    def reach(self, factor: Fraction, *, is_kept: bool) -> tuple[Fraction, Fraction | None]:
        """The least and the most that this addition may come to at a factor; None: a bound that is not there."""
        if self.is_by_feel:
            mass = self.inside if self.is_in else self.weight * factor
            return mass, mass
        low = max(self.lo(factor), self.inside if is_kept else self.least, Fraction(0))
        high = self.hi(factor) if self.most is None else min(self.hi(factor), self.most)
        return low, high


def rows_of(case: Case) -> list[Row]:
    """What each addition may come to, by the design's rules."""
    told = [(stage, addition) for stage in case.formula.stages for addition in stage.additions]
    keys = [addition.key for _, addition in told]
    last = max(keys.index(key) for key in case.in_mg)
    bowls = [i for i, (stage, _) in enumerate(told) if stage.vessel == "one bowl" and i <= last]
    rows = []
    for i, (stage, addition) in enumerate(told):
        weight = addition.weight_mg
        assert weight is not None
        is_in = i <= last
        inside = case.in_mg.get(addition.key, weight * case.factor) if is_in else Fraction(0)
        is_shut = stage.name in case.closed
        is_over = is_shut and not stage.is_late
        if case.mixing == "mixed":
            out = Fraction(0)
        elif case.mixing == "tubs":
            out = inside
        elif is_shut:
            out = Fraction(0)
        elif stage.vessel == "separate tubs":
            out = inside
        else:
            out = addition.share_out * inside if bowls and i == bowls[-1] else Fraction(0)
        more = Fraction(0) if is_over else case.stock_mg.get(addition.key)
        rows.append(_row(addition, weight, inside, out, more, is_in=is_in))
    return rows


def _row(
    addition: Addition, weight: Fraction, inside: Fraction, out: Fraction, more: Fraction | None, *, is_in: bool
) -> Row:
    tolerance = addition.tolerance
    band = [Fraction(0)] * 4
    if tolerance is not None:
        under, over = tolerance.under, tolerance.over
        band = [weight, Fraction(0), weight, Fraction(0)]
        if under.is_relative:
            band[0] = weight * (1 - under.amount)
        else:
            band[1] = -under.amount
        if over.is_relative:
            band[2] = weight * (1 + over.amount)
        else:
            band[3] = over.amount
    return Row(
        addition.key,
        weight,
        *band,
        inside=inside,
        least=inside - out,
        most=None if more is None else inside + more,
        is_in=is_in,
        is_by_feel=tolerance is None,
        piece=addition.piece_mg if addition.egg else None,
    )


def is_possible(case: Case, rows: list[Row], factor: Fraction, *, is_kept: bool) -> bool:
    """Whether one factor can be made: every addition in its band, and all of it held by the bowl."""
    low_limit, high_limit = (limit * case.factor for limit in case.formula.limits)
    if not low_limit <= factor <= high_limit:
        return False
    total = Fraction(0)
    for row in rows:
        low, high = row.reach(factor, is_kept=is_kept)
        if high is not None and low > high:
            return False
        total += low
    return case.capacity_mg is None or total <= case.capacity_mg


def bowl_by_rule(
    case: Case, rows: list[Row], factor: Fraction, *, is_kept: bool, settled: dict[str, Fraction] | None = None
) -> list[Fraction] | None:
    """The exact bowl at a factor by the design's rule; None where there is none.

    `settled` masses are given and do not give way to the capacity.
    """
    settled = settled or {}
    masses, lows = [], []
    for row in rows:
        low, high = row.reach(factor, is_kept=is_kept)
        target = row.weight * factor
        mass = target if high is None else min(target, high)
        mass = max(mass, low)
        if row.is_by_feel and not row.is_in and row.most is not None:
            low = high = mass = min(mass, row.most)
        if row.is_in and not row.is_by_feel and row.lo(factor) <= row.inside <= row.hi(factor):
            mass = row.inside
        if row.key in settled:
            mass = settled[row.key]
        if mass < low or (high is not None and mass > high):
            return None
        masses.append(mass)
        lows.append(mass if row.key in settled else low)
    excess = Fraction(0) if case.capacity_mg is None else sum(masses) - case.capacity_mg
    room = sum(masses) - sum(lows)
    if excess > room:
        return None
    share = max(Fraction(0), excess) / room if room else 0
    return [mass - (mass - low) * share for mass, low in zip(masses, lows, strict=True)]


def costs(case: Case, rows: list[Row], factor: Fraction, bowl: list[Fraction]) -> tuple[Fraction, ...]:
    """What is compared between offers: extra mass, weighings, worst deviation, mass taken out."""
    moved = [(row, mass) for row, mass in zip(rows, bowl, strict=True) if row.is_in and mass != row.inside]
    off = [abs(mass / (row.weight * factor) - 1) for row, mass in zip(rows, bowl, strict=True) if not row.is_by_feel]
    return (
        sum(bowl) - sum(row.weight for row in rows) * case.factor,
        Fraction(len(moved)),
        max(off, default=Fraction(0)),
        sum((max(Fraction(0), row.inside - mass) for row, mass in moved), Fraction(0)),
    )


def draw(seed: str) -> Case:
    """A random case; equal seeds give equal cases. Roughly a third is out of reach, half have pieces.

    In every fifth something is short in tubs, so that less can be made.
    """
    rng = random.Random(seed)
    count = rng.randint(1, 12)
    additions: list[list[Addition]] = [[] for _ in range(rng.randint(1, 3))]
    for i in range(count):
        stage = min(i * len(additions) // count, len(additions) - 1)
        additions[stage].append(_draw_addition(rng, f"ingredient {i}", f"stage {stage}"))
    stages = tuple(
        Stage(f"stage {i}", tuple(some), is_late=rng.random() < 0.7, vessel=_draw_vessel(rng))
        for i, some in enumerate(additions)
        if some
    )
    formula = Formula(
        "random",
        "Random",
        stages,
        pieces=Fraction(rng.randint(1, 60)) if rng.random() < 0.5 else None,
        limits=rng.choice(LIMITS),
    )
    factor = rng.choice([Fraction(1), Fraction(1), Fraction(19, 17), Fraction(rng.randint(30, 300), 100)])
    in_mg = _draw_in(rng, formula, factor)
    if rng.random() < 0.2:
        short = rng.choice(formula.weighed)
        if short.key in in_mg:
            in_mg[short.key] = Fraction(round(in_mg[short.key] * rng.randint(75, 98) / 100))
        return Case(formula, in_mg, factor, stock_mg={short.key: Fraction(rng.randint(0, 99))}, mixing="tubs")
    return Case(
        formula,
        in_mg,
        factor,
        closed=tuple(stage.name for stage in stages if rng.random() < 0.15),
        stock_mg=_draw_stock(rng, formula, factor),
        capacity_mg=_draw_capacity(rng, formula, factor),
        mixing=rng.choice([None, None, "tubs", "mixed"]),
    )


def _draw_vessel(rng: random.Random) -> str:
    return "separate tubs" if rng.random() < 0.25 else "one bowl"


def _draw_addition(rng: random.Random, key: str, stage: str) -> Addition:
    weight = Fraction(round(10 ** rng.uniform(2.7, 5.7)), rng.choice([1, 1, 1, 3, 7]))
    if rng.random() < 0.06:
        return Addition(key, stage, key, "by feel", weight, None, feel_mg=(weight * 9 / 10, weight * 11 / 10))
    is_egg = rng.random() < 0.2
    return Addition(
        key,
        stage,
        key,
        "weighed",
        weight,
        Tolerance(_draw_side(rng, weight), _draw_side(rng, weight)),
        role=rng.choice(ROLES),
        share_out=Fraction(rng.choice([0, 0, 4, 5]), 5),
        egg="whole" if is_egg else None,
        piece_mg=Fraction(rng.choice([17_000, 33_000, 50_000])) if is_egg else None,
        price_per_kg=Fraction(rng.randint(0, 2000), 100) if rng.random() < 0.8 else None,
    )


def _draw_side(rng: random.Random, weight: Fraction) -> Side:
    share = Fraction(rng.choice([0, 5, 10, 10, 20, 20, 50, 150]), 1000)
    is_relative = rng.random() < 0.6
    return Side(share if is_relative else Fraction(round(weight * share)), is_relative)


def _draw_in(rng: random.Random, formula: Formula, factor: Fraction) -> dict[str, Fraction]:
    """Most at about their targets, one or two far above or below, the last ones perhaps not in yet."""
    last = rng.randrange(len(formula.weighed))
    wrong = {last} | {rng.randrange(last + 1) for _ in range(rng.choice([0, 0, 1, 2]))}
    in_mg = {}
    for i, addition in enumerate(formula.weighed[: last + 1]):
        if i not in wrong and rng.random() < 0.6:
            continue
        off = rng.uniform(-0.3, 0.4) if i in wrong else rng.uniform(-0.01, 0.01)
        in_mg[addition.key] = Fraction(round(addition.target_mg(factor) * Fraction(1 + off)))
    return in_mg


def _draw_stock(rng: random.Random, formula: Formula, factor: Fraction) -> dict[str, Fraction]:
    chance = rng.choice([0, 0.1, 0.3])
    shares = [Fraction(percent, 100) for percent in (0, 0, 5, 30, 90, 110, 150)]
    return {
        addition.key: Fraction(round(addition.target_mg(factor) * rng.choice(shares)))
        for addition in formula.weighed
        if rng.random() < chance
    }


def _draw_capacity(rng: random.Random, formula: Formula, factor: Fraction) -> Fraction | None:
    if rng.random() < 0.25:
        return None
    return Fraction(round(formula.mass_mg * factor * Fraction(rng.uniform(0.75, 1.6))))
