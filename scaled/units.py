"""Quantities as a kitchen writes them, to exact fractions: `250 g`, `1 1/2 cups`, `18 to 25 min`, `350 degF`.

Grams, kilograms, milligrams, ounces and pounds, metric volumes, minutes and degrees are exact here and need nothing;
every other unit goes through pint, which is imported when the first one occurs (0.2 s, and some megabytes) and works
in exact fractions too. Each function raises ValueError with a message that says what was given and what to write.

Sources: UCUM: the pound [lb_av] is 453.59237 g, the ounce [oz_av] a sixteenth of it, the inch [in_i] 25.4 mm, [degF].
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

MOST_MG = Fraction(1_000_000_000)
MOST_ML = Fraction(1_000_000)
MOST_S = Fraction(60 * 86_400)
LEAST_CELSIUS, MOST_CELSIUS = Fraction(-90), Fraction(1_000)
MOST_WARMING = Fraction(100)

MG = {
    "mg": Fraction(1),
    "g": Fraction(1_000),
    "kg": Fraction(1_000_000),
    "oz": Fraction(45_359_237, 1_600),
    "lb": Fraction(45_359_237, 100),
}
MG |= {"stick": MG["lb"] / 4, "sticks": MG["lb"] / 4}  # of butter, as it is sold in the United States
ML = {"ml": Fraction(1), "mL": Fraction(1), "cl": Fraction(10), "dl": Fraction(100), "l": Fraction(1_000)}
ML["L"] = ML["l"]
MM = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1_000), "in": Fraction(254, 10), "inch": Fraction(254, 10)}
SECONDS = {"s": 1, "sec": 1, "min": 60, "h": 3_600, "d": 86_400}
SECONDS |= {"second": 1, "seconds": 1, "minute": 60, "minutes": 60, "hour": 3_600, "hours": 3_600}
SECONDS |= {"day": 86_400, "days": 86_400, "week": 604_800, "weeks": 604_800}
SECONDS |= {"secs": 1, "mins": 60, "hr": 3_600, "hrs": 3_600}
CELSIUS = frozenset({"degC", "°C", "Cel", "C"})
FAHRENHEIT = frozenset({"degF", "°F", "F"})
KELVIN = frozenset({"K", "kelvin"})

_SPELLED = {"fl oz": "fluid_ounce", "fl. oz": "fluid_ounce", "floz": "fluid_ounce", "tbsp": "tablespoon"}
_SPELLED |= {"tsp": "teaspoon"}
# Units to a library of them that mean something else in a kitchen: a grain, a carat, a picocarat, 42 kg, 14.6 kg.
_TRAPS = frozenset({"gr", "Gr", "GR", "ct", "cts", "pct", "bag", "bags", "slug", "slugs"})

_QUANTITY = re.compile(r"([^\sA-Za-zµμ°%½¼¾]*(?:\s+[0-9]+/[0-9]+)?[½¼¾]?)\s*(.*)", re.DOTALL)
_DECIMAL = re.compile(r"[+-]?[0-9]{1,15}(\.[0-9]{1,12})?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_MIXED = re.compile(r"(?:([0-9]{1,9})\s+)?([0-9]{1,9})/([0-9]{1,9})")
_VULGAR = {"½": Fraction(1, 2), "¼": Fraction(1, 4), "¾": Fraction(3, 4)}


def decimal(text: str) -> Fraction:
    """A decimal number with a point, as an exact fraction: `0.30` -> 3/10."""
    stripped = text.strip().replace("\N{MINUS SIGN}", "-")
    if _COMMA.fullmatch(stripped):
        raise ValueError(f"'{stripped}' has a decimal comma: write {stripped.replace(',', '.')}")
    if not _DECIMAL.fullmatch(stripped):
        raise ValueError(f"'{_short(text)}' is no number: write it like 0.5")
    return Fraction(stripped)


def number(text: str) -> Fraction:
    """A decimal number or a kitchen fraction: `0.5`, `1/2`, `1 1/2`, `1½`."""
    stripped = text.strip()
    if stripped[-1:] in _VULGAR:
        return (decimal(stripped[:-1]) if stripped[:-1].strip() else Fraction(0)) + _VULGAR[stripped[-1]]
    mixed = _MIXED.fullmatch(stripped) if "/" in stripped else None
    if not mixed:
        return decimal(stripped)
    if int(mixed[3]) == 0:
        raise ValueError(f"'{stripped}' divides by nothing")
    return int(mixed[1] or 0) + Fraction(int(mixed[2]), int(mixed[3]))


def quantity(text: str, like: str = "250 g") -> tuple[Fraction, str]:
    """A number and the unit behind it ('' where there is none); `like` is an example for the error's sake."""
    match = _QUANTITY.fullmatch(text.strip())
    if match is None or not match[1].strip():
        raise ValueError(f"'{_short(text)}' has no number: write it like {like}")
    return number(match[1]), " ".join(match[2].split())


def mass_mg(text: str) -> Fraction:
    """A mass in exact mg, from nothing to a tonne: `250 g`, `1.2 kg`, `8 oz`."""
    return _mass_mg(*quantity(text), text)


def _mass_mg(value: Fraction, unit: str, text: str) -> Fraction:
    if not unit:
        raise ValueError(f"'{_short(text)}' has no unit: write {_short(text)} g, if grams are meant")
    if unit not in MG and is_volume(unit):
        raise ValueError(f"'{_short(text)}' is a volume, and a mass is needed here")
    size = MG[unit] if unit in MG else _through_pint(unit, "mg", "mass", "g, kg, mg, oz or lb")
    return _mass_in_bounds(value * size, text)


def weight_mg(text: str, density_g_ml: Fraction | None = None) -> Fraction:
    """As `mass_mg`, at least a milligram; a volume too where the density of what is weighed is known."""
    value, unit = quantity(text)
    if unit and unit not in MG and is_volume(unit):
        if density_g_ml is None:
            raise ValueError(f"'{_short(text)}' is a volume, and its density is not known: give the weight")
        mass = _mass_in_bounds(volume_ml(text) * density_g_ml * 1_000, text)
    else:
        mass = _mass_mg(value, unit, text)
    if mass < 1:
        raise ValueError(f"'{_short(text)}' is less than a milligram: no kitchen weighs that")
    return mass


def is_volume(unit: str) -> bool:
    """Whether a unit is one of volume; an unknown unit is not."""
    return unit in ML or (unit not in MG and _pint_size(unit, "ml") is not None)


def volume_ml(text: str) -> Fraction:
    """A volume in exact ml: `250 ml`, `1 1/2 cups` (US customary)."""
    value, unit = quantity(text, "250 ml")
    if not unit:
        raise ValueError(f"'{_short(text)}' has no unit: write {_short(text)} ml, if millilitres are meant")
    size = ML[unit] if unit in ML else _through_pint(unit, "ml", "volume", "ml, cl, dl, l, cup, tbsp or tsp")
    if not 0 <= value * size <= MOST_ML:
        raise ValueError(f"'{_short(text)}' is out of bounds: a volume is 0 to 1000 l")
    return value * size


def duration_s(text: str) -> Fraction:
    """A time in seconds: `90 s`, `25 min`, `1 h 30 min`."""
    parts = re.findall(r"([^\sA-Za-z]+)\s*([A-Za-z]*)", text.strip())
    if not parts or "".join("".join(part) for part in parts) != "".join(text.split()):
        raise ValueError(f"'{_short(text)}' is no time: write it like 25 min or 1 h 30 min")
    total = Fraction(0)
    for value, unit in parts:
        if unit not in SECONDS:
            raise ValueError(f"'{_short(text)}' has no unit of time: write s, min, h or d")
        total += decimal(value) * SECONDS[unit]
    if not 0 < total <= MOST_S:
        raise ValueError(f"'{_short(text)}' is out of bounds: a time is more than nothing and at most 60 d")
    return total


def celsius(text: str) -> Fraction:
    """A temperature in exact degrees Celsius: `170 degC`, `350 °F`."""
    value, unit = quantity(text, "170 degC")
    if unit in FAHRENHEIT:
        value = (value - 32) * 5 / 9
    elif unit in KELVIN:
        value -= Fraction(27_315, 100)
    elif unit not in CELSIUS:
        raise ValueError(f"'{_short(text)}' has no unit of temperature: write degC or degF")
    if not LEAST_CELSIUS <= value <= MOST_CELSIUS:
        raise ValueError(f"'{_short(text)}' is out of bounds: a temperature is -90 to 1000 degC")
    return value


def warming_k(text: str) -> Fraction:
    """By how much something becomes warmer, in exact K: `8 degF` is 40/9, not what a thermometer at 8 degF shows."""
    value, unit = quantity(text, "4 degC")
    if unit in FAHRENHEIT:
        value = value * 5 / 9
    elif unit not in CELSIUS | KELVIN:
        raise ValueError(f"'{_short(text)}' has no unit of temperature: write degC or degF")
    if not 0 <= value <= MOST_WARMING:
        raise ValueError(f"'{_short(text)}' is out of bounds: a warming is 0 to 100 degC")
    return value


def length_mm(text: str) -> Fraction:
    """A length in mm: `200 mm`, `8 in`, `1/8 in`."""
    value, unit = quantity(text, "200 mm")
    if unit not in MM:
        raise ValueError(f"'{_short(text)}' has no unit of length: write mm, cm or in")
    return value * MM[unit]


def density_g_ml(text: str) -> Fraction:
    """A density in grams a millilitre, `1.03 g/ml` or `1.03 kg/l`."""
    return density_range_g_ml(text)[0]


def density_range_g_ml(text: str) -> tuple[Fraction, Fraction]:
    """A density or a range of them, `0.42 to 0.67 g/ml`; lo = hi for one."""
    match = re.fullmatch(r"(.*?)\s*(g/ml|g/mL|kg/l|kg/L)", text.strip())
    if not match:
        raise ValueError(f"'{_short(text)}' is no density: write it like 1.03 g/ml")
    lo, hi = number_range(match[1])
    if not 0 < lo <= hi <= 25:
        raise ValueError(f"'{_short(text)}' is out of bounds: a density is more than 0 and at most 25 g/ml")
    return lo, hi


def duration_range_s(text: str) -> tuple[Fraction, Fraction]:
    """A time or a range of times, `18 to 25 min`, in seconds; lo = hi for one time."""
    return _range(text, duration_s)


def celsius_range(text: str) -> tuple[Fraction, Fraction]:
    """A temperature or a range of them, `170 to 180 degC`; lo = hi for one."""
    return _range(text, celsius)


def mass_range_mg(text: str) -> tuple[Fraction, Fraction]:
    """A range of masses, `200 to 260 g`, in exact mg; lo = hi for one."""
    return _range(text, mass_mg)


def number_range(text: str) -> tuple[Fraction, Fraction]:
    """A range of plain numbers, `0.80 to 1.25`; lo = hi for one."""
    return _range(text, decimal)


def _range(text: str, parse: Callable[[str], Fraction]) -> tuple[Fraction, Fraction]:
    lo, hi = map(parse, _ends(text))
    if lo > hi:
        raise ValueError(f"'{_short(text)}' runs backwards: write the lower end first")
    return lo, hi


def _ends(text: str) -> tuple[str, str]:
    """The two ends of `18 to 25 min`; the first takes the last one's unit where it has none."""
    ends = re.split(r"\s+to\s+", text.strip())
    if len(ends) == 1:
        if re.fullmatch(r"[0-9.]+\s*[-\N{EN DASH}]\s*[0-9.]+.*", ends[0]):
            raise ValueError(f"'{_short(text)}': write a range with 'to', like 18 to 25 min")
        return ends[0], ends[0]
    if len(ends) != 2:
        raise ValueError(f"'{_short(text)}' is no range: write it like 18 to 25 min")
    unit = re.search(r"[A-Za-z°].*$", ends[1])
    has_unit = re.search(r"[A-Za-z°]", ends[0])
    return (ends[0] if has_unit or not unit else f"{ends[0]} {unit[0]}"), ends[1]


def _mass_in_bounds(mass: Fraction, text: str) -> Fraction:
    if mass < 0:
        raise ValueError(f"'{_short(text)}' is negative: a mass is not")
    if mass > MOST_MG:
        raise ValueError(f"'{_short(text)}' is more than a tonne: check number and unit")
    return mass


def _through_pint(unit: str, into: str, kind: str, instead: str) -> Fraction:
    size = None if unit in _TRAPS else _pint_size(unit, into)
    if size is None:
        raise ValueError(f"'{_short(unit)}' is no unit of {kind}: write {instead}")
    return size


@functools.cache
def _pint_size(unit: str, into: str) -> Fraction | None:
    """How many `into` one `unit` is, exactly; None where it is no unit of that kind."""
    if not re.fullmatch(r"[A-Za-zµμ][A-Za-z_. ]{0,30}", unit):
        return None
    from pint.errors import PintError

    try:
        return Fraction(_registry().Quantity(Fraction(1), _SPELLED.get(unit, unit)).m_as(into))
    except (PintError, ValueError, TypeError, AttributeError, SyntaxError):
        return None


@functools.cache
def _registry() -> pint.UnitRegistry[Fraction]:
    """pint's registry in exact fractions, made once, when the first unit that is not known here occurs."""
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 40 else line[:37] + "..."
