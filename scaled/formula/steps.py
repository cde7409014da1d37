"""Steps in words: times as a kitchen says them, temperatures in both units."""

from __future__ import annotations

from fractions import Fraction

from scaled.formula.values import Step

UNITS = ((86_400, "d"), (3_600, "h"), (60, "min"), (1, "s"))


def step_text(step: Step) -> str:
    """A step in one line: `bake, 18 to 25 min, 170 degC (338 degF)`."""
    parts = [step.do]
    if step.for_s is not None:
        parts.append(time_text(step.for_s))
    if step.at_celsius is not None:
        parts.append(heat_text(step.at_celsius))
    return ", ".join(parts)


def time_text(ends_s: tuple[Fraction, Fraction]) -> str:
    """A time or a range of times, in the largest unit that leaves whole numbers."""
    lo, hi = ends_s
    size, unit = next((size, unit) for size, unit in UNITS if lo % size == hi % size == 0 or size == 1)
    if size == 86_400 and hi <= 2 * size:
        size, unit = 3_600, "h"
    return _range(float(lo / size), float(hi / size), unit)


def heat_text(ends_celsius: tuple[Fraction, Fraction]) -> str:
    """A temperature or a range of them in both units, `170 degC (338 degF)`."""
    lo, hi = (float(end) for end in ends_celsius)
    return f"{_range(round(lo), round(hi), 'degC')} ({_range(round(fahrenheit(lo)), round(fahrenheit(hi)), 'degF')})"


def fahrenheit(celsius: float) -> float:
    return celsius * 9 / 5 + 32


def _range(lo: float, hi: float, unit: str) -> str:
    return f"{lo:.6g} {unit}" if lo == hi else f"{lo:.6g} to {hi:.6g} {unit}"
