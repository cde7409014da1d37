"""The options that several commands share, so that they are spelled and explained the same way everywhere."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import click

from scaled.errors import WrongUsage

CONFIG = "scaled.config"


def _remembered(context: click.Context, _parameter: click.Parameter, value: str | None) -> str | None:
    """The nearest `--config` wins: `scaled --config A batch list --config B` reads B."""
    if value is not None:
        context.meta[CONFIG] = value
    return context.meta.get(CONFIG)


config_option = click.option(
    "--config",
    metavar="FILE",
    callback=_remembered,
    help="The settings file; else the one that SCALED_CONFIG names, else /etc/scaled/scaled.yaml, else the one in "
    "your own configuration folder.",
)
"""Adds a parameter `config: str | None`, to be handed to `load_settings`."""

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
"""Adds a parameter `as_json: bool`."""


def quantity_of(option: str, value: str, parse: Callable[[str], Fraction]) -> Fraction:
    """What an option says, read by `parse`; raises WrongUsage that names the option."""
    try:
        return parse(value)
    except ValueError as error:
        raise WrongUsage(f"{option}: {error}") from error
