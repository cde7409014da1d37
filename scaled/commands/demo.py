"""`scaled demo`: one batch on the simulated bench, told line by line."""

from __future__ import annotations

import math
import signal
import sys
from typing import TYPE_CHECKING

import click

from scaled.commands.options import json_option
from scaled.commands.printing import print_json, print_text

if TYPE_CHECKING:
    from scaled.demo.stage import Played, Stage

CASES = ("overpour", "plain", "ran out", "unplugged", "power cut")


def _finite(_ctx: click.Context, _param: click.Parameter, speed: float | None) -> float | None:
    """No number at all passes every comparison with a range."""
    if speed is not None and math.isnan(speed):
        raise click.BadParameter("that is no number")
    return speed


@click.command()
@click.option(
    "--speed",
    type=click.FloatRange(1, 20),
    callback=_finite,
    help="Times as fast as life, 1 to 20; without it the story takes 30 to 45 seconds.",
)
@click.option(
    "--seed", type=click.IntRange(0), default=1, show_default=True, help="The same seed, the same cook and scale."
)
@click.option(
    "--case", "name", type=click.Choice(CASES), default="overpour", show_default=True, help="What goes wrong."
)
@click.option("--no-page", is_flag=True, help="Without the page.")
@json_option
def demo(speed: float | None, seed: int, name: str, *, no_page: bool, as_json: bool) -> int:
    """Play one batch on a simulated bench: a real serial line, a simulated scale and a simulated cook."""
    from scaled.batch.record import record_json
    from scaled.demo.cases import CASES as STORIES
    from scaled.demo.stage import Stage
    from scaled.texts.record import record_text

    def tell(line: str) -> None:
        print_text(line, err=as_json)

    for number in (signal.SIGTERM, signal.SIGHUP):  # a terminal that was closed: the records are temporary all the same
        if signal.getsignal(number) is signal.SIG_DFL:  # else it was asked to outlive its terminal
            signal.signal(number, lambda got, _frame: sys.exit(128 + got))
    case = STORIES[name]
    tell(case.opening)
    with Stage(case, speed=speed or case.speed, seed=seed, has_page=not no_page, tell=tell) as stage:
        if stage.url:
            print_text(f"the page is at {stage.url}", err=True)
        tell("")
        played = stage.play()
        record = record_json(played.record)
        if as_json:
            print_json(record)
        else:
            print_text(f"\n{record_text(record)}")
        tell(f"\n{_truth(played)}")
        if stage.url and sys.stdout.isatty():
            _stay(stage)
    return 0 if record["state"] == "complete" else 1


def _truth(played: Played) -> str:
    """What the simulated hands really put in, beside what was recorded."""
    from scaled.batch.acceptance import shown_mg
    from scaled.texts.tables import grams_text, table

    batch = played.record.batch
    rows = [
        (
            content.key,
            f"{played.true_g.get(content.key, 0.0):.2f}",
            grams_text(shown_mg(content.in_mg, batch.facts.division_mg) / 1000),
        )
        for content in batch.contents
    ]
    heads = ("ingredient", "true g", "recorded g")
    return f"What the simulated hands really put in:\n\n{table(heads, rows, right=(1, 2))}"


def _stay(stage: Stage) -> None:
    print_text(f"the page stays at {stage.url} until Ctrl-C", err=True)
    try:
        while True:
            stage.clock.sleep(1.0)
    except KeyboardInterrupt:
        print_text("", err=True)
