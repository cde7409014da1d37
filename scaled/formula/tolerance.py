"""A tolerance's text: `±1 %`, `±2 g`, `+2 g / -0.5 g`, `+1 % / -2 %`, and a role's usual one with its floor.

`+-` and `+/-` mean `±`, for keyboards that have no such key.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.values import Side, Tolerance
from scaled.units import decimal, mass_mg

MOST_OVER = 1  # twice the target is no tolerance
_FORMS = "write it like ±1 %, ±2 g or +2 g / -0.5 g"


@dataclass(frozen=True)
class UsualTolerance:
    """What a role's ingredients are weighed to where the formula says nothing.

    `tolerance` is relative; `floor_mg` is the half width that the trade does not go below. Which of the two holds is
    decided once, at factor 1, for each side that may be missed at all, and stays at every other factor.
    """

    tolerance: Tolerance
    floor_mg: Fraction

    def at(self, weight_mg: Fraction) -> Tolerance:
        """The tolerance of an ingredient whose nominal weight this is."""
        return Tolerance(self._side(self.tolerance.under, weight_mg), self._side(self.tolerance.over, weight_mg))

    def _side(self, side: Side, weight_mg: Fraction) -> Side:
        if side.amount == 0 or side.width_mg(weight_mg) >= self.floor_mg:
            return side
        return Side(self.floor_mg, is_relative=False)


UNKNOWN_ROLE = Tolerance(Side(Fraction(2, 100), is_relative=True), Side(Fraction(2, 100), is_relative=True))


def tolerance(text: str) -> Tolerance:
    """Read a tolerance; raises ValueError with a message."""
    read = _sides(text.strip().replace("\N{MINUS SIGN}", "-").replace("+/-", "±").replace("+-", "±"))
    if read.under.is_relative and read.under.amount >= 1:
        raise ValueError(f"'{text.strip()}' lets everything be missing: a band ends above nothing")
    if read.over.is_relative and read.over.amount > MOST_OVER:
        raise ValueError(f"'{text.strip()}' is out of bounds: at most +{MOST_OVER * 100} %")
    return read


def _sides(plain: str) -> Tolerance:
    if plain.startswith("±"):
        side = _side(plain[1:])
        return Tolerance(side, side)
    parts = re.split(r"\s*/\s*", plain)
    signs = [part[:1] for part in parts]
    if sorted(signs) == ["+", "-"]:
        sides = {part[0]: _side(part[1:]) for part in parts}
        return Tolerance(under=sides["-"], over=sides["+"])
    if len(parts) == 1 and signs in (["+"], ["-"]):
        other = "-" if signs == ["+"] else "+"
        raise ValueError(f"'{plain}' says one side only: add the other, like '{plain} / {other}0 g'")
    raise ValueError(f"'{plain}' is no tolerance: {_FORMS}")


def tolerance_text(value: Tolerance) -> str:
    """A tolerance as a person writes it."""
    if value.under == value.over:
        return f"±{_side_text(value.over)}"
    return f"+{_side_text(value.over)} / -{_side_text(value.under)}"


def _side(text: str) -> Side:
    amount = text.strip()
    if amount.startswith(("+", "-", "±")):
        raise ValueError(f"'{amount}' has a sign too many: {_FORMS}")
    if amount.endswith("%"):
        return Side(decimal(amount[:-1]) / 100, is_relative=True)
    if re.fullmatch(r"[0-9.]+", amount):
        raise ValueError(f"'{amount}' has no unit: write {amount} % or {amount} g")
    return Side(mass_mg(amount), is_relative=False)


def _side_text(side: Side) -> str:
    number = side.amount * 100 if side.is_relative else side.amount / 1_000
    return f"{float(number):.6g} {'%' if side.is_relative else 'g'}"
