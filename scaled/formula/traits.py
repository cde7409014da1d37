"""What may be said of an ingredient, in the table and on a formula's line alike: read into one `Ingredient`.

A line says only what differs from the table; what it says replaces the table's word.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import Any

from scaled.formula.egg_sizes import piece_from_text
from scaled.formula.ingredients import EU_14, FORMS, Density, Ingredient
from scaled.formula.values import EGG_PARTS, Composition
from scaled.marks import Mapping, one_of, text
from scaled.units import decimal, density_g_ml, density_range_g_ml

TRAITS = ("role", "form", "density", "density range", "composition", "allergens", "price", "piece", "egg", "caution")
COMPOSITION = ("water", "fat", "sugars")


def read_traits(line: Mapping, base: Ingredient, roles: tuple[str, ...]) -> Ingredient:
    """The ingredient with what `line` says of it; mistakes are noted and leave the base's word."""
    if line.entries.keys().isdisjoint(TRAITS):
        return base
    said: dict[str, Any] = {
        "role": line.get("role", one_of(*roles)) if "role" in line else None,
        "form": line.get("form", one_of(*FORMS)),
        "density": _density(line),
        "composition": _composition(line),
        "price_per_kg": line.get("price", price_per_kg),
        "egg": line.get("egg", one_of(*EGG_PARTS)),
    }
    said["piece_mg"] = line.get("piece", lambda value: piece_from_text(value, said["egg"] or base.egg))
    changes = {name: value for name, value in said.items() if value is not None}
    if "allergens" in line:
        changes["allergens"] = line.texts("allergens", one_of(*EU_14))
    if "caution" in line:
        changes["cautions"] = (*base.cautions, *line.texts("caution", text))
    return replace(base, **changes) if changes else base


def price_per_kg(value: str) -> Fraction:
    """A price in money for a kilogram, `4.20` or `4.20 per kg`."""
    price = decimal(re.sub(r"\s*(/|per)\s*kg$", "", value.strip()))
    if not 0 <= price <= 1_000_000:
        raise ValueError(f"'{value}' is out of bounds: a price for a kilogram is 0 to 1000000")
    return price


def _density(line: Mapping) -> Density | None:
    usual = line.get("density", density_g_ml)
    ends = line.get("density range", density_range_g_ml)
    if usual is None:
        if ends is not None and not line.is_meant("density"):
            line.note_key("'density range' needs the usual 'density' beside it", "density range")
        return None
    lo, hi = ends or (usual, usual)
    if not lo <= usual <= hi:
        line.note("the usual density lies outside its range: correct one of them", "density")
        return None
    return Density(lo, usual, hi)


def _composition(line: Mapping) -> Composition | None:
    parts = line.mapping("composition", COMPOSITION)
    if parts is None:
        return None
    shares = [parts.required(part, _percent) for part in COMPOSITION]
    if any(share is None for share in shares):
        return None
    water, fat, sugars = (share for share in shares if share is not None)
    if water + fat + sugars > 1:
        parts.note("water, fat and sugars come to more than 100 g in 100 g: correct one of them")
        return None
    return Composition(water, fat, sugars)


def _percent(value: str) -> Fraction:
    share = decimal(value.removesuffix("%")) / 100
    if not 0 <= share <= 1:
        raise ValueError(f"'{value}' is out of bounds: grams in 100 g are 0 to 100")
    return share
