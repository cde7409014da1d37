"""Lines to additions: the key that each is called by, its tolerance, and what of it can come out of a bowl again."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from scaled.errors import Place
from scaled.formula.ingredients import FINE_IS_LOST_BELOW, SHARE_OUT, Table
from scaled.formula.line import Line
from scaled.formula.tolerance import UNKNOWN_ROLE
from scaled.formula.values import Addition, Tolerance


def settled(
    stages: Sequence[tuple[str, Sequence[Line]]], table: Table, *, keeps: bool
) -> tuple[tuple[Addition, ...], ...]:
    """The additions of each stage; what clashes is noted, and a line that has no weight yet is left out."""
    keys = _keys(stages)
    made = []
    bowl = Fraction(0)
    for stage, lines in stages:
        additions = []
        for line in lines:
            if line.kind != "told" and line.weight_mg is None:
                continue
            bowl += line.weight_mg or 0
            additions.append(_addition(line, stage, keys[id(line)], table, bowl, keeps=keeps))
        made.append(tuple(additions))
    return tuple(made)


def usual_tolerance(line: Line, table: Table, *, keeps: bool) -> Tolerance | None:
    """What the ingredient's role is weighed to; None where it has none.

    A whole egg that goes in as it comes, by the piece, has more room than one that is beaten and poured, and none
    more where the product collapses at once (sponge) or sets by the egg (a part of one: custard, curd).
    """
    role = line.traits.role
    in_the_piece = role == "egg" and line.traits.egg == "whole" and line.traits.piece_mg is not None and keeps
    usual = table.roles.get("egg in the piece" if in_the_piece else role or "")
    return usual.at(line.weight_mg) if usual and line.weight_mg is not None else None


def _keys(stages: Sequence[tuple[str, Sequence[Line]]]) -> dict[int, str]:
    """Each line's key: the ingredient's name, with its stage behind it where it occurs in two."""
    first: dict[tuple[str, str], Line] = {}
    homes: dict[str, set[str]] = {}
    for stage, lines in stages:
        for line in lines:
            name = line.name.casefold()
            homes.setdefault(name, set()).add(stage)
            before = first.setdefault((stage, name), line)
            if before is not line:
                where = before.node.place.line
                line.node.note(
                    f"'{line.name}' stands in this stage already (line {where}): add the two together", line.named_by
                )
    keys = {}
    taken: dict[str, Place] = {}
    for stage, lines in stages:
        for line in lines:
            key = line.name if len(homes[line.name.casefold()]) == 1 else f"{line.name} ({stage})"
            place = taken.setdefault(key.casefold(), line.node.place)
            if place is not line.node.place and first[(stage, line.name.casefold())] is line:
                line.node.note(
                    f"'{key}' is what the addition in line {place.line} is called: name one differently", line.named_by
                )
            keys[id(line)] = key
    return keys


def _addition(line: Line, stage: str, key: str, table: Table, bowl_mg: Fraction, *, keeps: bool) -> Addition:
    traits = line.traits
    tolerance = None
    if line.kind == "weighed":
        tolerance = line.tolerance or usual_tolerance(line, table, keeps=keeps) or UNKNOWN_ROLE
        if line.tolerance and line.weight_mg is not None and line.tolerance.lo_mg(line.weight_mg) <= 0:
            weight = f"{float(line.weight_mg / 1000):.6g} g"
            line.node.note(
                f"tolerance: of {weight} it lets everything be missing: a band ends above nothing", "tolerance"
            )
    return Addition(
        ingredient=line.name,
        stage=stage,
        key=key,
        kind=line.kind,
        weight_mg=line.weight_mg,
        tolerance=tolerance,
        role=traits.role,
        share_out=_share_out(line, bowl_mg),
        egg=traits.egg,
        piece_mg=traits.piece_mg,
        feel_mg=line.feel_mg,
        told=line.told,
        uses=line.uses,
        is_flour=line.is_flour,
        is_weighed_first=line.is_weighed_first,
        is_guarded=line.is_guarded,
        price_per_kg=traits.price_per_kg,
        allergens=table.allergens(traits.allergens),
        cautions=traits.cautions,
        composition=traits.composition,
        density_g_ml=traits.density.usual if traits.density else None,
    )


def _share_out(line: Line, bowl_mg: Fraction) -> Fraction:
    """What of an addition comes out of a shared bowl while it is the last one in; `bowl_mg` holds it too."""
    if line.comes_out is not None:
        return Fraction(1 if line.comes_out else 0)
    if line.traits.egg is not None:
        return Fraction(0)
    form = line.traits.form
    if form is None:
        return Fraction(1)
    if form == "fine" and line.weight_mg is not None and line.weight_mg < FINE_IS_LOST_BELOW * bowl_mg:
        return Fraction(0)
    return SHARE_OUT[form]
