"""Words and figures that several commands read and write alike: a factor, a table, a record as text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from scaled.errors import WrongUsage

LEAST_FACTOR, MOST_FACTOR = Fraction(1, 1000), Fraction(1000)  # as over HTTP
_FACTOR = re.compile(r"[+-]?(\d{1,20}(\.\d{0,20})?|\.\d{1,20})(e[+-]?\d{1,3})?|\d{1,20}/0*[1-9]\d{0,19}", re.ASCII)


def factor_from(text: str | None) -> Fraction:
    """A factor as typed: `1.5`, `19/17`; 1 where none was given. Raises WrongUsage."""
    if text is None:
        return Fraction(1)
    if not _FACTOR.fullmatch(text.strip()):
        hint = "; write a decimal point, not a comma" if "," in text else ""
        raise WrongUsage(f"'{text}' is no factor: write it like 1.5 or 19/17{hint}")
    factor = Fraction(text.strip())
    if not LEAST_FACTOR <= factor <= MOST_FACTOR:
        raise WrongUsage(f"a factor of {text} cannot be: it lies in {float(LEAST_FACTOR):g} to {MOST_FACTOR}")
    return factor


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """A plain table: columns as wide as their longest cell, those in `right` aligned to the right."""
    widths = [max(len(row[i]) for row in (heads, *rows)) for i in range(len(heads))]
    lines = []
    for row in (heads, *rows):
        cells = [c.rjust(w) if i in right else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def grams_text(grams: float | None) -> str:
    """Grams with one decimal, more only where they are needed; a dash where there is nothing."""
    if grams is None:
        return "-"
    text = f"{grams:.3f}".rstrip("0")
    whole, _, decimals = text.partition(".")
    return f"{whole}.{decimals or '0'}"


def record_text(record: dict[str, Any]) -> str:
    """A record for reading: what was asked, what went in, what was done about it."""
    head = f"{record['title']}: batch {record['batch']}, {record['state']}, factor {record['factor_exact']}"
    rows = [_addition_row(addition) for addition in record["additions"]]
    heads = ("stage", "ingredient", "target g", "actual g", "band g", "", "top-ups")
    lines = [head, "", table(heads, rows, right=(2, 3))]
    done = [f"after {c['after']}: {c['offer']}, factor {c['factor']:.6g}" for c in record["corrections"]]
    done += [_thrown_text(thrown) for thrown in record.get("thrown_away", ())]
    return "\n".join([*lines, "", *done] if done else lines)


def _thrown_text(thrown: dict[str, Any]) -> str:
    """`thrown away after 45 s, stage dry started again: oat flour 270.0 g`."""
    masses = ", ".join(f"{key} {grams_text(mass)} g" for key, mass in thrown["grams"].items())
    return f"thrown away after {thrown['at_s']:.0f} s, stage {thrown['stage']} started again: {masses}"


def _addition_row(addition: dict[str, Any]) -> tuple[str, ...]:
    band = addition["band_g"]
    verdict = {True: "in band", False: "OUT OF BAND", None: "" if band is None else "not weighed"}
    return (
        addition["stage"],
        addition["ingredient"],
        grams_text(addition["target_g"]),
        grams_text(addition["actual_g"]),
        "told, not weighed" if band is None else f"{grams_text(band[0])} to {grams_text(band[1])}",
        verdict[addition["in_tolerance"]],
        ", ".join(f"{'+' if t['grams'] >= 0 else ''}{grams_text(t['grams'])}" for t in addition["topups"]),
    )
