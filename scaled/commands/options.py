"""The options that several commands share, so that they are spelled and explained the same way everywhere."""

from __future__ import annotations

import click

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
