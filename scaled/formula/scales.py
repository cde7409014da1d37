"""Which scale an addition is weighed on, and what to do where none can weigh it well."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.uncertainty import USUAL_REPEATABILITY_D, measuring_capability, u_of_net_mg
from scaled.formula.values import Addition, Formula

PREMIX_PARTS = 10
CARRIERS = ("flour", "sugar", "starch")


@dataclass(frozen=True)
class ScaleFacts:
    """A scale as the plan needs it: division d and capacity in mg, repeatability s in mg (None: not tested yet)."""

    name: str
    division_mg: int
    capacity_mg: int | None = None
    repeatability_mg: float | None = None

    def __post_init__(self) -> None:
        if self.division_mg <= 0:
            raise ValueError(f"{self.name}: a division is more than nothing, not {self.division_mg} mg")

    @property
    def u_mg(self) -> float:
        """The standard uncertainty of one net."""
        s = self.repeatability_mg
        if s is None:
            s = USUAL_REPEATABILITY_D * self.division_mg
        return u_of_net_mg(self.division_mg, s)


@dataclass(frozen=True)
class Weighable:
    """Where an addition is weighed, and what to say of that."""

    scale: ScaleFacts | None
    cautions: tuple[str, ...] = ()


def choose_scale(scales: Sequence[ScaleFacts], formula: Formula, addition: Addition, factor: Fraction) -> Weighable:
    """The first scale that is fine enough for an addition at a factor.

    Where none is, the finest that can weigh it at all; where none can, the first, with what to do instead.
    """
    if not scales:
        return Weighable(None)
    target, band = addition.target_mg(factor), addition.band_mg(factor)
    able = [scale for scale in scales if _why_not(scale, target, band) is None]
    fine = [scale for scale in able if _capability(scale, band) >= 1]
    if able:
        scale = fine[0] if fine else min(able, key=lambda scale: scale.u_mg)
        return Weighable(scale, _tight(scale, addition, band))
    scale = scales[0]
    reason = _why_not(scale, target, band)
    return Weighable(
        scale, (f"cannot be weighed on '{scale.name}': {reason}; {_instead(formula, addition, scale, factor)}",)
    )


def good_from(scale: ScaleFacts, bands_mg: Iterable[tuple[int, int]]) -> str | None:
    """A caution for a scale that is coarse for some of the bands that are weighed on it; None where it is not."""
    if all(_capability(scale, band) >= 1 for band in bands_mg):
        return None
    least = _round_up(4 * scale.u_mg / 0.02 / 1_000)
    return f"scale '{scale.name}' is good from {least:.4g} g at ±1 %: it is coarse for the least here"


def _why_not(scale: ScaleFacts, target_mg: Fraction, band_mg: tuple[int, int]) -> str | None:
    lo, hi = band_mg
    if scale.capacity_mg is not None and target_mg > scale.capacity_mg:
        return f"it holds {scale.capacity_mg / 1_000:.6g} g"
    if hi - lo < scale.u_mg:
        return f"the band of {(hi - lo) / 1_000:.4g} g is narrower than its uncertainty of {scale.u_mg / 1_000:.2g} g"
    if -(-lo // scale.division_mg) > hi // scale.division_mg:
        return f"no multiple of its division of {scale.division_mg / 1_000:.4g} g lies in the band"
    return None


def _tight(scale: ScaleFacts, addition: Addition, band_mg: tuple[int, int]) -> tuple[str, ...]:
    if not addition.is_tight or _capability(scale, band_mg) >= 1:
        return ()
    return (f"scale '{scale.name}' is coarse for this band: weigh it twice, or on a finer one",)


def _capability(scale: ScaleFacts, band_mg: tuple[int, int]) -> float:
    return measuring_capability(band_mg, scale.u_mg)


def _instead(formula: Formula, addition: Addition, scale: ScaleFacts, factor: Fraction) -> str:
    """What to do with an addition that no scale can weigh."""
    target = addition.target_mg(factor)
    if scale.capacity_mg is not None and target > scale.capacity_mg:
        return "weigh it in parts"
    ways = []
    tolerance = addition.tolerance
    if tolerance is not None and tolerance.under.is_relative and tolerance.over.is_relative:
        width = tolerance.under.amount + tolerance.over.amount
        if width > 0:
            ways.append(f"it can from {_round_up(float(scale.division_mg / width) / 1_000):.4g} g")
    carrier = _carrier(formula, addition, factor)
    if carrier is not None:
        ways.append(
            f"mix 1 part with {PREMIX_PARTS - 1} of the {carrier.ingredient} and weigh {PREMIX_PARTS} times as much"
        )
    return " or ".join(ways) or "use a finer scale"


def _carrier(formula: Formula, addition: Addition, factor: Fraction) -> Addition | None:
    """Another ingredient of the formula that is dry and enough to premix with."""
    need = (PREMIX_PARTS - 1) * addition.target_mg(factor)
    dry = [
        other
        for other in formula.additions
        if other.kind == "weighed" and other.key != addition.key and other.role in CARRIERS
    ]
    enough = [other for other in dry if other.target_mg(factor) >= need]
    return max(enough, key=lambda other: other.target_mg(factor), default=None)


def _round_up(grams: float) -> float:
    """To two figures, upwards: a limit that is said must hold."""
    if grams <= 0:
        return 0.0
    size = 10.0 ** (math.floor(math.log10(grams)) - 1)
    return math.ceil(grams / size - 1e-9) * size
