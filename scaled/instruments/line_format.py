"""What the lines of one kind of scale look like, and how one such line is read.

A `LineFormat` is data (one YAML mapping, see `formats.yaml`): line templates of fields and literal characters, what
the flags in them mean, and annotated sample lines. `LineGrammar` compiles it to regular expressions that must fit the
whole line, unit included; a line that fits in part is no weight. Nothing here knows a port or a time.

In a template
    {sign} {number} {unit}   are the parts of the weight (the sign may stand apart from the digits, or be a blank),
    {dashes}                 are two or more `-` where a number would be, perhaps after a +: beyond the capacity,
    {name}                   is a flag of that name: one of its texts, none of them too where "" is one,
    [x]                      may be missing,
    a blank                  is any number of blanks, none too; every other character is itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, NamedTuple, get_args

from scaled.units import MG
from scaled.weighing.values import ScaleState

Shape = Literal["plain", "header", "trailing", "framed", "polled"]
Meaning = Literal["settled", "in motion", "gross", "net", "over capacity", "under zero", "nothing"]

SHAPES: tuple[Shape, ...] = get_args(Shape)
MEANINGS: tuple[Meaning, ...] = get_args(Meaning)
UNITS = ("mg", "g", "kg", "oz", "lb")
LONGEST_LINE = 80  # bytes; the longest line seen has 26
_FIELD = re.compile(r"\{([^{}]*)\}|\[([^\[\]]*)\]|( +)|([^ {}\[\]])")
_NAME = re.compile(r"[a-z][a-z ]*")
_MOST_DECIMALS = 6
_WEIGHT = {
    "sign": "(?P<sign>[+-]?)",
    "number": f"(?P<whole>[0-9]{{1,9}})(?:POINT(?P<fraction>[0-9]{{1,{_MOST_DECIMALS}}}))?",
    "dashes": "[+]?-{2,}",
    "unit": "",
}
_PARTS = ("sign", "whole", "fraction", "unit")
_Sizes = tuple[tuple[int, int, int | None], ...]
_Said = tuple[bool | None, bool | None, ScaleState, _Sizes | None]
_new = tuple.__new__  # a named tuple made without its own constructor: a third of the time, on the hot path


class Telling(NamedTuple):
    """What one line says: the weight (None: none is shown) and the scale's own flags (None: not told)."""

    value_mg: int | None
    in_motion: bool | None
    is_net: bool | None
    state: ScaleState
    shown_division_mg: int | None


@dataclass(frozen=True)
class Sample:
    """A line as it was seen on a wire, and what it says."""

    line: str
    value_mg: int | None
    in_motion: bool | None
    is_net: bool | None
    state: ScaleState


@dataclass(frozen=True)
class LineFormat:
    """One kind of line; it compiles, and reads its own samples, or cannot be made (ValueError)."""

    name: str
    shape: Shape
    says: str
    lines: tuple[str, ...]
    flags: Mapping[str, Mapping[str, Meaning]]
    samples: tuple[Sample, ...]
    units: tuple[str, ...] = UNITS
    unit: str | None = None
    decimal: str = "."

    def __post_init__(self) -> None:
        if not self.lines or not self.samples:
            raise ValueError("a format has at least one line and one sample")
        for flag, texts in self.flags.items():
            if not _NAME.fullmatch(flag) or flag in _WEIGHT:
                raise ValueError(f"'{flag}' is no name for a flag: use small letters, and none of {', '.join(_WEIGHT)}")
            if not texts:
                raise ValueError(f"the flag '{flag}' has no texts")
        if unknown := [unit for unit in (*self.units, *([self.unit] if self.unit else [])) if unit not in UNITS]:
            raise ValueError(f"unit '{unknown[0]}' is not one of {', '.join(UNITS)}")
        if self.decimal not in (".", ","):
            raise ValueError(f"'{self.decimal}' is no decimal sign: it is . or ,")
        grammar = LineGrammar(self)
        for sample in self.samples:
            telling = grammar.read(sample.line.encode("latin-1"))
            if telling is None:
                raise ValueError(f"its own sample '{sample.line}' does not fit")
            wanted = (sample.value_mg, sample.in_motion, sample.is_net, sample.state)
            if telling[:4] != wanted:
                raise ValueError(f"its own sample '{sample.line}' reads {telling[:4]}, not {wanted}")


class LineGrammar:
    """Reads single lines of one format."""

    def __init__(self, line_format: LineFormat) -> None:
        self.line_format = line_format
        self._templates = [_Template(line_format, template) for template in line_format.lines]
        self._last = self._templates[0]

    def read(self, line: bytes) -> Telling | None:
        """What a line without its CR and LF says; None where it is no whole line of this format."""
        telling = self._last.read(line)
        if telling is None and len(line) <= LONGEST_LINE:
            for template in self._templates:
                if template is not self._last:
                    telling = template.read(line)
                    if telling is not None:
                        self._last = template
                        break
        return telling


class _Template:
    """One line template as a regular expression, with a table from the flags' texts to what they mean."""

    def __init__(self, line_format: LineFormat, template: str) -> None:
        self._format = line_format
        self._template = template
        pattern = re.compile(self._pattern(template).encode("ascii"))
        absent = b"".join(b"(?P<%s>)" % name.encode() for name in _PARTS if name not in pattern.groupindex)
        pattern = re.compile(absent + pattern.pattern)
        flags = [name for name in pattern.groupindex if name not in _PARTS]
        self._fullmatch = pattern.fullmatch
        self._groups = tuple(pattern.groupindex[name] for name in (*_PARTS, *flags))
        self._meanings = [
            {text.encode("latin-1"): meaning for text, meaning in line_format.flags[name.replace("_", " ")].items()}
            for name in flags
        ]
        self._said: dict[tuple[bytes | None, ...], _Said] = {}
        has_number = b"<whole>" not in absent
        self._state: ScaleState = "ready" if has_number else "over capacity"  # where no flag says more
        if not has_number and "{dashes}" not in template and not self._can_say_range():
            raise ValueError(f"the line '{template}' has no {{number}} and no flag that explains why")
        if has_number and b"<unit>" in absent and line_format.unit is None:
            raise ValueError(f"the line '{template}' has no {{unit}}: say which one with the key unit")

    def read(self, line: bytes) -> Telling | None:
        match = self._fullmatch(line)
        if match is None:
            return None
        parts = match.group(*self._groups)
        key = parts[3:]
        in_motion, is_net, state, sizes = self._said.get(key) or self._say(key)
        if sizes is None:
            return Telling(None, in_motion, is_net, state, None)
        sign, whole, fraction = parts[:3]
        if fraction:
            numerator, denominator, division_mg = sizes[len(fraction)]
            value_mg = int(whole + fraction) * numerator
        else:
            numerator, denominator, division_mg = sizes[0]
            value_mg = int(whole) * numerator
        if denominator != 1:
            value_mg = round(Fraction(value_mg, denominator))
        return _new(Telling, (-value_mg if sign == b"-" else value_mg, in_motion, is_net, state, division_mg))

    def _say(self, key: tuple[bytes | None, ...]) -> _Said:
        """What a unit and a combination of flag texts mean, worked out once for each."""
        in_motion: bool | None = None
        is_net: bool | None = None
        state = self._state
        for meanings, text in zip(self._meanings, key[1:], strict=True):
            meaning = meanings.get(text or b"", "nothing")
            if meaning in ("settled", "in motion"):
                in_motion = meaning == "in motion"
            elif meaning in ("gross", "net"):
                is_net = meaning == "net"
            elif meaning in ("over capacity", "under zero"):
                state = meaning
        unit = (key[0] or b"").decode("ascii") or self._format.unit
        sizes = _sizes_of(unit) if state == "ready" and unit else None
        self._said[key] = (in_motion, is_net, state, sizes)
        return self._said[key]

    def _can_say_range(self) -> bool:
        return any(m in ("over capacity", "under zero") for meanings in self._meanings for m in meanings.values())

    def _pattern(self, template: str) -> str:
        parts = list(_FIELD.finditer(template))
        if "".join(match[0] for match in parts) != template or not template:
            raise ValueError(f"the line '{template}' has a bracket with no partner, or is empty")
        return "".join(self._part(match) for match in parts)

    def _part(self, match: re.Match[str]) -> str:
        field, optional, blanks, literal = match.groups()
        if blanks:
            return " *+"
        if literal:
            return re.escape(literal)
        if optional is not None:
            return f"(?:{self._pattern(optional)})?"
        name = field.replace(" ", "_")
        if field == "unit":
            return f"(?P<unit>{_any_of(self._format.units)})"
        if field in _WEIGHT:
            return _WEIGHT[field].replace("POINT", re.escape(self._format.decimal))
        if field not in self._format.flags:
            raise ValueError(f"the line '{self._template}' has a field {{{field}}} that no flag explains")
        return f"(?P<{name}>{_any_of(self._format.flags[field])})"


def _any_of(texts: Iterable[str]) -> str:
    """One of some texts, the longest first so that `kg` is not taken for `k`."""
    return "|".join(re.escape(text) for text in sorted(texts, key=len, reverse=True))


def _sizes_of(unit: str) -> _Sizes:
    """The last digit of a number with 0 to 6 decimals: mg as numerator, denominator, and rounded (None: below 1)."""
    sizes = [MG[unit] / 10**decimals for decimals in range(_MOST_DECIMALS + 1)]
    return tuple((size.numerator, size.denominator, round(size) or None) for size in sizes)
