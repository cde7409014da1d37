"""`scaled run`: the daemon as the service manager or a person starts it."""

from __future__ import annotations

import click

from scaled.commands.options import config_option


@click.command()
@config_option
def run(config: str | None) -> int:
    """Read the scale, guide the cook, record, and serve the page, until told to stop (SIGTERM, Ctrl-C).

    SIGHUP reads the settings anew; they hold from the next batch on. Mistakes in them keep the old ones.
    """
    from scaled.daemon.process import serve

    return serve(config)
