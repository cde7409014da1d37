"""What `scaled formula plan` answers, as JSON and as text."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from scaled.catalogue import ANY_MG, FolderCatalogue, read_from
from scaled.commands.formula_sheet import line_cautions, sheet_html
from scaled.commands.kitchen import catalogue_for, settings_if_any
from scaled.errors import WrongUsage
from scaled.formula.eggs import Eggs
from scaled.formula.figures import grams, percent
from scaled.formula.geometry import Rolled
from scaled.formula.names import named_masses
from scaled.formula.percent import MassMissing
from scaled.formula.plan import Plan, PlannedLine, plan
from scaled.formula.plan_json import plan_json
from scaled.formula.steps import step_text
from scaled.formula.values import Formula
from scaled.formula.volume import Vessel
from scaled.formula.wanted import (
    factor_for_mass,
    factor_for_pieces,
    needs_mg,
    scarcest,
    stage_needs_mg,
    whole_egg_factors,
)
from scaled.texts.tables import grams_text, table


class Kitchen(NamedTuple):
    """The formulas and scales that a plan is made with, and the bowls whose volume the settings give."""

    shelf: FolderCatalogue
    vessels: tuple[Vessel, ...]


@dataclass(frozen=True)
class Wish:
    """What was asked for; at most one of these, and factor 1 where none is."""

    factor: Fraction | None = None
    pieces: Fraction | None = None
    mass_mg: Fraction | None = None
    have: tuple[str, ...] = ()
    whole_eggs: bool = False


def planned_json(path: Path, wish: Wish, config: str | None) -> dict[str, Any]:
    """The plan, or with whole eggs the two plans, as the contract spells them."""
    kitchen = _kitchen(path, config)
    formula = _read(path, kitchen, wish)
    if wish.whole_eggs:
        below, above = _around(formula, kitchen)
        return {"below": plan_json(below) if below else None, "above": plan_json(above) if above else None}
    return plan_json(_plan(formula, kitchen, wish))


def planned_sheet(path: Path, wish: Wish, config: str | None) -> str:
    """The plan as a page that prints."""
    kitchen = _kitchen(path, config)
    return sheet_html(_plan(_read(path, kitchen, wish), kitchen, wish))


def planned_text(path: Path, wish: Wish, config: str | None) -> str:
    """The same for reading."""
    kitchen = _kitchen(path, config)
    formula = _read(path, kitchen, wish)
    if not wish.whole_eggs:
        return plan_text(_plan(formula, kitchen, wish))
    below, above = _around(formula, kitchen)
    parts = [
        f"{heading}: " + (plan_text(made) if made else "there is none")
        for heading, made in (("Just below", below), ("Just above", above))
    ]
    return "\n\n".join(parts)


def plan_text(made: Plan) -> str:
    """A plan for reading: what to weigh, in order, and what to mind."""
    makes = f", {float(made.pieces):.6g} pieces" if made.pieces is not None else ""
    exact = "" if made.factor.denominator == 1 else f" ({made.factor})"
    head = f"{made.formula.title}: factor {float(made.factor):.6g}{exact}{makes}, {_g(made.mass_mg)} g"
    blocks = [head, _lines_text(made)]
    facts = [_eggs_text(made.eggs)] if made.eggs else []
    if made.allergens():
        facts.append(f"allergens: {', '.join(made.allergens())}")
    cost = made.cost()
    if cost is not None:
        facts.append(f"cost: {float(cost):.2f}")
    if made.formula.rolled is not None:
        facts.append(_rolled_text(made, made.formula.rolled))
    if made.bowls is not None:
        facts.append(f"bowls: {made.bowls}")
    facts += [f"caution: {caution}" for caution in made.cautions]
    facts += [f"caution: {caution}" for caution in line_cautions(made)]
    blocks.append("\n".join(facts))
    blocks.append("\n".join(f"{number}. {step_text(step)}" for number, step in enumerate(made.formula.steps, 1)))
    blocks += [f"For this, {plan_text(within)}" for within in made.within]
    return "\n\n".join(block for block in blocks if block)


def _kitchen(path: Path, config: str | None) -> Kitchen:
    settings = settings_if_any(config)
    vessels = settings.vessels if settings else ()
    return Kitchen(
        catalogue_for(path, settings),
        tuple(Vessel(vessel.name, vessel.holds_ml) for vessel in vessels if vessel.holds_ml is not None),
    )


def _read(path: Path, kitchen: Kitchen, wish: Wish) -> Formula:
    try:
        return read_from(path, kitchen.shelf, mass_mg=wish.mass_mg).formula
    except MassMissing as error:
        read_from(path, kitchen.shelf, mass_mg=ANY_MG)  # a formula with mistakes is told as such, whatever was asked
        raise WrongUsage(error.message, error.place) from error


def _plan(formula: Formula, kitchen: Kitchen, wish: Wish) -> Plan:
    if wish.have:
        needs, of_stages = needs_mg(formula, kitchen.shelf.used), stage_needs_mg(formula)
        have = named_masses(wish.have, tuple(needs), {name: name for name in of_stages})
        least = scarcest(of_stages | needs, have)
        made = _at(formula, least.factor, kitchen)
        return replace(made, cautions=(f"{least.ingredient} is the scarcest: it sets the factor", *made.cautions))
    return _at(formula, _factor(formula, wish), kitchen)


def _at(formula: Formula, factor: Fraction, kitchen: Kitchen) -> Plan:
    return plan(formula, factor, kitchen.shelf.used, kitchen.shelf.scales, kitchen.vessels)


def _factor(formula: Formula, wish: Wish) -> Fraction:
    if wish.pieces is not None:
        return factor_for_pieces(formula, wish.pieces)
    if wish.mass_mg is not None:
        return factor_for_mass(formula, wish.mass_mg)
    return wish.factor if wish.factor is not None else Fraction(1)


def _around(formula: Formula, kitchen: Kitchen) -> tuple[Plan | None, Plan | None]:
    below, above = whole_egg_factors(formula)
    return (
        _at(formula, below, kitchen) if below is not None else None,
        _at(formula, above, kitchen) if above is not None else None,
    )


def _lines_text(made: Plan) -> str:
    heads = ["stage", "ingredient", "g", "band g"]
    has_flour = any(line.bakers_pct is not None for line in made.lines)
    has_scale = len({line.scale for line in made.lines if line.scale}) > 1
    heads += ["% of flour"] if has_flour else []
    heads += ["scale"] if has_scale else []
    rows = [_row(line, has_flour=has_flour, has_scale=has_scale) for line in made.lines]
    return table(heads, rows, right=(2, 4) if has_flour else (2,))


def _row(line: PlannedLine, *, has_flour: bool, has_scale: bool) -> list[str]:
    addition = line.addition
    if line.weight_mg is None or line.band_mg is None or line.rounded_mg is None:
        row = [addition.stage, addition.ingredient, "", line.told or ""]
    else:
        ends = f"{_g(line.band_mg[0])} to {_g(line.band_mg[1])}"
        row = [
            addition.stage,
            addition.ingredient,
            _g(line.rounded_mg),
            f"by feel, {ends}" if addition.kind == "by feel" else ends,
        ]
    if has_flour:
        row.append(grams_text(percent(line.bakers_pct)) if line.bakers_pct is not None else "")
    if has_scale:
        row.append(line.scale.name if line.scale else "")
    return row


def _rolled_text(made: Plan, rolled: Rolled) -> str:
    pieces = float(made.pieces if made.pieces is not None else 1)
    masses = (rolled.in_ring_g, rolled.rolled_g, rolled.trimmings_g)
    ring, rolled_out, trimmed = (f"{mass * pieces:.0f} g" for mass in masses)
    return f"rolled out: {ring} in {pieces:.6g} rings, {rolled_out} rolled, {trimmed} trimmed off"


def _eggs_text(eggs: Eggs) -> str:
    left = ", ".join(f"{_g(mass)} g of {part}" for part, mass in eggs.left_over_mg.items())
    return f"eggs: crack {eggs.crack}" + (f", {left} left over" if left else "")


def _g(mass_mg: Fraction | int) -> str:
    return grams_text(grams(mass_mg))
