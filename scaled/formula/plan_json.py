"""A plan as the JSON of the contract: masses in grams to 0.001, percentages to 0.01, factors as doubles."""

from __future__ import annotations

from typing import Any

from scaled.formula.eggs import Eggs
from scaled.formula.figures import grams, percent
from scaled.formula.plan import Plan, PlannedLine
from scaled.formula.steps import heat_text, time_text
from scaled.formula.values import Step


def plan_json(plan: Plan) -> dict[str, Any]:
    """The plan as one JSON document; what is absent is None, lists are in the formula's order."""
    cost = plan.cost()
    return {
        "formula": plan.formula.stem,
        "title": plan.formula.title,
        "factor": float(plan.factor),
        "factor_exact": str(plan.factor),
        "pieces": float(plan.pieces) if plan.pieces is not None else None,
        "mass_g": grams(plan.mass_mg),
        "additions": [_line_json(line) for line in plan.lines],
        "eggs": _eggs_json(plan.eggs),
        "geometry": _geometry_json(plan),
        "within": [plan_json(within) for within in plan.within],
        "totals": {name: grams(mass) for name, mass in plan.totals_mg().items()},
        "allergens": list(plan.allergens()),
        "cost": round(float(cost), 2) if cost is not None else None,
        "cautions": list(plan.cautions),
        "steps": [_step_json(step) for step in plan.formula.steps],
    }


def _step_json(step: Step) -> dict[str, str | None]:
    """A step in words, temperatures in both units."""
    return {
        "after": step.after,
        "do": step.do,
        "for": time_text(step.for_s) if step.for_s else None,
        "at": heat_text(step.at_celsius) if step.at_celsius else None,
    }


def _line_json(line: PlannedLine) -> dict[str, Any]:
    addition, rounded = line.addition, line.rounded_mg
    return {
        "ingredient": addition.ingredient,
        "stage": addition.stage,
        "weight_g": grams(line.weight_mg) if line.weight_mg is not None else None,
        "rounded_g": grams(rounded) if rounded is not None else None,
        "band_g": [grams(end) for end in line.band_mg] if line.band_mg is not None else None,
        "bakers_pct": percent(line.bakers_pct) if line.bakers_pct is not None else None,
        "scale": line.scale.name if line.scale is not None else None,
        "cautions": list(line.cautions),
        "told": line.told,
        "by_feel": addition.kind == "by feel",
        "weigh_first": addition.is_weighed_first,
        "formula": addition.uses,
    }


def _geometry_json(plan: Plan) -> dict[str, float] | None:
    """Of all pieces together, where the file gives ring and thickness; of one where it does not say how many."""
    rolled = plan.formula.rolled
    if rolled is None:
        return None
    pieces = float(plan.pieces if plan.pieces is not None else 1)
    return {
        "in_ring_g": round(rolled.in_ring_g * pieces, 3),
        "rolled_g": round(rolled.rolled_g * pieces, 3),
        "trimmings_g": round(rolled.trimmings_g * pieces, 3),
    }


def _eggs_json(eggs: Eggs | None) -> dict[str, Any] | None:
    if eggs is None:
        return None
    return {"crack": eggs.crack, "left_over": {part: grams(mass) for part, mass in eggs.left_over_mg.items()}}
