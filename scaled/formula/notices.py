"""What is no mistake in a formula but that its writer would want to know, each with its place."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from scaled.formula.eggs import pieces_text
from scaled.formula.ingredients import Table
from scaled.formula.line import Line, Noticed
from scaled.formula.settle import usual_tolerance
from scaled.formula.tolerance import tolerance_text
from scaled.formula.values import Addition, Formula
from scaled.marks import Mapping

WIDE = Fraction(1, 4)  # of the weight, a half width beyond which a tolerance hardly holds anything
LEAST_YIELD = Fraction(1, 2)  # a loss of more than half in the pan is a slip of the pen


def notices(
    root: Mapping, formula: Formula, lines: Sequence[Line], table: Table, stated_mg: Fraction | None
) -> list[Noticed]:
    """All that is to be noticed; `lines` are those of the formula's additions, `stated_mg` the file's `mass`."""
    found = []
    for line, addition in zip(lines, formula.additions, strict=True):
        if addition.kind != "weighed":
            continue
        found += _tolerance(line, addition, table, keeps=formula.keeps)
        found += _egg(line, addition)
    return found + _sums(root, formula, stated_mg)


def _tolerance(line: Line, addition: Addition, table: Table, *, keeps: bool) -> list[Noticed]:
    if addition.tolerance is None or addition.weight_mg is None:
        return []
    name = addition.ingredient
    if line.tolerance is None:
        if usual_tolerance(line, table, keeps=keeps) is not None:
            return []
        message = f"{name}: no tolerance given and none usual for it: {tolerance_text(addition.tolerance)} is taken"
        return [Noticed(message, line.node.place, line.node.place)]
    sides = (addition.tolerance.under, addition.tolerance.over)
    widest = max(side.width_mg(addition.weight_mg) for side in sides)
    place = line.node.place_of("tolerance")
    if widest > WIDE * addition.weight_mg:
        percent = float(widest / addition.weight_mg * 100)
        return [
            Noticed(
                f"{name}: a tolerance of {percent:.3g} % of the weight holds hardly anything", place, line.node.place
            )
        ]
    lo, hi = addition.band_mg(Fraction(1))
    if lo >= hi:
        return [Noticed(f"{name}: no room at all in this tolerance: no scale can meet it", place, line.node.place)]
    return []


def _egg(line: Line, addition: Addition) -> list[Noticed]:
    text = pieces_text(addition, Fraction(1))
    place = line.node.place_of("weight")
    return [Noticed(f"{addition.ingredient}: {text}", place, line.node.place)] if text else []


def _sums(root: Mapping, formula: Formula, stated_mg: Fraction | None) -> list[Noticed]:
    found = []
    total = formula.mass_mg
    if stated_mg is not None and abs(stated_mg - total) > total / 100:
        message = f"the mass stated is {_g(stated_mg)} and the additions come to {_g(total)}"
        found.append(Noticed(message, root.place_of("mass")))
    if formula.yield_mg is not None and not LEAST_YIELD * total <= formula.yield_mg <= total:
        message = f"{_g(formula.yield_mg)} cannot come of additions of {_g(total)}"
        found.append(Noticed(message, root.place_of("yield")))
    return found


def _g(mass_mg: Fraction) -> str:
    return f"{float(mass_mg / 1000):.6g} g"
