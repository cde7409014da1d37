"""The ways back, worked out a second time from the words of the design and nothing else.

Exact fractions, no code of the product. A `Kitchen` is a formula and what is in; `ways_back` gives the document that
`scaled formula correct --json` should print. Where brute force is possible it is used: the tests also search densely
for a factor that this module and the product both missed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

TIGHT = ("salt", "leavening", "gelling", "acid")
ORDER = ("take out", "scale down", "scale up, least", "whole pieces", "scale up, exact")


@dataclass(frozen=True)
class Line:
    """One addition: mg at factor 1, each side of its band as (percent, mg), one of the two 0."""

    name: str
    weight: Fraction
    stage: str
    under: tuple[Fraction, Fraction]
    over: tuple[Fraction, Fraction]
    tolerance: str = ""
    comes_out: bool | None = None
    share: Fraction = Fraction(1)
    piece: Fraction | None = None
    egg: bool = False
    role: str | None = None

    def low(self, factor: Fraction) -> Fraction:
        return factor * self.weight * (1 - self.under[0]) - self.under[1]

    def high(self, factor: Fraction) -> Fraction:
        return factor * self.weight * (1 + self.over[0]) + self.over[1]


@dataclass(frozen=True)
class Kitchen:
    """What a cook would tell."""

    lines: tuple[Line, ...]
    told: dict[str, Fraction]
    limits: tuple[Fraction, Fraction] = (Fraction(4, 5), Fraction(5, 4))
    pieces: int | None = None
    before: Fraction = Fraction(1)
    closed: tuple[str, ...] = ()
    late_no: tuple[str, ...] = ()
    stock: dict[str, Fraction] = field(default_factory=dict)
    capacity: Fraction | None = None
    flag: str | None = None  # tubs, mixed
    vessel: str | None = None

    @property
    def last(self) -> int:
        return max(i for i, line in enumerate(self.lines) if line.name in self.told)


@dataclass(frozen=True)
class Row:
    """One addition as the solver sees it, all in mg; `most` None: there is enough."""

    line: Line
    inside: Fraction
    is_in: bool
    removable: Fraction
    addable: Fraction | None

    def least(self, *, out: bool) -> Fraction:
        return self.inside - (self.removable if out else 0)

    @property
    def most(self) -> Fraction | None:
        return None if self.addable is None else self.inside + self.addable


def rows_of(kitchen: Kitchen) -> list[Row]:
    rows = []
    for index, line in enumerate(kitchen.lines):
        if line.name in kitchen.told:
            inside, is_in = kitchen.told[line.name], True
        elif index < kitchen.last:
            inside, is_in = kitchen.before * line.weight, True
        else:
            inside, is_in = Fraction(0), False
        addable = kitchen.stock.get(line.name)
        if line.stage in kitchen.closed and line.stage in kitchen.late_no:
            addable = Fraction(0)
        rows.append(Row(line, inside, is_in, inside * _share(kitchen, index, line), addable))
    return rows


def _share(kitchen: Kitchen, index: int, line: Line) -> Fraction:
    if kitchen.flag == "mixed":
        return Fraction(0)
    if kitchen.flag == "tubs":
        return Fraction(1)
    if line.stage in kitchen.closed:
        return Fraction(0)
    if kitchen.vessel == "separate tubs":
        return Fraction(1)
    if index != kitchen.last:
        return Fraction(0)
    if line.comes_out is None:
        return line.share
    return Fraction(int(line.comes_out))


def low_ends(rows: list[Row], *, out: bool) -> list[Fraction]:
    """The smallest factor that each row allows."""
    ends = []
    for row in rows:
        per, rest = row.line.weight * (1 + row.line.over[0]), row.line.over[1]
        ends.append(max(Fraction(0), (row.least(out=out) - rest) / per))
    return ends


def feasible(kitchen: Kitchen, rows: list[Row], factor: Fraction, *, out: bool) -> bool:
    """Whether one factor can be reached, straight from the words."""
    if not kitchen.limits[0] * kitchen.before <= factor <= kitchen.limits[1] * kitchen.before:
        return False
    total = Fraction(0)
    for row in rows:
        low = max(row.line.low(factor), row.least(out=out))
        high = row.line.high(factor) if row.most is None else min(row.line.high(factor), row.most)
        if low > high:
            return False
        total += low
    return kitchen.capacity is None or total <= kitchen.capacity


def interval(kitchen: Kitchen, rows: list[Row], *, out: bool) -> tuple[Fraction, Fraction] | None:
    low = max([kitchen.limits[0] * kitchen.before, *low_ends(rows, out=out)])
    high = kitchen.limits[1] * kitchen.before
    for row in rows:
        if row.most is not None:
            per, rest = row.line.weight * (1 - row.line.under[0]), row.line.under[1]
            if per > 0:
                high = min(high, (row.most + rest) / per)
            elif row.most + rest < 0:
                return None
    if kitchen.capacity is not None:
        high = min(high, _fullest(rows, kitchen.capacity, low, high, out=out))
    return (low, high) if low <= high and feasible(kitchen, rows, low, out=out) else None


def _fullest(rows: list[Row], capacity: Fraction, low: Fraction, high: Fraction, *, out: bool) -> Fraction:
    """The largest factor at which the least bowl still fits; its mass is convex and rises piece by piece."""
    bends = [low, high]
    for row in rows:
        per = row.line.weight * (1 - row.line.under[0])
        if per > 0:
            bends.append((row.least(out=out) + row.line.under[1]) / per)
    bends = sorted(b for b in set(bends) if low <= b <= high)

    def mass(factor: Fraction) -> Fraction:
        return sum((max(row.line.low(factor), row.least(out=out)) for row in rows), Fraction(0))

    if not bends or mass(bends[0]) > capacity:
        return low - 1
    for left, right in pairwise(bends):
        if mass(right) > capacity:
            slope = (mass(right) - mass(left)) / (right - left)
            return left + (capacity - mass(left)) / slope
    return high


def half_even(value: Fraction) -> int:
    return round(value)


@dataclass
class Offer:
    name: str
    factor: Fraction
    exact: list[Fraction]
    bowl: list[Fraction]
    rows: list[Row]
    before: Fraction

    @property
    def cost(self) -> tuple[Fraction, int, Fraction, Fraction]:
        """Extra mass, extra weighings, worst deviation, mass taken out; before rounding."""
        return self._cost(self.exact)

    @property
    def shown(self) -> tuple[Fraction, int, Fraction, Fraction]:
        return self._cost(self.bowl)

    def _cost(self, bowl: list[Fraction]) -> tuple[Fraction, int, Fraction, Fraction]:
        pairs = list(zip(bowl, self.rows, strict=True))
        return (
            sum((b - self.before * row.line.weight for b, row in pairs), Fraction(0)),
            sum(1 for b, row in pairs if row.is_in and round(b) != round(row.inside)),
            max(abs(b / (self.factor * row.line.weight) - 1) for b, row in pairs),
            sum(
                (max(Fraction(0), row.inside - b) for b, row in pairs if row.is_in and b != round(row.inside)),
                Fraction(0),
            ),
        )


def bowl_at(
    kitchen: Kitchen, rows: list[Row], factor: Fraction, *, out: bool, fixed: dict[int, Fraction] | None = None
) -> tuple[list[Fraction], list[Fraction]]:
    """An offer's bowl, exact and in whole mg."""
    exact, floors, ceilings = [], [], []
    for index, row in enumerate(rows):
        low, high = row.line.low(factor), row.line.high(factor)
        least, most = row.least(out=out), row.most
        if fixed and index in fixed:
            value = fixed[index]
        elif row.is_in and low <= row.inside <= high:
            value = row.inside
        else:
            value = max(factor * row.line.weight, least)
            value = value if most is None else min(value, most)
        exact.append(value)
        floors.append(value if fixed and index in fixed else max(low, least))
        ceilings.append(high if most is None else min(high, most))
    if kitchen.capacity is not None and sum(exact) > kitchen.capacity:
        room = sum((b - low for b, low in zip(exact, floors, strict=True)), Fraction(0))
        if fixed and sum(exact) - room > kitchen.capacity:  # too small for the targets: they give way like the rest
            return bowl_at(kitchen, rows, factor, out=out)
        share = (sum(exact) - kitchen.capacity) / room
        exact = [b - share * (b - low) for b, low in zip(exact, floors, strict=True)]
    whole = []
    for row, value, low, high in zip(rows, exact, floors, ceilings, strict=True):
        mg = half_even(value)
        if row.is_in and value == row.inside:
            whole.append(Fraction(mg))
            continue
        mg = math.ceil(low) if mg < low else mg
        mg = math.floor(high) if mg > high else mg
        whole.append(Fraction(mg))
    return exact, whole


def all_offers(kitchen: Kitchen, rows: list[Row]) -> list[Offer]:
    before = kitchen.before
    over = [i for i, row in enumerate(rows) if row.is_in and row.inside > row.line.high(before)]
    short = [row for row in rows if row.most is not None and row.most < row.line.low(before)]
    under = [row for row in rows if row.is_in and row.inside < row.line.low(before)]
    if not over and not short and not under and feasible(kitchen, rows, before, out=True):
        return []
    offers = []

    def add(name: str, factor: Fraction, *, out: bool, fixed: dict[int, Fraction] | None = None) -> None:
        exact, whole = bowl_at(kitchen, rows, factor, out=out, fixed=fixed)
        offers.append(Offer(name, factor, exact, whole, rows, before))

    targets = {i: before * rows[i].line.weight for i in over}
    if over and all(rows[i].least(out=True) <= targets[i] for i in over) and feasible(kitchen, rows, before, out=True):
        add("take out", before, out=True, fixed=targets)
    reach = interval(kitchen, rows, out=True)
    full = kitchen.capacity is not None and not feasible(kitchen, rows, before, out=True)
    if (short or full) and reach is not None and reach[1] < before:
        add("scale down", reach[1], out=True)
    up = interval(kitchen, rows, out=False)
    if up is None or up[1] < before:
        return offers
    least = max(up[0], before)
    ends = low_ends(rows, out=False)
    highest = max(ends)
    setters = [row for row, end in zip(rows, ends, strict=True) if end == highest]
    if highest > before * Fraction(105, 100) and all(row.line.role in TIGHT for row in setters):
        return offers
    if least > before or under:
        add("scale up, least", least, out=False)
    if kitchen.pieces is not None:
        count = math.floor(least * kitchen.pieces) + 1
        factor = Fraction(count, kitchen.pieces)
        if (least * kitchen.pieces).denominator != 1 and factor <= up[1]:
            add("whole pieces", factor, out=False)
    if over:
        factor = max(rows[i].inside / rows[i].line.weight for i in over)
        if feasible(kitchen, rows, factor, out=False):
            add("scale up, exact", factor, out=False)
    return offers


def front(offers: list[Offer]) -> list[Offer]:
    kept = []
    for index, offer in enumerate(offers):
        beaten = False
        for other_index, other in enumerate(offers):
            if other is offer or any(o > m for o, m in zip(other.cost, offer.cost, strict=True)):
                continue
            beaten = beaten or other.cost != offer.cost or other_index < index
        if not beaten:
            kept.append(offer)
    return kept[:3]


def ways_back(kitchen: Kitchen) -> dict[str, object]:
    rows = rows_of(kitchen)
    reach = interval(kitchen, rows, out=True)
    shown = front(all_offers(kitchen, rows))
    kept = []
    for row in rows:
        target = kitchen.before * row.line.weight
        value = row.inside if row.is_in else (target if row.most is None else min(target, row.most))
        kept.append(value)
    keep = Offer("keep", kitchen.before, kept, [Fraction(half_even(b)) for b in kept], rows, kitchen.before)
    names = [offer.name for offer in shown]
    order = [*shown, keep]
    if "take out" in names:
        first = "take out"
    elif "scale down" in names:
        first = "scale down"
    elif any(o.name == "scale up, least" and o.factor <= kitchen.before * Fraction(115, 100) for o in shown):
        first = "scale up, least"
    else:
        first = "keep"
    order.sort(key=lambda offer: offer.name != first)
    return {
        "factor_range": None if reach is None else [float(reach[0]), float(reach[1])],
        "offers": [_document(kitchen, offer) for offer in order],
    }


def grams(mg: Fraction) -> float:
    return float(Fraction(round(mg), 1000))


def _document(kitchen: Kitchen, offer: Offer) -> dict[str, object]:
    extra, weighings, worst, out = offer.shown
    changes = []
    for row, mg in zip(offer.rows, offer.bowl, strict=True):
        start = row.inside if row.is_in else offer.before * row.line.weight
        if grams(start) != grams(mg):
            changes.append({"ingredient": row.line.name, "from_g": grams(start), "to_g": grams(mg)})
    return {
        "offer": offer.name,
        "factor": float(offer.factor),
        "factor_exact": str(offer.factor),
        "bowl": {row.line.name: grams(mg) for row, mg in zip(offer.rows, offer.bowl, strict=True)},
        "changes": changes,
        "extra_mass_g": grams(extra),
        "extra_weighings": weighings,
        "taken_out_g": grams(out),
        "worst_deviation_pct": float(round(worst * 100, 2)),
        "makes": None if kitchen.pieces is None else float(offer.factor * kitchen.pieces),
        "cost": None,
    }
