"""What is spoken and shown to the cook, by language: a key and its named values make a sentence.

A language is one YAML file beside this one. The rules that need no language are here: masses are whole grams from
20 g up, one decimal below and two below 1 g, since a cook weighs by them; percentages are whole from 10 up. Which
kind a value is, the last word of its name tells: `grams`, `percent`, `pieces` are numbers, `advice` is the key of
another phrase that is put in, everything else is text. A value is put in once and never read again, so that an
ingredient named `{stage}` stays just that.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files

from scaled.marks import Mapping, read_mapping, text

_NAME = re.compile(r"\{([a-z_]+)\}")
_NUMBER = re.compile(r"\d+(\.\d+|/\d+)?")
_SUFFIX = ".yaml"


@dataclass(frozen=True)
class Numbers:
    """How a language writes numbers and speaks units; `one_is` says which numbers take the singular."""

    decimal: str
    gram: str
    grams: str
    one_is: str
    percent: str

    def mass(self, grams: Fraction) -> str:
        places = 0 if grams >= 20 else 1 if grams >= 1 else 2
        shown = round(grams, places)
        is_one = shown < 2 if self.one_is == "below 2" else shown == 1
        return f"{self.number(shown)} {self.gram if is_one else self.grams}"

    def share(self, percent: Fraction) -> str:
        return f"{self.number(round(percent, 0 if percent >= 10 else 1))} {self.percent}"

    def number(self, value: Fraction) -> str:
        """A number of at most two decimals, without zeros at its end."""
        whole, rest = divmod(round(value * 100), 100)
        return f"{whole}{self.decimal}{rest:02}".rstrip("0") if rest else str(whole)


@dataclass(frozen=True)
class Language:
    name: str
    numbers: Numbers
    templates: dict[str, str]

    def names(self, key: str) -> frozenset[str]:
        """The values that the phrase takes; raises ValueError where there is no such phrase."""
        if key not in self.templates:
            raise ValueError(f"no phrase '{key}'")
        return frozenset(_NAME.findall(self.templates[key]))


def languages() -> tuple[str, ...]:
    """The languages there are, by their codes (ISO 639-1)."""
    names = (entry.name for entry in files(__name__).iterdir())
    return tuple(sorted(name.removesuffix(_SUFFIX) for name in names if name.endswith(_SUFFIX)))


@cache
def language(code: str) -> Language:
    """The language of that code.

    Raises:
        ValueError: there is none; the message names those there are.
        Mistakes: its file is damaged.
    """
    if code not in languages():
        raise ValueError(f"no language '{code}': known here are {', '.join(languages())}")
    file = files(__name__) / (code + _SUFFIX)
    return language_from_text(file.read_text(encoding="utf-8"), str(file))


def language_from_text(yaml: str, file: str) -> Language:
    """A language as its file has it; raises Mistakes with the place of each."""
    top = read_mapping(yaml, file, ("language", "numbers", "phrases"))
    name = top.required("language", text)
    numbers = _numbers(top)
    phrases = top.mapping("phrases")
    if phrases is None:
        top.note("'phrases' is missing here")
    keys = phrases.keys() if phrases else ()
    templates = {key: phrases.get(key, _template) or "" for key in keys} if phrases else {}
    top.raise_mistakes()
    if name is None or numbers is None:
        raise AssertionError("what is missing was noted")
    return Language(name, numbers, templates)


def phrase(code: str, key: str, /, **values: str) -> str:
    """A phrase in a language, ready to be spoken or shown.

    Args:
        code: the language.
        key: which phrase.
        values: exactly those that the phrase takes; numbers as decimal or exact fraction (`57.35`, `1147/20`).

    Raises:
        ValueError: no such language or phrase, a value too few or too many, or a number that is none.
    """
    tongue = language(code)
    taken: set[str] = set()
    sentence = _filled(tongue, key, values, taken)
    if values.keys() - taken:
        raise ValueError(f"phrase '{key}' takes no {', '.join(sorted(values.keys() - taken))}")
    return sentence[:1].upper() + sentence[1:]


def _filled(tongue: Language, key: str, values: dict[str, str], taken: set[str]) -> str:
    missing = tongue.names(key) - values.keys()
    if missing:
        raise ValueError(f"phrase '{key}' needs {', '.join(sorted(missing))}")
    taken |= tongue.names(key)

    def put_in(match: re.Match[str]) -> str:
        name = match[1]
        if name == "advice":
            return _filled(tongue, values[name], values, taken)
        return _worded(tongue.numbers, name, values[name])

    return _NAME.sub(put_in, tongue.templates[key])


def _worded(numbers: Numbers, name: str, value: str) -> str:
    kind = name.rpartition("_")[2]
    if kind not in ("grams", "percent", "pieces"):
        return text(value)
    if not _NUMBER.fullmatch(value):
        raise ValueError(f"'{value}' is no number for {name}")
    exact = Fraction(value)
    if kind == "grams":
        return numbers.mass(exact)
    return numbers.share(exact) if kind == "percent" else numbers.number(round(exact, 1))


def _numbers(top: Mapping) -> Numbers | None:
    known = ("decimal", "gram", "grams", "one is", "percent")
    found = top.mapping("numbers", known)
    if found is None:
        top.note("'numbers' is missing here")
        return None
    parts = [found.required(key, _one_is if key == "one is" else text) for key in known]
    decimal, gram, grams, one_is, percent = (part or "" for part in parts)
    return Numbers(decimal, gram, grams, one_is, percent)


def _one_is(value: str) -> str:
    if value not in ("1", "below 2"):
        raise ValueError(f"'{value}' is neither 1 nor below 2")
    return value


def _template(value: str) -> str:
    rest = _NAME.sub("", value)
    if "{" in rest or "}" in rest:
        raise ValueError(f"a brace that is no {{name}}: {value}")
    return text(value)
