"""Reading an ingredient table: `roles` with their usual tolerances, `ingredients` with what is known of each.

The installed table and one beside a kitchen's formulas have the same form. The kitchen's is laid over the installed
one, so that it need only hold what differs: its prices, its flour, an ingredient of its own.
"""

from __future__ import annotations

import re
from dataclasses import replace

from scaled.errors import Place
from scaled.formula.ingredients import Ingredient, Table, plain
from scaled.formula.tolerance import UsualTolerance, tolerance
from scaled.formula.traits import TRAITS, read_traits
from scaled.marks import Mapping, read_mapping, text
from scaled.units import mass_mg

ENTRY = ("ingredient", "also", "ndb", *TRAITS)


def read_table(content: str, file: str, installed: Table | None = None) -> Table:
    """The table that a YAML text holds, laid over the installed one where that is given.

    Raises:
        Mistakes: all that is wrong in it, each with its place.
    """
    root = read_mapping(content, file, ("roles", "ingredients"))
    written = root.mapping("roles")
    roles = _roles(written)
    # A role that could not be read is known all the same: what is wrong with it was noted.
    known = (*(installed.roles if installed else ()), *(written or ()))
    seen: dict[str, Place] = {}
    entries = [_entry(line, known, seen, installed) for line in root.mappings("ingredients", ENTRY)]
    root.raise_mistakes()
    table = Table(roles, tuple(entry for entry in entries if entry is not None))
    return table.over(installed) if installed else table


def _roles(roles: Mapping | None) -> dict[str, UsualTolerance]:
    if roles is None:
        return {}
    found = {}
    for name in roles:
        line = roles.mapping(name, ("usual", "at least"))
        if line is None:
            continue
        usual, floor = line.required("usual", tolerance), line.required("at least", mass_mg)
        if usual is None or floor is None:
            continue
        if not (usual.under.is_relative and usual.over.is_relative):
            line.note("a role's usual tolerance is in per cent; its least in grams goes to 'at least'", "usual")
            continue
        found[name] = UsualTolerance(usual, floor)
    return found


def _entry(line: Mapping, roles: tuple[str, ...], seen: dict[str, Place], installed: Table | None) -> Ingredient | None:
    name = line.required("ingredient", text)
    if name is None:
        return None
    base = installed.find(name) if installed else None
    if base is None or plain(base.name) != plain(name):
        base = Ingredient(name)
    also = line.texts("also", text)
    for alias in (name, *also):
        first = seen.setdefault(plain(alias), line.place)
        if first is not line.place:
            line.note(f"'{alias}' already names an ingredient (line {first.line}): name one differently", "ingredient")
    entry = read_traits(line, base, roles)
    ndb = line.get("ndb", _ndb)
    return replace(entry, name=name, also=also or base.also, ndb=ndb or base.ndb)


def _ndb(value: str) -> str:
    if not re.fullmatch(r"[0-9]{5}", value):
        raise ValueError(f"'{value}' is no NDB number of SR28: five digits")
    return value
