"""A recorded trace of a scale: a CSV file with the header `t_s,grams` and, if known, `settled`.

Strategy: every cell is read as decimal text, so that a mass is exact to the milligram; a mistake names its file, line
and column. The division is the step of the values: see `division_of`.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import NoReturn

from scaled.errors import Place, WrongUsage
from scaled.weighing.values import Reading

HEADERS = (["t_s", "grams"], ["t_s", "grams", "settled"])
LARGEST_G = Decimal(10**9)
LARGEST_S = Decimal(5 * 10**10)  # seconds since 1970 are times as well
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,12})?", re.ASCII | re.IGNORECASE)
STEPS_MG = tuple(int(digit * 10**power) for power in range(7, -1, -1) for digit in (5, 2, 1))
FEWEST_VALUES = 8
FEWEST_DIVISIONS = 50


@dataclass(frozen=True)
class Trace:
    """The readings of one recording in order, and the division of its scale in milligrams."""

    readings: tuple[Reading, ...]
    division_mg: int


def read_trace(path: str | Path) -> Trace:
    """Read a trace.

    Raises:
        WrongUsage: the file cannot be read, or is no trace; the message says where and what to do.
    """
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise WrongUsage(f"{path}: cannot be read ({error.strerror or error}); name a CSV file of a scale") from error
    except (UnicodeDecodeError, ValueError) as error:
        raise WrongUsage(f"{path}: is no text; a trace is a CSV file with the header t_s,grams") from error
    return trace_from_text(text, str(path))


def trace_from_text(text: str, file: str) -> Trace:
    """A trace from the text of its file; `file` is how the user named it."""
    lines = text.splitlines()
    header = [name.strip() for name in lines[0].split(",")] if lines else []
    if header not in HEADERS:
        _fail(file, 1, 1, "the first line is not t_s,grams or t_s,grams,settled; write that header first")
    readings: list[Reading] = []
    decimals = 0
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        reading, places = _reading(line, file, number, len(header))
        if readings and reading.at < readings[-1].at:
            _fail(file, number, 1, f"t_s goes back from {readings[-1].at:g} to {reading.at:g}; sort the rows by time")
        readings.append(reading)
        decimals = max(decimals, places)
    if not readings:
        _fail(file, len(lines), 1, "there is no reading; a trace has at least one row below its header")
    masses = {reading.value_mg for reading in readings if reading.value_mg is not None}
    return Trace(tuple(readings), division_of(masses, decimals))


def division_of(masses_mg: set[int], decimals: int) -> int:
    """The step of the values, 1, 2 or 5 x 10^n mg.

    It is the largest of which all values are multiples, where two of them lie just one such step apart and there are
    enough of them to tell. Else (a few round loads without anything between) it is the last decimal written.
    """
    last_digit = int(10 ** (3 - min(decimals, 3)))
    ordered = sorted(masses_mg)
    largest = max((abs(mass) for mass in ordered), default=0)
    if len(ordered) < FEWEST_VALUES:
        return last_digit
    smallest_gap = min(b - a for a, b in itertools.pairwise(ordered))
    for step in STEPS_MG:
        if all(mass % step == 0 for mass in ordered):
            is_plain = smallest_gap == step and largest >= FEWEST_DIVISIONS * step
            return step if is_plain or step < last_digit else last_digit
    return last_digit


def _reading(line: str, file: str, number: int, columns: int) -> tuple[Reading, int]:
    cells = line.split(",")
    starts = [sum(len(cell) + 1 for cell in cells[:index]) + 1 for index in range(len(cells))]
    if len(cells) != columns:
        _fail(file, number, 1, f"has {len(cells)} cells where the header has {columns}")
    at = _number(cells[0], LARGEST_S, file, number, starts[0], "t_s")
    grams = _number(cells[1], LARGEST_G, file, number, starts[1], "grams")
    in_motion: bool | None = None
    if columns == 3:
        flag = cells[2].strip()
        if flag not in ("0", "1", ""):
            _fail(file, number, starts[2], f"settled is {flag!r}; write 0 or 1")
        in_motion = None if flag == "" else flag == "0"
    exponent = grams.as_tuple().exponent
    places = max(0, -exponent) if isinstance(exponent, int) else 0
    return Reading(float(at), round(grams * 1000), in_motion), places


def _number(cell: str, largest: Decimal, file: str, line: int, column: int, name: str) -> Decimal:
    if not NUMBER.fullmatch(cell.strip()):
        _fail(file, line, column, f"{name} is {cell.strip()!r}, which is no number; use digits and a decimal point")
    number = Decimal(cell.strip())
    if number.copy_abs() > largest:
        _fail(file, line, column, f"{name} is {cell.strip()!r}, which no scale shows")
    return number


def _fail(file: str, line: int, column: int, message: str) -> NoReturn:
    raise WrongUsage(message, Place(file, line, column))
