"""Baker's percentages to weights: each is of the sum of the additions marked `flour: yes`, which is 100 %.

The flour is known where its lines have weights; else it follows from the mass that the whole formula is to come to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from scaled.errors import Invalid
from scaled.formula.line import Line
from scaled.marks import Mapping
from scaled.units import MOST_MG


class MassMissing(Invalid):
    """The formula gives percentages only, and neither it nor the caller says of which mass."""


def with_weights(lines: Sequence[Line], root: Mapping, mass_mg: Fraction | None) -> tuple[Line, ...]:
    """The lines with each percentage as a weight; mistakes are noted and leave the line without one.

    Args:
        lines: all lines of the formula.
        root: the file, for places.
        mass_mg: what the formula comes to at factor 1, needed where no flour has a weight.

    Raises:
        MassMissing: that mass is needed and not given.
        Mistakes: so it is, and some were noted already: what is given may be wrong.
    """
    first = next((line for line in lines if line.percent is not None), None)
    if first is None:
        return tuple(lines)
    flour = _flour_mg(lines, first, root, mass_mg)
    if flour is None:
        return tuple(lines)
    return tuple(_weighed(line, flour) for line in lines)


def _flour_mg(lines: Sequence[Line], first: Line, root: Mapping, mass_mg: Fraction | None) -> Fraction | None:
    flours = [line for line in lines if line.is_flour]
    if not flours:
        first.node.note("a percentage is of the flour, and no addition is marked 'flour: yes'", "percent")
        return None
    weights = sum((line.weight_mg or Fraction(0) for line in flours), Fraction(0))
    percents = sum((line.percent or Fraction(0) for line in flours), Fraction(0))
    if weights == 0:
        if percents != 100:
            flours[-1].node.note(f"the flours come to {float(percents):.6g} %, and must to 100", "percent")
            return None
        return _flour_from_mass(lines, first, root, mass_mg)
    if percents >= 100:
        flours[-1].node.note("the flours given in per cent leave nothing for the one that has a weight", "percent")
        return None
    return weights / (1 - percents / 100)


def _flour_from_mass(lines: Sequence[Line], first: Line, root: Mapping, mass_mg: Fraction | None) -> Fraction | None:
    if mass_mg is None:
        root.raise_mistakes()
        message = "percentages only: say of which mass, with 'mass: 2.4 kg' in the file (a plan takes --mass too)"
        raise MassMissing(message, first.node.place_of("percent"))
    fixed = sum((line.weight_mg for line in lines if line.weight_mg is not None), Fraction(0))
    percents = sum((line.percent for line in lines if line.percent is not None), Fraction(0))
    if fixed >= mass_mg:
        root.note(f"the weights alone come to {float(fixed / 1000):.6g} g, more than the whole mass", "mass")
        return None
    return (mass_mg - fixed) * 100 / percents


def _weighed(line: Line, flour_mg: Fraction) -> Line:
    if line.percent is None:
        return line
    weight = line.percent * flour_mg / 100
    if not 1 <= weight <= MOST_MG:
        line.node.note(f"percent: comes to {float(weight / 1000):.4g} g: check the mass and the percentage", "percent")
        return line
    return replace(line, weight_mg=weight)
