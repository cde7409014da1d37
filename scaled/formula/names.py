"""Which addition is meant: the one rule for every NAME that a cook types or says.

Case is ignored and a word is enough if it fits only one. An exact match of the whole key wins over words, so that
`butter` means butter even where brown butter is in the formula too; then the ingredient's own name without its
stage, then whole words in any order, then beginnings of words.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from scaled.errors import WrongUsage
from scaled.formula.values import Addition
from scaled.units import mass_mg


def find_key(name: str, keys: Sequence[str], spelt: Mapping[str, str] | None = None) -> str:
    """The key that a name means.

    Args:
        name: what was typed: `flour`, `Butter (creamed)`.
        keys: the keys to choose from, in the formula's order.
        spelt: keys by other spellings; what fits a key by the same rule comes first.

    Raises:
        WrongUsage: it fits none or more than one; the message holds the names to choose from.
    """
    others = spelt or {}
    exact, *looser = _matches(_plain(name), keys)
    spelt_exactly, *spelt_looser = _matches(_plain(name), tuple(others))
    for found in (exact, spelt_exactly, *looser, *spelt_looser):
        if len(found) == 1:
            return others.get(found[0], found[0])
        if found:
            raise WrongUsage(f"'{name.strip()}' fits more than one: say which of {', '.join(found)}")
    raise WrongUsage(f"'{name.strip()}' fits none: the names here are {', '.join(keys)}")


def staged_name(addition: Addition) -> str:
    """`name (stage)`: the key of what occurs in two stages, which a cook may use of anything."""
    return f"{addition.ingredient} ({addition.stage})"


def named_masses(
    texts: Iterable[str], keys: Sequence[str], spelt: Mapping[str, str] | None = None
) -> dict[str, Fraction]:
    """What options like `--in 'egg=57 g' --in 'butter=180 g'` say, by key, in mg.

    Args:
        texts: each `NAME=MASS`.
        keys: the keys to choose from, in the formula's order.
        spelt: keys by other spellings.

    Raises:
        WrongUsage: no `NAME=MASS`, a name that does not fit, a mass that is none, one key named twice.
    """
    masses: dict[str, Fraction] = {}
    for text in texts:
        name, equals, mass = text.partition("=")
        if not equals:
            raise WrongUsage(f"'{text}' is no NAME=MASS: write it like 'flour=900 g'")
        key = find_key(name, keys, spelt)
        if key in masses:
            raise WrongUsage(f"'{key}' is named twice: add the two together")
        try:
            masses[key] = mass_mg(mass)
        except ValueError as error:
            raise WrongUsage(f"{key}: {error}") from error
    return masses


def _matches(wanted: str, keys: Sequence[str]) -> list[list[str]]:
    """The keys that fit, by ever looser rules."""
    words = _words(wanted)
    if not words:
        return [[]]
    return [
        [key for key in keys if _plain(key) == wanted],
        [key for key in keys if re.sub(r" \([^()]*\)$", "", _plain(key)) == wanted],
        [key for key in keys if set(words) <= set(_words(key))],
        [key for key in keys if all(any(word.startswith(start) for word in _words(key)) for start in words)],
    ]


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W_]+", name.casefold())
