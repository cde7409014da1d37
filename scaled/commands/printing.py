"""What a command prints: text for a terminal, which what came from outside must not steer, and documents.

All that commands print goes through here.
"""

from __future__ import annotations

import json
import unicodedata

import click

CONTROLS = {"Cc", "Cs", "Zl", "Zp"}  # categories: controls, halves of a character, breaks of line and paragraph
TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}  # explicit formatting: UAX #9, 2


def print_text(text: str, *, err: bool = False) -> None:
    """Lines of text; whatever else would steer a terminal is shown as `?`."""
    click.echo("".join("?" if _steers(c) else c for c in text), err=err)


def print_json(document: object, *, indent: int | None = 2) -> None:
    """One document; without an indent it is one line."""
    print_data(json.dumps(document, ensure_ascii=False, indent=indent) + "\n")


def print_data(text: str) -> None:
    """A piece of what another program reads (CSV, JSON lines, a sheet in HTML), with no line break added."""
    click.echo(text, nl=False)


def _steers(c: str) -> bool:
    """Whether a terminal obeys it or turns what follows about; a joiner that some scripts need does neither."""
    if c.isprintable() or c == "\n":
        return False
    return unicodedata.category(c) in CONTROLS or unicodedata.bidirectional(c) in TURNS
