"""Figures as every JSON document spells them: grams to 0.001, percentages to 0.01, both half to even."""

from __future__ import annotations

from fractions import Fraction


def grams(mass_mg: Fraction | int) -> float:
    """Exact milligrams as grams."""
    return round(mass_mg) / 1000


def percent(value: Fraction) -> float:
    """An exact percentage."""
    return round(value * 100) / 100
