"""A formula at a factor: what to weigh, in which band, on which scale, with how many eggs and what within.

Everything follows from exact targets `factor * weight`; only what the scale can show is rounded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaled.errors import WrongUsage
from scaled.formula.eggs import KEEPS, Eggs, eggs_for, whole_pieces
from scaled.formula.scales import ScaleFacts, Weighable, choose_scale, good_from
from scaled.formula.values import LEAST_FACTOR, MG_PER_KG, MOST_FACTOR, Addition, Formula, rounded_mg
from scaled.formula.volume import Vessel, bowls_text, too_much, volume_ml
from scaled.formula.within import yield_mg

Find = Callable[[str], Formula]


@dataclass(frozen=True)
class PlannedLine:
    """One addition at the plan's factor; a line that is told has neither weight nor band."""

    addition: Addition
    weight_mg: Fraction | None
    band_mg: tuple[int, int] | None
    bakers_pct: Fraction | None
    scale: ScaleFacts | None
    cautions: tuple[str, ...]
    told: str | None = None

    @property
    def rounded_mg(self) -> Fraction | None:
        """The target as the scale can show it; the weight itself where no scale is known."""
        if self.weight_mg is None or self.band_mg is None or self.scale is None:
            return self.weight_mg
        return Fraction(rounded_mg(self.weight_mg, self.band_mg, self.scale.division_mg))


@dataclass(frozen=True)
class Plan:
    """A formula at a factor, the formulas within it at theirs. `bowls` says in words which of the kitchen's take it."""

    formula: Formula
    factor: Fraction
    lines: tuple[PlannedLine, ...]
    eggs: Eggs | None
    within: tuple[Plan, ...]
    cautions: tuple[str, ...]
    bowls: str | None = None

    @property
    def pieces(self) -> Fraction | None:
        return self.formula.pieces * self.factor if self.formula.pieces is not None else None

    @property
    def mass_mg(self) -> Fraction:
        return self.formula.mass_mg * self.factor

    def totals_mg(self) -> dict[str, Fraction]:
        """What is needed of each ingredient in all, those within included; case is ignored."""
        needs = [
            (line.addition.ingredient, line.weight_mg)
            for line in self.lines
            if line.weight_mg is not None and line.addition.uses is None
        ]
        needs += [need for plan in self.within for need in plan.totals_mg().items()]
        spelling: dict[str, str] = {}
        totals: dict[str, Fraction] = {}
        for name, mass in needs:
            first = spelling.setdefault(name.casefold(), name)
            totals[first] = totals.get(first, Fraction(0)) + mass
        return totals

    def allergens(self) -> tuple[str, ...]:
        """The allergens of all lines, those that are told too, in the order in which they occur first."""
        return tuple(dict.fromkeys(allergen for line in self.lines for allergen in line.addition.allergens))

    def cost(self) -> Fraction | None:
        """Money for all that is weighed; None where a price is not known."""
        cost = Fraction(0)
        for line in self.lines:
            if line.weight_mg is None:
                continue
            if line.addition.price_per_kg is None:
                return None
            cost += line.addition.price_per_kg * line.weight_mg / MG_PER_KG
        return cost


def plan(
    formula: Formula,
    factor: Fraction,
    find: Find,
    scales: Sequence[ScaleFacts] = (),
    vessels: Sequence[Vessel] = (),
) -> Plan:
    """The plan of a formula at a factor.

    Args:
        formula: what is made.
        factor: this batch against the formula as written.
        find: the formulas that are used within, by stem.
        scales: those of the bench, the one that is used most first; () where none is known.
        vessels: the bowls of the kitchen whose volume is known.

    Raises:
        WrongUsage: a factor that makes no batch.
    """
    if not LEAST_FACTOR <= factor <= MOST_FACTOR:
        bounds = f"{float(LEAST_FACTOR):g} to {MOST_FACTOR}"
        raise WrongUsage(f"a factor of {float(factor):.6g} makes no batch: it lies in {bounds}")
    return _plan(formula, factor, find, scales, vessels)


def _plan(
    formula: Formula, factor: Fraction, find: Find, scales: Sequence[ScaleFacts], vessels: Sequence[Vessel]
) -> Plan:
    flour = sum((a.target_mg(factor) for a in formula.weighed if a.is_flour), Fraction(0))
    lines = tuple(_line(formula, addition, factor, flour, scales) for addition in formula.additions)
    eggs = eggs_for(formula.additions, factor)
    volume = volume_ml(formula, factor) if vessels else None
    too_full = None if volume is None else too_much(vessels, volume)
    return Plan(
        formula=formula,
        factor=factor,
        lines=lines,
        eggs=eggs,
        within=_within(formula, factor, find, scales, vessels),
        cautions=(*formula.cautions, *_cautions(formula, factor, eggs, lines), *([too_full] if too_full else [])),
        bowls=bowls_text(vessels, volume) if volume is not None and not too_full else None,
    )


def _line(
    formula: Formula, addition: Addition, factor: Fraction, flour_mg: Fraction, scales: Sequence[ScaleFacts]
) -> PlannedLine:
    if addition.is_told:
        return PlannedLine(addition, None, None, None, None, addition.cautions, addition.told_at(factor))
    weight = addition.target_mg(factor)
    on = choose_scale(scales, formula, addition, factor) if addition.kind == "weighed" else Weighable(_first(scales))
    return PlannedLine(
        addition=addition,
        weight_mg=weight,
        band_mg=addition.band_mg(factor),
        bakers_pct=weight / flour_mg * 100 if flour_mg else None,
        scale=on.scale,
        cautions=(*addition.cautions, *on.cautions),
    )


def _first(scales: Sequence[ScaleFacts]) -> ScaleFacts | None:
    return scales[0] if scales else None


def _within(
    formula: Formula, factor: Fraction, find: Find, scales: Sequence[ScaleFacts], vessels: Sequence[Vessel]
) -> tuple[Plan, ...]:
    """The plans of the formulas that are used, each once, for all that is needed of it."""
    needs: dict[str, Fraction] = {}
    for addition in formula.weighed:
        if addition.uses is not None:
            needs[addition.uses] = needs.get(addition.uses, Fraction(0)) + addition.target_mg(factor)
    made = []
    for stem, mass in needs.items():
        used = find(stem)
        made.append(_plan(used, mass / yield_mg(used), find, scales, vessels))
    return tuple(made)


def _cautions(formula: Formula, factor: Fraction, eggs: Eggs | None, lines: Sequence[PlannedLine]) -> tuple[str, ...]:
    cautions = []
    if factor > 2 or factor < Fraction(1, 2):
        cautions.append(
            f"a factor of {float(factor):.3g}: mixing times, baking and leavening do not follow, watch them yourself"
        )
    if eggs is not None and any(part != "whole" for part in eggs.left_over_mg):
        cautions.append(KEEPS)
    first = _weigh_first(formula, factor)
    if first is not None:
        cautions.append(f"weigh the {first.ingredient} first, in a tub of its own: the rest then follows it")
    for scale in dict.fromkeys(line.scale for line in lines if line.scale is not None):
        weighed = (line for line in lines if line.scale == scale and line.addition.kind == "weighed")
        coarse = good_from(scale, (line.band_mg for line in weighed if line.band_mg is not None))
        if coarse is not None:
            cautions.append(coarse)
    return tuple(cautions)


def _weigh_first(formula: Formula, factor: Fraction) -> Addition | None:
    """The egg of a batch of one or two whole eggs, which had better set the factor than be corrected."""
    if any(addition.is_weighed_first for addition in formula.additions):
        return None
    whole = [a for a in formula.weighed if a.egg == "whole" and a.kind == "weighed"]
    if len(whole) != 1:
        return None
    count = whole_pieces(whole[0], factor)
    return whole[0] if count is not None and count <= 2 else None
