"""A group of commands that are imported when they are called, not before: a person waits for each import."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click


class LazyGroup(click.Group):
    """A group that knows some commands by name only: `later` has where each is (`module:attribute`) and its help."""

    def __init__(self, *args: Any, later: Mapping[str, tuple[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.later = later

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*super().list_commands(ctx), *self.later]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.later:
            return super().get_command(ctx, cmd_name)
        where = self.later[cmd_name][0]
        module, _, attribute = where.partition(":")
        command = getattr(importlib.import_module(module), attribute)
        if not isinstance(command, click.Command):
            raise TypeError(f"{where} is no command")
        return command

    def format_commands(self, _context: click.Context, formatter: click.HelpFormatter) -> None:
        here = [(name, command.get_short_help_str(formatter.width)) for name, command in sorted(self.commands.items())]
        with formatter.section("Commands"):
            formatter.write_dl([*here, *((name, line) for name, (_, line) in self.later.items())])
