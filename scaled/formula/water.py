"""How warm the water must be for a dough of the temperature wanted, and how much of it as ice where it must be cold.

Water is what a baker can set: wanted temperature times n, less the other temperatures, less the friction, where n
counts the flour, the room, the friction and, where there is one, the preferment (common practice). Friction is by how
much the mixing warms the dough: a difference of temperatures, so that 8 degF of it are 4.4 K. Hence both scales of
temperature give the same water.

Ice: melting a gram takes as much heat as 80 g of water give off over 1 K (334 J/g over 4.18 J/(g K), of water at 0
degC), so that ice is worth as much as water of -80 degC (common practice, as water x (tap - wanted) / (tap + 80)).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from scaled.formula.steps import heat_text

COLDEST, WARMEST = Fraction(-30), Fraction(60)  # of what a kitchen mixes, a freezer's flour too
FREEZES = Fraction(0)
YEAST_DIES = Fraction(50)  # degC, about (common practice)
ICE_IS_WORTH = Fraction(-80)  # degC


@dataclass(frozen=True)
class Mixing:
    """The temperature that a dough is to have (`dough`) and those of what it is mixed from, in degC.

    `friction_k` is by how much the mixing warms it, in K; `preferment` is None where there is none.
    """

    dough: Fraction
    flour: Fraction
    room: Fraction
    friction_k: Fraction
    preferment: Fraction | None = None

    def __post_init__(self) -> None:
        _check("dough", self.dough, (FREEZES, YEAST_DIES))
        _check("flour", self.flour, (COLDEST, WARMEST))
        _check("room", self.room, (COLDEST, WARMEST))
        if self.preferment is not None:
            _check("preferment", self.preferment, (COLDEST, WARMEST))
        if self.friction_k < 0:
            raise ValueError(f"friction: it warms a dough, by nothing or more, not by {self.friction_k} K")

    @property
    def count(self) -> int:
        """By what the wanted temperature is multiplied."""
        return 3 if self.preferment is None else 4

    @property
    def water(self) -> Fraction:
        """How warm the water must be, in degC; below 0 and above what yeast bears where it comes to that."""
        return self.dough * self.count - self._others

    def comes_to(self, water: Fraction) -> Fraction:
        """How warm the dough becomes with water of a temperature, in degC."""
        return (water + self._others) / self.count

    @property
    def _others(self) -> Fraction:
        return self.flour + self.room + (self.preferment or 0) + self.friction_k


def ice_mg(water_mg: Fraction, tap: Fraction, wanted: Fraction) -> Fraction:
    """How much of the water is weighed as ice of 0 degC, the rest from the tap; temperatures in degC.

    None of it where the tap is cold enough, all of it where even that would not do. Wanted temperatures below 0 are
    reached in the dough, in which the ice must melt.
    """
    _check("tap", tap, (FREEZES, WARMEST))
    share = (tap - wanted) / (tap - ICE_IS_WORTH)
    return water_mg * min(max(share, Fraction(0)), Fraction(1))


def cautions(mixing: Mixing) -> Iterator[str]:
    """What stands against the water that is asked for, how far it can get, and what else can be done."""
    water = mixing.water
    if water > YEAST_DIES:
        yield f"hotter than {_at(YEAST_DIES)} kills yeast: with water of that {_reached(mixing, YEAST_DIES)}"
        yield f"to reach what is wanted, use flour that is {_by(water - YEAST_DIES)} warmer"
    if water < FREEZES:
        yield f"water freezes at {_at(FREEZES)}: with water of that {_reached(mixing, FREEZES)}"
        colder = f"use flour that is {_by(FREEZES - water)} colder"
        yield f"to reach what is wanted, {colder}, or some of the water as crushed ice, which melts in the dough"
    if water < ICE_IS_WORTH:
        yield f"ice alone does not reach it: with all the water as ice {_reached(mixing, ICE_IS_WORTH)}"


def _check(name: str, celsius: Fraction, ends: tuple[Fraction, Fraction]) -> None:
    if not ends[0] <= celsius <= ends[1]:
        raise ValueError(f"{name}: {_at(celsius)} is out of bounds: it lies in {heat_text(ends)}")


def _reached(mixing: Mixing, water: Fraction) -> str:
    return f"the dough comes to {_at(mixing.comes_to(water))}"


def _at(celsius: Fraction) -> str:
    return heat_text((celsius, celsius))


def _by(kelvin: Fraction) -> str:
    """A difference in both units, rounded up."""
    return f"{ceil(kelvin)} degC ({ceil(kelvin * 9 / 5)} degF)"
