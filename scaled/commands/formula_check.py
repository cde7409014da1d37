"""What `scaled formula check` finds in one file, as JSON and as text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from scaled.catalogue import ANY_MG, TABLE, installed_table, read_from
from scaled.commands.kitchen import catalogue_for
from scaled.config import Settings
from scaled.errors import Invalid, Mistakes, Place, WrongUsage
from scaled.formula.figures import grams
from scaled.formula.file import FormulaFile
from scaled.formula.line import Noticed
from scaled.formula.percent import MassMissing
from scaled.formula.table import read_table
from scaled.formula.values import Formula
from scaled.formula.within import allergens_of
from scaled.marks import read_file
from scaled.texts.tables import grams_text


@dataclass(frozen=True)
class Checked:
    """One file: the formula in it where it is free of mistakes (None for an ingredient table)."""

    file: str
    formula: Formula | None = None
    mistakes: tuple[Invalid, ...] = ()
    noticed: tuple[Noticed, ...] = ()
    is_read: bool = True


def check_file(path: Path, settings: Settings | None) -> Checked:
    """Read a formula, or an ingredient table, for the sake of its mistakes."""
    try:
        if path.stem == TABLE:
            read_table(read_file(path), str(path), installed_table())
            return Checked(str(path))
        found, extra = _formula(path, settings)
        return Checked(str(path), found.formula, noticed=(*extra, *found.noticed))
    except Mistakes as error:
        return Checked(str(path), mistakes=error.mistakes)
    except WrongUsage as error:
        return Checked(str(path), mistakes=(Invalid(error.message, error.place),), is_read=False)


def _formula(path: Path, settings: Settings | None) -> tuple[FormulaFile, tuple[Noticed, ...]]:
    kitchen = catalogue_for(path, settings)
    try:
        return read_from(path, kitchen), ()
    except MassMissing as error:
        place = error.place or Place(str(path), 1, 1)
        message = "percentages only, and no 'mass': it must be said with --mass when it is planned"
        return read_from(path, kitchen, mass_mg=ANY_MG), (Noticed(message, place),)


def checked_json(results: Sequence[Checked]) -> dict[str, Any]:
    """All files, each with `ok`, mistakes and warnings; what a formula comes to where it is right."""
    return {"ok": all(not result.mistakes for result in results), "files": [_file_json(result) for result in results]}


def checked_text(result: Checked) -> str:
    """What a right formula comes to, and what was noticed, one line each."""
    formula = result.formula
    if formula is None:
        return f"{result.file}: ok"
    makes = f"{float(formula.pieces):.6g} pieces, " if formula.pieces is not None else ""
    head = f"{result.file}: ok: {formula.title}, {makes}{grams_text(grams(formula.mass_mg))} g"
    return "\n".join([head, *(f"{noticed.place}: note: {noticed.message}" for noticed in result.noticed)])


def _file_json(result: Checked) -> dict[str, Any]:
    formula = result.formula
    return {
        "file": result.file,
        "ok": not result.mistakes,
        "formula": formula.stem if formula else None,
        "title": formula.title if formula else None,
        "pieces": float(formula.pieces) if formula and formula.pieces is not None else None,
        "mass_g": grams(formula.mass_mg) if formula else None,
        "allergens": list(allergens_of(formula)) if formula else None,
        "cautions": list(formula.cautions) if formula else None,
        "mistakes": [_told(mistake.message, mistake.place) for mistake in result.mistakes],
        "warnings": [_told(noticed.message, noticed.place) for noticed in result.noticed],
    }


def _told(message: str, place: Place | None) -> dict[str, Any]:
    return {
        "file": place.file if place else None,
        "line": place.line if place else None,
        "column": place.column if place else None,
        "message": message,
    }
