"""Reading what a file says under `rolled`: the ring, its height, the thickness of the dough, what is trimmed off."""

from __future__ import annotations

from fractions import Fraction

from scaled.formula.geometry import DENSITY, TRIMMINGS, Rolled
from scaled.formula.line import Noticed
from scaled.formula.values import Formula
from scaled.marks import Mapping
from scaled.units import decimal, density_g_ml, length_mm

KEYS = ("ring", "height", "thickness", "density", "trimmings")


def read_rolled(root: Mapping) -> Rolled | None:
    """What a file says under `rolled`; mistakes are noted."""
    line = root.mapping("rolled", KEYS)
    if line is None:
        return None
    ring, thickness = line.required("ring", _length), line.required("thickness", _length)
    height = line.get("height", _length)
    density = line.get("density", density_g_ml)
    trimmings = line.get("trimmings", _share)
    if ring is None or thickness is None:
        return None
    return Rolled(
        ring,
        thickness,
        height if height is not None else Fraction(0),
        density if density is not None else DENSITY,
        trimmings if trimmings is not None else TRIMMINGS,
    )


def _length(value: str) -> Fraction:
    length = length_mm(value)
    if not 0 < length <= 2_000:
        raise ValueError(f"'{value}' is out of bounds: more than nothing and at most 2 m")
    return length


def _share(value: str) -> Fraction:
    share = decimal(value.removesuffix("%")) / 100
    if not 0 <= share <= Fraction(9, 10):
        raise ValueError(f"'{value}' is out of bounds: trimmings are 0 to 90 % of what is rolled")
    return share


def rolled_notices(root: Mapping, formula: Formula) -> list[Noticed]:
    """Where the formula does not make the dough that its pieces take, or only by rolling the trimmings again."""
    if formula.rolled is None or formula.pieces is None:
        return []
    pieces, makes = float(formula.pieces), float(formula.mass_mg) / 1_000
    in_ring, rolled = formula.rolled.in_ring_g * pieces, formula.rolled.rolled_g * pieces
    if makes >= rolled:
        return []
    message = f"{pieces:.6g} pieces take {in_ring:.0f} g in the ring, and the formula makes {makes:.0f} g"
    if makes >= in_ring:
        message = (
            f"{pieces:.6g} pieces take {rolled:.0f} g rolled out, and the formula makes {makes:.0f} g: "
            "the trimmings must be rolled again"
        )
    return [Noticed(message, root.place_of("rolled"))]
