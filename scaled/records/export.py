"""Records for a spreadsheet: CSV, quoted as RFC 4180 says, a row an addition, numbers as numbers.

A cell that a spreadsheet would take for a formula (it begins with `=`, `+`, `-`, `@`, a tab or a line end) and that
came as text from outside (a title, an ingredient, a lot) gets an apostrophe in front, which spreadsheets read as
"this is text" (OWASP, "CSV Injection"). The events, for programs and for checking, are `RecordsReader.lines`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

from scaled.batch.record import Record, record_json

COLUMNS = (
    "batch",
    "formula",
    "title",
    "state",
    "factor",
    "started",
    "ended",
    "scale",
    "ingredient",
    "stage",
    "target_g",
    "actual_g",
    "band_lo_g",
    "band_hi_g",
    "in_tolerance",
    "guarded",
    "u_g",
    "p_in_tolerance",
    "lot",
    "settled_at_s",
    "topped_up_g",
)

LINE_END = "\r\n"  # a cell that holds either of them is quoted
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_lines(records: Iterable[Record]) -> Iterator[str]:
    """The header, then a line for each addition of each record, without line ends."""
    is_headed = False
    for record in records:  # the header waits for the first: records that cannot be read write nothing
        if not is_headed:
            yield _line(COLUMNS)
            is_headed = True
        for row in _rows(record_json(record)):
            yield _line(row)
    if not is_headed:
        yield _line(COLUMNS)


def harmless(text: str) -> str:
    """A text as a cell that no spreadsheet computes."""
    return f"'{text}" if text.startswith(_DANGEROUS) else text


def _rows(record: dict[str, Any]) -> Iterator[list[Any]]:
    head = [record[name] for name in COLUMNS[:8]]
    for line in record["additions"]:
        low, high = line["band_g"] or (None, None)
        topped_up = sum(more["grams"] for more in line["topups"]) if line["topups"] else None
        weighed = [line["target_g"], line["actual_g"], low, high, line["in_tolerance"], line["guarded"]]
        rest = [line["u_g"], line["p_in_tolerance"], line["lot"], line["settled_at_s"]]
        yield [*head, line["ingredient"], line["stage"], *weighed, *rest, topped_up and round(topped_up, 3)]


def _line(cells: Iterable[object]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator=LINE_END).writerow(_cell(cell) for cell in cells)
    return out.getvalue().removesuffix(LINE_END)


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return harmless(value) if isinstance(value, str) else value
