"""What a formula asks for, in whole numbers: worked out once for all corrections of it.

All weights, the ends of all bands and all pieces are whole numbers of one unit, the largest `1 / parts` mg that they
share; mostly that is a mg.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from math import gcd, lcm
from operator import mul
from typing import NamedTuple

from scaled.formula.values import Addition

Ratio = tuple[int, int]
Column = Sequence[int]
Bands = tuple[Column, Column, Column, Column]

MOST_REMEMBERED = 16  # a kitchen weighs a few formulas at a time


class Prices(NamedTuple):
    """Prices per kg in whole parts of the money (`1 / parts`), 0 where one is not known (`unknown` are their places).

    `planned` is what the weights at factor 1 come to, in units of the masses times these.
    """

    per_kg: Column
    parts: int
    unknown: Column
    planned: int


class Asked(NamedTuple):
    """The additions in columns, in their order; masses are in units of `1 / parts` mg.

    The band of an addition at f is `lo_slope * f + lo_rest` to `hi_slope * f + hi_rest`: `bands` are these four
    columns. What is weighed by feel does not drive a factor, and its band is its target. Places are `by_feel`, `tight`,
    and `lightest_first`, all of them; `eggs` has the mass of a piece by place. `total` is the sum of the weights,
    `narrowest` the least that any end of a band is away from its target at factor 1; `prices` is None where none is
    known.
    """

    parts: int
    weights: Column
    bands: Bands
    drives: Sequence[bool]
    by_feel: Column
    tight: Column
    lightest_first: Column
    eggs: Mapping[int, int]
    total: int
    narrowest: int
    prices: Prices | None

    def in_parts(self, parts: int) -> Asked:
        """The same in a unit that goes into this one."""
        if parts == self.parts:
            return self
        times, rest = divmod(parts, self.parts)
        if rest:
            raise ValueError(f"1/{self.parts} mg are no whole number of 1/{parts} mg")
        lo_slopes, lo_rests, hi_slopes, hi_rests = ([mass * times for mass in column] for column in self.bands)
        return self._replace(
            parts=parts,
            weights=[mass * times for mass in self.weights],
            bands=(lo_slopes, lo_rests, hi_slopes, hi_rests),
            eggs={place: mass * times for place, mass in self.eggs.items()},
            total=self.total * times,
            narrowest=self.narrowest * times,
            prices=self.prices and self.prices._replace(planned=self.prices.planned * times),
        )


@lru_cache(MOST_REMEMBERED)
def asked_of(additions: tuple[Addition, ...]) -> Asked:
    """The additions, none of them told, in whole numbers of the largest unit that they share."""
    lines = [_line(addition) for addition in additions]
    pieces = {place: a.piece_mg for place, a in enumerate(additions) if a.egg and a.piece_mg}
    denominators = {of // gcd(mass, of) for line in lines for mass, of in line}
    parts = lcm(*denominators, *[piece.denominator for piece in pieces.values()])
    columns = [[mass * parts // of for mass, of in column] for column in zip(*lines, strict=True)]
    weights, lo_slopes, lo_rests, hi_slopes, hi_rests = columns
    below = [weight - slope - rest for weight, slope, rest in zip(weights, lo_slopes, lo_rests, strict=True)]
    above = [slope + rest - weight for weight, slope, rest in zip(weights, hi_slopes, hi_rests, strict=True)]
    return Asked(
        parts,
        weights,
        (lo_slopes, lo_rests, hi_slopes, hi_rests),
        drives=[addition.tolerance is not None for addition in additions],
        by_feel=[place for place, addition in enumerate(additions) if addition.tolerance is None],
        tight=[place for place, addition in enumerate(additions) if addition.is_tight],
        lightest_first=sorted(range(len(weights)), key=weights.__getitem__),
        eggs={place: in_units(piece, parts) for place, piece in pieces.items()},
        total=sum(weights),
        narrowest=min(below + above),
        prices=_prices([addition.price_per_kg for addition in additions], weights),
    )


def in_units(mass_mg: Fraction, parts: int) -> int:
    """A mass as a whole number of `1 / parts` mg, which hold it exactly."""
    return mass_mg.numerator * (parts // mass_mg.denominator)


def _line(addition: Addition) -> tuple[Ratio, Ratio, Ratio, Ratio, Ratio]:
    """Weight, lo_slope, lo_rest, hi_slope and hi_rest of an addition in mg."""
    weight, of = addition.nominal_mg.as_integer_ratio()
    slope, nothing = (weight, of), (0, 1)
    if addition.tolerance is None:
        return slope, slope, nothing, slope, nothing
    under, over = addition.tolerance.under, addition.tolerance.over
    less, less_of = under.amount.as_integer_ratio()
    more, more_of = over.amount.as_integer_ratio()
    # A tolerance of more than all of it lets everything be missing.
    lo = ((weight * max(0, less_of - less), of * less_of), nothing) if under.is_relative else (slope, (-less, less_of))
    hi = ((weight * (more_of + more), of * more_of), nothing) if over.is_relative else (slope, (more, more_of))
    return slope, *lo, *hi


def _prices(prices: Sequence[Fraction | None], weights: Column) -> Prices | None:
    unknown = [place for place, price in enumerate(prices) if price is None]
    if len(unknown) == len(prices):
        return None
    ratios = [(0, 1) if price is None else price.as_integer_ratio() for price in prices]
    parts = lcm(*{of for _, of in ratios})
    per_kg = [price * (parts // of) for price, of in ratios]
    return Prices(per_kg, parts, unknown, sum(map(mul, weights, per_kg)))
