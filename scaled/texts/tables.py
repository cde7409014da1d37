"""A plain table, and grams as they stand in it."""

from __future__ import annotations

from collections.abc import Sequence


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
