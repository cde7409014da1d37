"""How full a bowl gets: by the ingredients' densities, and what of a batch a bowl takes.

A bowl's volume is for work, not for filling to the rim. What lies in it unmixed takes up what its ingredients do, each
by its own (for a powder: loose) density, which is what a bowl must hold before it is mixed. Where densities are not
known for nearly all of it nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.values import Addition, Formula

USUAL_FILL = Fraction(2, 3)  # common practice: a mixer's bowl is worked at most two thirds full
MOST_UNKNOWN = Fraction(5, 100)  # of the mass; so much is taken to be as dense as the rest


@dataclass(frozen=True)
class Vessel:
    """A bowl of the kitchen and its volume to the rim."""

    name: str
    holds_ml: Fraction

    def __post_init__(self) -> None:
        if self.holds_ml <= 0:
            raise ValueError(f"{self.name}: a bowl holds something, not {self.holds_ml} ml")


def in_the_bowl(formula: Formula) -> tuple[Addition, ...]:
    """What is weighed into the one bowl, or comes there from the tub in which it is weighed first."""
    return tuple(a for a in formula.weighed if formula.stage(a.stage).vessel == "one bowl")


def mg_per_ml(additions: Sequence[Addition]) -> Fraction | None:
    """The density of some additions together, unmixed; None where it is not known of nearly all of their mass."""
    known = [(a.target_mg(Fraction(1)), a.density_g_ml * 1000) for a in additions if a.density_g_ml is not None]
    total = sum((a.target_mg(Fraction(1)) for a in additions), Fraction(0))
    mass = sum((mg for mg, _ in known), Fraction(0))
    if not total or total - mass > MOST_UNKNOWN * total:
        return None
    return mass / sum((mg / density for mg, density in known), Fraction(0))


def volume_ml(formula: Formula, factor: Fraction) -> Fraction | None:
    """What lies in the one bowl at a factor; None where nothing does or the densities are not known."""
    additions = in_the_bowl(formula)
    density = mg_per_ml(additions)
    return None if density is None else sum((a.target_mg(factor) for a in additions), Fraction(0)) / density


def that_take(vessels: Sequence[Vessel], volume: Fraction) -> list[Vessel]:
    """The bowls that are at most two thirds full of so many ml."""
    return [vessel for vessel in vessels if volume <= vessel.holds_ml * USUAL_FILL]


def bowls_text(vessels: Sequence[Vessel], volume: Fraction) -> str:
    """Which bowls take so many ml, in words."""
    taking = ", ".join(vessel.name for vessel in that_take(vessels, volume))
    return f"about {litres(volume)} before it is mixed; at most two thirds full: {taking}"


def too_much(vessels: Sequence[Vessel], volume: Fraction) -> str | None:
    """The caution where none of the bowls takes so many ml; None where one does, or none is known."""
    if not vessels or that_take(vessels, volume):
        return None
    largest = max(vessels, key=lambda vessel: vessel.holds_ml)
    room = largest.holds_ml * USUAL_FILL
    parts = -(-volume // room)
    return (
        f"about {litres(volume)} before it is mixed, and {largest.name}, the largest bowl here, takes {litres(room)} "
        f"at two thirds full: make it in {parts} parts, or less of it"
    )


def litres(volume: Fraction) -> str:
    """Millilitres as a cook says them: litres from one litre up."""
    return f"{float(volume / 1000):.2g} l" if volume >= 1000 else f"{float(volume):.2g} ml"
