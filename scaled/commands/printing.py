"""What a command prints: text for a terminal, which what came from outside must not steer, and JSON documents."""

from __future__ import annotations

import json

import click


def print_text(text: str, *, err: bool = False) -> None:
    """Lines of text; whatever else would steer a terminal is shown as `?`."""
    click.echo("".join(c if c.isprintable() or c == "\n" else "?" for c in text), err=err)


def print_json(document: object) -> None:
    """One document, indented."""
    click.echo(json.dumps(document, ensure_ascii=False, indent=2))
