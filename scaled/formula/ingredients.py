"""The ingredient table's values: what is known of an ingredient whatever formula it stands in.

`table.py` reads the file. A formula's own word always wins over the table's.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

from scaled.formula.tolerance import UsualTolerance
from scaled.formula.values import Composition, EggPart

Form = Literal["lumps", "dry", "fine", "liquid"]
FORMS: tuple[Form, ...] = get_args(Form)

# The share of the last addition that comes out of a shared bowl again (common practice).
SHARE_OUT: dict[Form, Fraction] = {
    "lumps": Fraction(1),
    "dry": Fraction(4, 5),
    "fine": Fraction(4, 5),
    "liquid": Fraction(0),
}
FINE_IS_LOST_BELOW = Fraction(2, 100)  # of the bowl: so little of a fine powder cannot be found again

# Codes of the allergens of EU 1169/2011 annex II (14 groups) and of the US FALCPA with FASTER (9), and how each list
# calls them: the EU names the cereal and the nut, and lists groups that the US does not.
EU_14: dict[str, str] = {
    "wheat": "gluten (wheat)",
    "rye": "gluten (rye)",
    "barley": "gluten (barley)",
    "oats": "gluten (oats)",
    "spelt": "gluten (spelt)",
    "crustaceans": "crustaceans",
    "eggs": "eggs",
    "fish": "fish",
    "peanuts": "peanuts",
    "soybeans": "soybeans",
    "milk": "milk",
    "almonds": "nuts (almonds)",
    "hazelnuts": "nuts (hazelnuts)",
    "walnuts": "nuts (walnuts)",
    "cashews": "nuts (cashews)",
    "pecans": "nuts (pecans)",
    "brazil nuts": "nuts (Brazil nuts)",
    "pistachios": "nuts (pistachios)",
    "macadamias": "nuts (macadamias)",
    "celery": "celery",
    "mustard": "mustard",
    "sesame": "sesame",
    "sulphites": "sulphites",
    "lupin": "lupin",
    "molluscs": "molluscs",
}
US_9: dict[str, str] = {
    "wheat": "wheat",
    "spelt": "wheat (spelt)",
    "crustaceans": "crustacean shellfish",
    "eggs": "eggs",
    "fish": "fish",
    "peanuts": "peanuts",
    "soybeans": "soybeans",
    "milk": "milk",
    "almonds": "tree nuts (almonds)",
    "hazelnuts": "tree nuts (hazelnuts)",
    "walnuts": "tree nuts (walnuts)",
    "cashews": "tree nuts (cashews)",
    "pecans": "tree nuts (pecans)",
    "brazil nuts": "tree nuts (Brazil nuts)",
    "pistachios": "tree nuts (pistachios)",
    "macadamias": "tree nuts (macadamias)",
    "sesame": "sesame",
}
AllergenList = Literal["eu", "us"]
ALLERGEN_LISTS: dict[AllergenList, dict[str, str]] = {"eu": EU_14, "us": US_9}


@dataclass(frozen=True)
class Density:
    """Grams a millilitre: the usual value and the range that the kitchen meets. A powder's is no constant."""

    lo: Fraction
    usual: Fraction
    hi: Fraction

    def __post_init__(self) -> None:
        if not 0 < self.lo <= self.usual <= self.hi:
            raise ValueError(f"a density's range holds its usual value: {self.lo} to {self.hi}, {self.usual}")


@dataclass(frozen=True)
class Ingredient:
    """One entry of the table. `piece_mg` is what one of it weighs (an egg out of its shell), `ndb` its SR28 number."""

    name: str
    also: tuple[str, ...] = ()
    role: str | None = None
    form: Form | None = None
    density: Density | None = None
    composition: Composition | None = None
    ndb: str | None = None
    allergens: tuple[str, ...] = ()
    price_per_kg: Fraction | None = None
    piece_mg: Fraction | None = None
    egg: EggPart | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """All that the kitchen knows of its ingredients: roles with their usual tolerances, and the entries."""

    roles: dict[str, UsualTolerance]
    ingredients: tuple[Ingredient, ...]
    allergen_names: dict[str, str] = field(default_factory=lambda: EU_14)
    _by_name: dict[str, Ingredient] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        names = {plain(name): entry for entry in self.ingredients for name in entry.also}
        names |= {plain(entry.name): entry for entry in self.ingredients}
        object.__setattr__(self, "_by_name", names)

    def find(self, name: str) -> Ingredient | None:
        """The entry of that name or alias, case ignored, one or many of it."""
        return self._by_name.get(plain(name))

    def names(self) -> tuple[str, ...]:
        """All the names and aliases, to find the nearest among."""
        return tuple(name for entry in self.ingredients for name in (entry.name, *entry.also))

    def allergens(self, codes: tuple[str, ...]) -> tuple[str, ...]:
        """Codes as the kitchen's list names them; what that does not hold is left out, words that are no codes stay."""
        names = self.allergen_names
        return tuple(names.get(code, code) for code in codes if code in names or code not in EU_14)

    def over(self, other: Table) -> Table:
        """This table laid over another: its entries and roles replace those of the same name there."""
        mine = {plain(entry.name) for entry in self.ingredients}
        kept = tuple(entry for entry in other.ingredients if plain(entry.name) not in mine)
        return Table(other.roles | self.roles, kept + self.ingredients, other.allergen_names)


def plain(name: str) -> str:
    """A name as it is compared: case and spaces evened out, a final s dropped."""
    words = " ".join(name.casefold().replace("-", " ").split())
    return words.removesuffix("s") if len(words) > 3 else words
