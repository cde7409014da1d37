"""A folder of formulas, each by its stem, with the ingredient table that holds for it.

The only place where formula files are opened. A stem is looked up among the names that listing the folder gave; it
is never made part of a path, so that nothing a request says reaches the file system. What was read is kept until its
file changes. The same folder serves formulas that use others: each is read once, and one that uses itself is found.
"""

from __future__ import annotations

import functools
import threading
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any

from scaled.errors import Invalid, Place
from scaled.formula.file import FormulaFile, read_formula
from scaled.formula.ingredients import ALLERGEN_LISTS, AllergenList, Table
from scaled.formula.percent import MassMissing
from scaled.formula.plan import plan
from scaled.formula.plan_json import plan_json
from scaled.formula.scales import ScaleFacts
from scaled.formula.table import read_table
from scaled.formula.values import Formula, Product
from scaled.marks import read_file

ENDINGS = (".yaml", ".yml")
TABLE = "ingredients"
MOST_WITHIN = 8
ANY_MG = Fraction(1_000_000)  # what percentages are read with where nobody says of which mass

Stamp = tuple[str, int, int]


@functools.cache
def installed_table(allergens: AllergenList = "eu") -> Table:
    """The ingredient table that comes with the program, with allergens as that list calls them."""
    content = files("scaled.formula").joinpath(f"{TABLE}.yaml").read_text(encoding="utf-8")
    return replace(read_table(content, f"{TABLE}.yaml"), allergen_names=ALLERGEN_LISTS[allergens])


def table_for(folder: Path, allergens: AllergenList = "eu") -> Table:
    """The table that holds for the formulas of a folder: the one that lies there over the installed one."""
    for ending in ENDINGS:
        beside = folder / f"{TABLE}{ending}"
        if beside.is_file():
            return _table_beside(_stamp(beside), allergens)
    return installed_table(allergens)


@functools.lru_cache(maxsize=16)
def _table_beside(stamp: Stamp, allergens: AllergenList) -> Table:
    """Kept until the file changes: its stamp is what it is kept by."""
    return read_table(read_file(Path(stamp[0])), stamp[0], installed_table(allergens))


class FolderCatalogue:
    """The formulas of one or more folders; keeps to the protocol `Catalogue`. Safe to share among threads.

    Args:
        folders: where to look, the first one wins where two hold the same stem.
        scales: those that a plan may name, the one that is used most first.
        allergens: the list by which allergens are named.
    """

    def __init__(self, *folders: Path, scales: Sequence[ScaleFacts] = (), allergens: AllergenList = "eu") -> None:
        self.folders = folders
        self.scales = tuple(scales)
        self.allergens: AllergenList = allergens
        self._lock = threading.Lock()
        self._stamps: tuple[Stamp, ...] = ()
        self._kept: dict[str, FormulaFile | Invalid] = {}

    def stems(self) -> tuple[str, ...]:
        """The stems of all formula files, in alphabetical order; () where no folder can be read."""
        return tuple(self._paths())

    def formula(self, stem: str) -> Formula:
        """The formula of that stem; raises KeyError where there is none, Invalid where its file has mistakes."""
        return self.file(stem).formula

    def plan_json(self, stem: str, factor: Fraction) -> dict[str, Any]:
        """The plan as the contract spells it; raises as `formula`, WrongUsage for an absurd factor."""
        return plan_json(plan(self.formula(stem), factor, self.used, self.scales))

    def product(self, name: str) -> Product:
        """What is known of an ingredient by name or alias; where no table holds it, its allergens are not known.

        Raises:
            Mistakes: a table beside the formulas has some.
        """
        tables = [table_for(folder, self.allergens) for folder in self.folders] or [installed_table(self.allergens)]
        for table in tables:
            known = table.find(name)
            if known is not None:
                return Product(known.name, table.allergens(known.allergens), known.cautions)
        return Product(name)

    def used(self, stem: str, users: tuple[str, ...] = ()) -> Formula:
        """As `formula`, for use in another: that says how much, so that percentages alone are enough."""
        try:
            return self.file(stem, users).formula
        except MassMissing:
            return read_from(self._paths()[stem], self, mass_mg=ANY_MG, users=users).formula

    def file(self, stem: str, users: tuple[str, ...] = ()) -> FormulaFile:
        """As `formula`, with what was noticed; `users` are the formulas that are being read for which this is used."""
        paths = self._paths()
        if stem not in paths:
            raise KeyError(stem)
        if stem in users:
            circle = " uses ".join((*users[users.index(stem) :], stem))
            raise Invalid(
                f"it would be made of itself: {circle}: take one of these lines out", Place(str(paths[stem]), 1, 1)
            )
        if len(users) > MOST_WITHIN:
            raise Invalid(f"formulas within formulas, more than {MOST_WITHIN} deep", Place(str(paths[stem]), 1, 1))
        kept = self._unchanged(paths).get(stem)
        if kept is None:
            kept = self._read(paths[stem], users)
            if not users or isinstance(kept, FormulaFile):  # what is read for another may fail for what the other does
                with self._lock:
                    self._kept[stem] = kept
        if isinstance(kept, Invalid):
            raise kept
        return kept

    def _read(self, path: Path, users: tuple[str, ...]) -> FormulaFile | Invalid:
        try:
            return read_from(path, self, users=users)
        except Invalid as error:
            return error

    def _paths(self) -> dict[str, Path]:
        """The formula files by stem, in alphabetical order."""
        found: dict[str, Path] = {}
        for folder in self.folders:
            for path in _listed(folder):
                if path.suffix in ENDINGS and path.stem != TABLE and not path.name.startswith("."):
                    found.setdefault(path.stem, path)
        return dict(sorted(found.items()))

    def _unchanged(self, paths: dict[str, Path]) -> dict[str, FormulaFile | Invalid]:
        """What is kept; all of it is forgotten when any file of the folders has changed, since one uses another."""
        tables = [folder / f"{TABLE}{ending}" for folder in self.folders for ending in ENDINGS]
        stamps = tuple(_stamp(path) for path in (*paths.values(), *tables) if _is_file(path))
        with self._lock:
            if stamps != self._stamps:
                self._stamps, self._kept = stamps, {}
            return self._kept


class _Shelf:
    """The catalogue as seen from a formula that is being read: it cannot use itself, nor what uses it."""

    def __init__(self, catalogue: FolderCatalogue, users: tuple[str, ...]) -> None:
        self.catalogue = catalogue
        self.users = users

    def stems(self) -> tuple[str, ...]:
        return self.catalogue.stems()

    def formula(self, stem: str) -> Formula:
        return self.catalogue.used(stem, self.users)


def read_from(
    path: Path, catalogue: FolderCatalogue, *, mass_mg: Fraction | None = None, users: tuple[str, ...] = ()
) -> FormulaFile:
    """A formula file, wherever it lies; the formulas that it uses come from the catalogue.

    Raises:
        WrongUsage: the file cannot be read.
        Mistakes: what is wrong in it.
    """
    content = read_file(path)
    shelf = _Shelf(catalogue, (*users, path.stem))
    table = table_for(path.parent, catalogue.allergens)
    return read_formula(content, str(path), path.stem, table, shelf, mass_mg=mass_mg)


def load_formula(path: Path, mass_mg: Fraction | None = None) -> Formula:
    """The formula in a file, with those beside it to be used by it; raises as `read_from`."""
    return read_from(path, FolderCatalogue(path.parent), mass_mg=mass_mg).formula


def _listed(folder: Path) -> list[Path]:
    """The files in a folder, in alphabetical order; nothing where it is none or may not be looked into."""
    try:
        return sorted(path for path in folder.iterdir() if _is_file(path))
    except OSError:
        return []


def _is_file(path: Path) -> bool:
    """Whether it is a file, as far as its folder lets that be seen."""
    try:
        return path.is_file()
    except OSError:
        return False


def _stamp(path: Path) -> Stamp:
    status = path.stat()
    return str(path), status.st_mtime_ns, status.st_size
