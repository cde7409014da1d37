"""What a correction starts from: for each addition what is in, what can come out and what can still be added.

`situation_of` builds it from a formula and the words of a cook or a command; the machine builds the same value from
a running batch. The solver (`formula.correct`) reads nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.values import Tolerance


@dataclass(frozen=True)
class Content:
    """One weighed addition as it stands. Masses in mg, exact.

    `in_mg` is what is in the bowl (0 and `is_in` False where it is not in yet), `out_mg` how much of that can come
    out, `more_mg` how much can still be added (None: enough). `tolerance` None: weighed by feel, drives nothing.
    """

    key: str
    weight_mg: Fraction
    tolerance: Tolerance | None
    in_mg: Fraction
    is_in: bool
    out_mg: Fraction
    more_mg: Fraction | None
    is_tight: bool = False
    egg_piece_mg: Fraction | None = None
    price_per_kg: Fraction | None = None

    def __post_init__(self) -> None:
        if self.weight_mg <= 0 or self.in_mg < 0 or self.out_mg < 0 or self.out_mg > self.in_mg:
            raise ValueError(f"{self.key}: impossible content {self}")
        if self.more_mg is not None and self.more_mg < 0:
            raise ValueError(f"{self.key}: less than nothing to hand")


@dataclass(frozen=True)
class Situation:
    """A bowl (or set of tubs) that is to be brought into proportion.

    `factor` is the factor before; `limits` the absolute least and largest factor (the formula's limits times the
    factor planned); `capacity_mg` what the bowl may hold in all; `step` the least by which a scale up must raise the
    factor (0 outside the machine); `pieces` what factor 1 makes.
    """

    contents: tuple[Content, ...]
    factor: Fraction
    limits: tuple[Fraction, Fraction]
    capacity_mg: Fraction | None = None
    pieces: Fraction | None = None
    step: Fraction = Fraction(0)


@dataclass(frozen=True)
class Offer:
    """One way out. `bowl_mg` is in the order of the contents, whole mg.

    `extra_mass_mg` against the targets at the factor before; `extra_weighings` the top-ups and takings out;
    `worst_deviation` max |b/(f w) - 1|, exact; `makes` the factor times the pieces; `cost` extra money, None where a
    price is not known.
    """

    offer: str
    factor: Fraction
    bowl_mg: tuple[int, ...]
    extra_mass_mg: Fraction
    extra_weighings: int
    taken_out_mg: int
    worst_deviation: Fraction
    makes: Fraction | None
    cost: Fraction | None


@dataclass(frozen=True)
class Correction:
    """The feasible factors (None where there is none) and the offers, the recommended one first."""

    factor_range: tuple[Fraction, Fraction] | None
    offers: tuple[Offer, ...]
