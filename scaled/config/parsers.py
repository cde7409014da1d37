"""Parsers of single values of the settings, within the bounds that nothing else knows; each raises ValueError."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from scaled import marks, units

_NAME = re.compile(r"\S.{0,58}\S|\S")
_PORT = re.compile(r"/\S+|[a-z0-9]+://\S*|[0-9A-Fa-f]{4}:[0-9A-Fa-f]{4}(:\S+)?")  # see instruments.find


def name(text: str) -> str:
    plain = marks.text(text)
    if not _NAME.fullmatch(plain):
        raise ValueError(f"'{plain[:20]}...' is too long: at most 60 characters")
    return plain


def port(text: str) -> str:
    """A scale's port by its path, by vendor and product, or as a URL."""
    if not _PORT.fullmatch(text):
        examples = "/dev/serial/by-id/..., 0403:6001 or socket://HOST:PORT"
        raise ValueError(f"'{text}' does not fit: a port is like {examples}")
    return text


def whole(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", text):
        raise ValueError(f"'{text}' is no whole number")
    return int(text)


def mass_mg(lo_mg: int, hi_mg: int) -> Callable[[str], int]:
    """A parser for a mass of whole mg within bounds."""

    def parse(text: str) -> int:
        mass = units.mass_mg(text)
        if mass.denominator != 1:
            raise ValueError(f"'{text}' is no whole number of milligrams")
        if not lo_mg <= mass <= hi_mg:
            raise ValueError(f"'{text}' is out of bounds: {lo_mg / 1_000:g} g to {hi_mg / 1_000:g} g")
        return int(mass)

    return parse


def spread_mg(text: str) -> float:
    """A standard deviation in mg."""
    spread = float(units.mass_mg(text))
    if not 0 < spread <= 1_000_000:
        raise ValueError(f"'{text}' is out of bounds: more than nothing, at most 1 kg")
    return spread


def division_mg(text: str) -> int:
    """1, 2 or 5 times a power of ten (OIML R 76-1, 3.2.1), from 1 mg to 1 kg."""
    division = mass_mg(1, 1_000_000)(text)
    if str(division).rstrip("0") not in ("1", "2", "5"):
        raise ValueError(f"'{text}' is no division: it is 1, 2 or 5 with zeros, as the plate on the scale says")
    return division


def volume_ml(text: str) -> Fraction:
    """What a vessel holds."""
    volume = units.volume_ml(text)
    if volume < 10:
        raise ValueError(f"'{text}' is out of bounds: a vessel holds at least 10 ml")
    return volume


def seconds(lo_s: float, hi_s: float) -> Callable[[str], float]:
    """A parser for a time within bounds."""

    def parse(text: str) -> float:
        duration = float(units.duration_s(text))
        if not lo_s <= duration <= hi_s:
            raise ValueError(f"'{text}' is out of bounds: {lo_s:g} s to {hi_s:g} s")
        return duration

    return parse
