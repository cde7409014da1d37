"""A formula as written: stages of additions, each with its nominal weight at factor 1 and a tolerance.

Values only; reading a file is `formula.file`'s subject. Nominal weights are exact fractions of a milligram, since a
percentage of the flour or an ounce is seldom a whole number of them. Bands are affine in the factor and are computed
from the exact target before any rounding.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

from scaled.formula.geometry import Rolled

LEAST_FACTOR, MOST_FACTOR = Fraction(1, 1_000), Fraction(1_000)  # of a batch that is made
MG_PER_KG = 1_000_000
TIGHT_ROLES = frozenset({"salt", "leavening", "gelling", "acid"})

Kind = Literal["weighed", "by feel", "told"]
EggPart = Literal["whole", "yolk", "white"]
VesselPlan = Literal["one bowl", "separate tubs"]
EGG_PARTS: tuple[EggPart, ...] = get_args(EggPart)
VESSEL_PLANS: tuple[VesselPlan, ...] = get_args(VesselPlan)


@dataclass(frozen=True)
class Side:
    """Half a tolerance: a share of the target (`amount` 0.02 is 2 %) or a fixed mass in mg."""

    amount: Fraction
    is_relative: bool

    def __post_init__(self) -> None:
        if self.amount < 0:
            raise ValueError(f"half a tolerance is not negative: {self.amount}")

    def width_mg(self, target_mg: Fraction) -> Fraction:
        """The half width in mg at an exact target in mg."""
        return self.amount * target_mg if self.is_relative else self.amount


@dataclass(frozen=True)
class Tolerance:
    """How far below (`under`) and above (`over`) its target an addition may land."""

    under: Side
    over: Side

    def lo_mg(self, target_mg: Fraction) -> Fraction:
        """The exact lower end of the band in mg."""
        return target_mg - self.under.width_mg(target_mg)

    def hi_mg(self, target_mg: Fraction) -> Fraction:
        """The exact upper end of the band in mg."""
        return target_mg + self.over.width_mg(target_mg)


@dataclass(frozen=True)
class Composition:
    """What an ingredient consists of, as shares (0 to 1) of its mass; what is left are the other solids."""

    water: Fraction
    fat: Fraction
    sugars: Fraction

    def __post_init__(self) -> None:
        parts = (self.water, self.fat, self.sugars)
        if min(parts) < 0 or sum(parts) > 1:
            raise ValueError(f"shares of water, fat and sugars lie in 0 to 1, together too: {parts}")

    @property
    def solids(self) -> Fraction:
        """Protein, starch, fibre and ash."""
        return 1 - self.water - self.fat - self.sugars


@dataclass(frozen=True)
class Addition:
    """One ingredient to be weighed (or told) in one stage.

    `weight_mg` is the nominal weight at factor 1; None for a line that is told, not weighed. For `by feel` it is the
    middle of `feel_mg`, and the line never drives a factor. `share_out` is the share (0 to 1) of the addition that
    can be taken out of a bowl while it is the last one in. `uses` names the formula (by stem) that makes it.
    `density_g_ml` is the usual one, of a powder as it lies loose.
    """

    ingredient: str
    stage: str
    key: str
    kind: Kind
    weight_mg: Fraction | None
    tolerance: Tolerance | None
    role: str | None = None
    share_out: Fraction = Fraction(1)
    egg: EggPart | None = None
    piece_mg: Fraction | None = None
    feel_mg: tuple[Fraction, Fraction] | None = None
    told: str | None = None
    uses: str | None = None
    is_flour: bool = False
    is_weighed_first: bool = False
    is_guarded: bool = False
    price_per_kg: Fraction | None = None
    allergens: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    composition: Composition | None = None
    density_g_ml: Fraction | None = None

    def __post_init__(self) -> None:
        if (self.kind == "told") != (self.weight_mg is None):
            raise ValueError(f"{self.key}: exactly the told lines have no weight")
        if (self.kind == "weighed") != (self.tolerance is not None):
            raise ValueError(f"{self.key}: exactly the weighed lines have a tolerance")
        if (self.kind == "by feel") != (self.feel_mg is not None):
            raise ValueError(f"{self.key}: exactly the lines by feel have a range")
        if self.weight_mg is not None and self.weight_mg <= 0:
            raise ValueError(f"{self.key}: a weight is positive, not {self.weight_mg} mg")
        if self.density_g_ml is not None and self.density_g_ml <= 0:
            raise ValueError(f"{self.key}: a density is positive, not {self.density_g_ml} g/ml")
        if not 0 <= self.share_out <= 1:
            raise ValueError(f"{self.key}: a share lies in 0 to 1, not {self.share_out}")

    def __hash__(self) -> int:
        return hash(self.key)  # equal ones have equal keys; all fields would take some fifty times as long

    @property
    def is_told(self) -> bool:
        return self.kind == "told"

    @property
    def nominal_mg(self) -> Fraction:
        """The weight at factor 1; raises ValueError for a told line."""
        if self.weight_mg is None:
            raise ValueError(f"{self.key} is told, not weighed")
        return self.weight_mg

    @property
    def is_tight(self) -> bool:
        return self.role in TIGHT_ROLES

    def told_at(self, factor: Fraction) -> str | None:
        """What is told of a line that is not weighed: a count is multiplied, the rest stays as written."""
        if self.told is None or factor == 1 or not self.told[:1].isdigit():
            return self.told
        return f"{float(factor):.3g} × {self.told}"

    def target_mg(self, factor: Fraction) -> Fraction:
        """The exact target in mg at a factor; raises ValueError for a told line."""
        return self.nominal_mg * factor

    def band_mg(self, factor: Fraction) -> tuple[int, int]:
        """The band in whole mg, both ends included: lo rounded up, hi rounded down, from the exact target."""
        if self.feel_mg is not None:
            lo, hi = self.feel_mg[0] * factor, self.feel_mg[1] * factor
        elif self.tolerance is not None:
            target = self.target_mg(factor)
            lo, hi = self.tolerance.lo_mg(target), self.tolerance.hi_mg(target)
        else:
            raise ValueError(f"{self.key} is told, not weighed")
        return math.ceil(lo), math.floor(hi)


@dataclass(frozen=True)
class Product:
    """Something that is weighed in place of what a formula names. `allergens` None: not known, the label tells."""

    name: str
    allergens: tuple[str, ...] | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stage:
    """A part of the procedure whose additions belong together; `is_late`: may be topped up once it is closed."""

    name: str
    additions: tuple[Addition, ...]
    is_late: bool = True
    vessel: VesselPlan = "one bowl"


@dataclass(frozen=True)
class Step:
    """Something to be done that is no weighing: `after` names the stage it follows, None the last one.

    `for_s` and `at_celsius` are ranges, lo = hi where the file gives one value.
    """

    do: str
    after: str | None = None
    for_s: tuple[Fraction, Fraction] | None = None
    at_celsius: tuple[Fraction, Fraction] | None = None


@dataclass(frozen=True)
class Formula:
    """A formula as written. `stem` is its file's name without the ending, `title` the name inside.

    `pieces` is what factor 1 makes; `limits` are the least and the largest factor that a correction may reach, as
    multiples of the factor planned; `cautions` are what was noticed while reading and the usual cautions. `keeps` is
    False for what collapses while one corrects it (whipped, sponge, choux, meringue); `yield_mg` is what factor 1
    comes to when it is done, None where that is what went in.
    """

    stem: str
    title: str
    stages: tuple[Stage, ...]
    pieces: Fraction | None = None
    vessel: VesselPlan = "one bowl"
    limits: tuple[Fraction, Fraction] = (Fraction(4, 5), Fraction(5, 4))
    steps: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()
    is_guarded: bool = False
    keeps: bool = True
    yield_mg: Fraction | None = None
    rolled: Rolled | None = None
    additions: tuple[Addition, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "additions", tuple(a for stage in self.stages for a in stage.additions))
        if not 0 < self.limits[0] <= self.limits[1]:
            raise ValueError(f"limits of the factor run from low to high: {self.limits}")
        if not any(not a.is_told for a in self.additions):
            raise ValueError("a formula weighs at least one ingredient")
        twice = [key for key, count in Counter(a.key for a in self.additions).items() if count > 1]
        if twice:
            raise ValueError(f"two additions share the key {twice[0]!r}")

    @property
    def weighed(self) -> tuple[Addition, ...]:
        """The additions that go over the scale, in order."""
        return tuple(a for a in self.additions if not a.is_told)

    @property
    def mass_mg(self) -> Fraction:
        """What all that is weighed comes to at factor 1, in mg."""
        return sum((a.weight_mg for a in self.additions if a.weight_mg is not None), Fraction(0))

    def addition(self, key: str) -> Addition:
        """The addition with this key; raises KeyError."""
        for addition in self.additions:
            if addition.key == key:
                return addition
        raise KeyError(key)

    def stage(self, name: str) -> Stage:
        """The stage of this name; raises KeyError."""
        for stage in self.stages:
            if stage.name == name:
                return stage
        raise KeyError(name)


def rounded_mg(target_mg: Fraction, band_mg: tuple[int, int], division_mg: int) -> int:
    """A target as the scale can show it: to the division, half to even, moved into the band if it fell out.

    Where the band holds no multiple of the division the plainly rounded value is returned: such a line cannot be
    weighed on that scale and is reported elsewhere.
    """
    nearest = round(target_mg / division_mg) * division_mg
    lowest = -(-band_mg[0] // division_mg) * division_mg
    highest = band_mg[1] // division_mg * division_mg
    if lowest > highest:
        return nearest
    return min(max(nearest, lowest), highest)
