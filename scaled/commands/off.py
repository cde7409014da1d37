"""`scaled off`: lights and buzzer off, for the service manager to run after a daemon that was killed.

A daemon that ends by itself switches off what it switched on; one that was killed can not, and what a pin does then
is left to the chip.
"""

from __future__ import annotations

from dataclasses import replace

import click

from scaled.commands.options import config_option
from scaled.commands.printing import print_text


@click.command()
@config_option
def off(config: str | None) -> None:
    """Switch the lights and the buzzer off.

    Not while the daemon runs: the pins are its own then.
    """
    from scaled.config import load_settings
    from scaled.cues.pins import Pins

    cues = replace(load_settings(config).cues, pedal=None, buttons=())
    if cues.wired():
        Pins(cues, on_edge=_unheard).close()
    print_text("off: " + (", ".join(what for what, _ in cues.wired()) or "nothing is wired"), err=True)


def _unheard(*_edge: object) -> None:
    """No contact is listened to."""
