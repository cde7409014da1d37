"""Reading one line of a stage: what is weighed, told or judged by feel, before weights and keys are settled.

A line is exactly one of: weighed (`weight` or `percent`), by feel (`by feel: 200 to 260 g`), or told (`count`,
`to taste`, `for`, with `about`). What it leaves out comes from the ingredient table.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Protocol

from scaled.errors import Invalid, Place, ScaledError
from scaled.formula.ingredients import Ingredient, Table
from scaled.formula.tolerance import tolerance
from scaled.formula.traits import TRAITS, read_traits
from scaled.formula.values import Formula, Kind, Tolerance
from scaled.formula.within import ingredient_from_formula
from scaled.marks import Mapping, nearest, text, truth
from scaled.units import decimal, is_volume, mass_mg, mass_range_mg, quantity, weight_mg

AMOUNTS = ("weight", "percent", "by feel")
TOLD = ("count", "to taste", "for", "about")
LINE = ("ingredient", "formula", *AMOUNTS, *TOLD, "tolerance", "flour", "comes out", "weigh", "guard", *TRAITS)
MOST_NAME = 80
MOST_NAMED = 12  # formulas in one line of a terminal
HIDDEN = frozenset({"Cc", "Cf", "Zl", "Zp"})  # categories of the Unicode character database (UAX 44)
JOINERS = "\u200c\u200d"


class Shelf(Protocol):
    """Where a formula finds the others that it uses."""

    def stems(self) -> tuple[str, ...]: ...

    def formula(self, stem: str) -> Formula:
        """Raises KeyError where there is none, Invalid where it has mistakes or uses itself."""
        ...


@dataclass(frozen=True)
class Noticed:
    """Something that is no mistake, but that the writer of a formula would want to know.

    `line` is the place of the line that it concerns, None where it concerns the whole.
    """

    message: str
    place: Place
    line: Place | None = None


@dataclass(frozen=True)
class Line:
    """One line as read. A weighed one has `weight_mg` or `percent`; `tolerance` is what the file says of it."""

    node: Mapping
    name: str
    traits: Ingredient
    kind: Kind
    uses: str | None = None
    weight_mg: Fraction | None = None
    percent: Fraction | None = None
    feel_mg: tuple[Fraction, Fraction] | None = None
    told: str | None = None
    tolerance: Tolerance | None = None
    comes_out: bool | None = None
    is_flour: bool = False
    is_weighed_first: bool = False
    is_guarded: bool = False

    @property
    def named_by(self) -> str:
        """The key that says what the line is of."""
        return "ingredient" if self.uses is None else "formula"


def read_line(node: Mapping, table: Table, shelf: Shelf, noticed: list[Noticed]) -> Line | None:
    """One line of a stage; None where it is too wrong to go on with. Mistakes are noted."""
    base = _named(node, table, shelf, noticed)
    if base is None:
        return None
    traits = read_traits(node, base, tuple(table.roles))
    line = Line(
        node=node,
        name=base.name,
        traits=traits,
        kind="weighed",
        uses=node.get("formula", text),
        tolerance=node.get("tolerance", tolerance),
        comes_out=node.get("comes out", truth),
        is_flour=node.get("flour", truth) or False,
        is_weighed_first=node.get("weigh", _first) or False,
        is_guarded=node.get("guard", truth) or False,
    )
    return _amount(line, table, noticed)


def name(value: str) -> str:
    """A name of at most 80 characters, all of which can be seen.

    What cannot (controls, tabs, marks that turn the direction of writing about, soft hyphens) would make two names
    that look the same, or one that reads otherwise than it is. Joiners are left to the scripts that need them.
    """
    value = value.rstrip("\n")  # YAML's | and > end in one
    hidden = next((c for c in value if c not in JOINERS and unicodedata.category(c) in HIDDEN), None)
    if hidden is not None:
        raise ValueError(f"a character that cannot be seen, U+{ord(hidden):04X}, stands in the name: type it anew")
    plain = text(value)
    if len(plain) > MOST_NAME:
        raise ValueError(f"'{plain[:20]}...' is longer than {MOST_NAME} characters")
    return plain


def _first(value: str) -> bool:
    if value != "first":
        raise ValueError(f"'{value}' is not known: write 'weigh: first', or 'weight: {value}'")
    return True


def _named(node: Mapping, table: Table, shelf: Shelf, noticed: list[Noticed]) -> Ingredient | None:
    """What the table or the shelf knows of the thing that a line names."""
    if "ingredient" in node and "formula" in node:
        node.note_key("'ingredient' and 'formula' exclude each other: keep one", "formula")
        return None
    if "formula" in node:
        return _made(node, shelf)
    called = node.get("ingredient", name) if node.is_meant("formula") else node.required("ingredient", name)
    if called is None:
        return None
    known = table.find(called)
    if known is None and "allergens" in node:
        return Ingredient(called)
    if known is None:
        close = nearest(called, table.names())
        hint = f"; did you mean '{close}'?" if close else ""
        message = f"'{called}' is not in the ingredient table, so that its allergens are not known{hint}"
        noticed.append(Noticed(message, node.place_of("ingredient"), node.place))
        return Ingredient(called)
    return replace(known, name=called)


def _made(node: Mapping, shelf: Shelf) -> Ingredient | None:
    stem = node.get("formula", text)
    if stem is None:
        return None
    try:
        return ingredient_from_formula(stem, shelf.formula(stem))
    except KeyError:
        close = nearest(stem, shelf.stems())
        others = f"did you mean '{close}'?" if close else f"there are {_some(shelf.stems())}"
        node.note(f"no formula '{stem}' here: {others}", "formula")
    except Invalid as error:
        node.note(f"formula '{stem}' cannot be used: {_first_line(error)}", "formula")
    return None


def _some(stems: tuple[str, ...]) -> str:
    more = f" and {len(stems) - MOST_NAMED} more" if len(stems) > MOST_NAMED else ""
    return ", ".join(stems[:MOST_NAMED]) + more or "no others"


def _first_line(error: ScaledError) -> str:
    return str(error).splitlines()[0]


def _amount(line: Line, table: Table, noticed: list[Noticed]) -> Line | None:
    """The line with how much of it there is."""
    node = line.node
    given = [key for key in node if key in AMOUNTS]
    told = [key for key in node if key in TOLD]
    if len(given) > 1 or (given and told):
        first, *others = (key for key in node if key in given + told)
        clash = next(key for key in others if first in AMOUNTS or key in AMOUNTS)
        node.note_key(f"'{clash}' cannot stand beside '{first}': keep one", clash)
        return None
    if told:
        return _told(line, told)
    if not given and (node.misspelt & {*AMOUNTS, *TOLD} or ("weigh" in node and not line.is_weighed_first)):
        return None
    if not given:
        node.note("no amount: give 'weight', 'percent', 'by feel', 'count', 'to taste' or 'for'")
        return None
    if given == ["by feel"]:
        return _by_feel(line)
    if given == ["percent"]:
        percent = node.get("percent", _percent)
        return replace(line, percent=percent) if percent is not None else None
    return _weighed(line, table, noticed)


def _weighed(line: Line, table: Table, noticed: list[Noticed]) -> Line | None:
    node = line.node
    given = node.get("weight", text)
    if given is None:
        return None
    by_volume = _is_volume(given)
    if by_volume and node.is_meant("density") and line.traits.density is None:
        return None  # it is the density that is wrong, and that was noted
    weight = node.get("weight", lambda value: _weight_mg(value, line, table))
    if weight is None:
        return None
    if by_volume:
        _notice_volume(line, given, noticed)
    return replace(line, weight_mg=weight)


def _is_volume(given: str) -> bool:
    """Whether a weight is given as a volume; what is no quantity at all is not."""
    try:
        return is_volume(quantity(given)[1])
    except ValueError:
        return False


def _weight_mg(value: str, line: Line, table: Table) -> Fraction:
    density = line.traits.density
    try:
        return weight_mg(value, density.usual if density else None)
    except ValueError as error:
        close = None if table.find(line.name) or density or line.uses else nearest(line.name, table.names())
        if close is None or not _is_volume(value):
            raise
        raise ValueError(f"{error}, or did you mean '{close}'?") from error


def _told(line: Line, given: list[str]) -> Line | None:
    node = line.node
    for key in ("tolerance", "flour", "weigh", "guard", "comes out"):
        if key in node:
            node.note_key(f"'{key}' means nothing on a line that is told, not weighed", key)
            return None
    taste = node.get("to taste", truth)
    use, about, count = node.get("for", name), node.get("about", mass_mg), node.get("count", name)
    if taste is False:
        node.note("'to taste: no' means nothing: delete it", "to taste")
        return None
    if any(node.place_of(key) == mistake.place for key in given for mistake in node.report.mistakes):
        return None
    parts = [count, "to taste" if taste else None, f"for {use}" if use else None]
    if about is not None:
        parts.append(f"about {float(about / 1_000):.4g} g")
    return replace(line, kind="told", told=", ".join(part for part in parts if part))


def _by_feel(line: Line) -> Line | None:
    node = line.node
    for key in ("tolerance", "weigh"):
        if key in node:
            node.note_key(f"'{key}' cannot stand beside 'by feel': the cook's yes ends it", key)
            return None
    ends = node.get("by feel", mass_range_mg)
    if ends is None:
        return None
    if ends[1] < 1:
        node.note("by feel: nothing at all: give a range like 200 to 260 g", "by feel")
        return None
    return replace(line, kind="by feel", feel_mg=ends, weight_mg=(ends[0] + ends[1]) / 2)


def _percent(value: str) -> Fraction:
    percent = decimal(value.removesuffix("%"))
    if not 0 < percent <= 10_000:
        raise ValueError(f"'{value}' is out of bounds: more than 0 and at most 10000 per cent of the flour")
    return percent


def _notice_volume(line: Line, given: str, noticed: list[Noticed]) -> None:
    """A volume was turned into a weight: say by which density, and that weighing is better."""
    density = line.traits.density
    if density is None:
        return
    spread = f", which ranges from {float(density.lo):.4g} to {float(density.hi):.4g}"
    message = (
        f"{line.name}: {given} is a volume, taken by a density of {float(density.usual):.4g} g/ml"
        f"{spread if density.lo < density.hi else ''}: weigh it once and give the weight"
    )
    noticed.append(Noticed(message, line.node.place_of("weight"), line.node.place))
