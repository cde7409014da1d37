"""`scaled formula`: check formulas, plan a batch, work out the ways back and the temperature of the water."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from scaled.commands.factor import factor_from
from scaled.commands.formula_check import check_file, checked_json, checked_text
from scaled.commands.formula_plan import Wish, planned_json, planned_sheet, planned_text
from scaled.commands.kitchen import settings_if_any
from scaled.commands.lazy import LazyGroup
from scaled.commands.options import config_option, json_option, quantity_of
from scaled.commands.printing import print_data, print_json, print_text
from scaled.errors import Mistakes, WrongUsage
from scaled.units import number, weight_mg

LATER = {
    "correct": ("scaled.commands.formula_correct:correct", "Find the ways back when the bowl is not as it was meant."),
    "water": ("scaled.commands.formula_water:water_command", "Say how warm the water must be for a dough."),
}


@click.group(cls=LazyGroup, later=LATER, no_args_is_help=False)
def formula() -> None:
    """Check, plan and correct formulas."""


class UnreadMistakes(Mistakes):
    """Files that cannot be read are among those that were to be checked."""

    exit_code = 2


@formula.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@config_option
@json_option
def check(files: tuple[str, ...], config: str | None, as_json: bool) -> None:  # noqa: FBT001
    """Say what is wrong in formula files, and what their writer would want to know."""
    settings = settings_if_any(config)
    results = [check_file(Path(file), settings) for file in files]
    if as_json:
        print_json(checked_json(results))
    else:
        for result in results:
            if result.formula is not None:
                print_text(checked_text(result))
    mistakes = tuple(mistake for result in results for mistake in result.mistakes)
    if mistakes:
        raise (Mistakes if all(result.is_read for result in results) else UnreadMistakes)(mistakes)


@formula.command(name="plan")
@click.argument("file", metavar="FILE")
@click.option("--factor", metavar="X", help="So many times the formula as written: 1.5 or 9/8.")
@click.option("--pieces", metavar="N", help="So many pieces.")
@click.option("--mass", metavar="MASS", help="All that is weighed comes to this: '2.4 kg'.")
@click.option("--have", metavar="NAME=MASS", multiple=True, help="All that there is of it: 'butter=430 g'; may repeat.")
@click.option("--whole-eggs", is_flag=True, help="A whole number of eggs, just below and just above.")
@click.option("--sheet", is_flag=True, help="A page that prints, as HTML on standard output.")
@config_option
@json_option
def plan_command(file: str, config: str | None, *, as_json: bool, sheet: bool, **wishes: Any) -> None:
    """Say what to weigh for a batch: grams and bands, eggs, allergens and cautions."""
    wish = _wish(**wishes)
    if sheet and (as_json or wish.whole_eggs):
        raise WrongUsage("--sheet prints one plan, and neither JSON nor two of them: leave the other out")
    if sheet:
        print_data(planned_sheet(Path(file), wish, config))
    elif as_json:
        print_json(planned_json(Path(file), wish, config))
    else:
        print_text(planned_text(Path(file), wish, config))


def _pieces(text: str) -> Fraction:
    pieces = number(text)
    if pieces <= 0:
        raise ValueError(f"'{text}' makes nothing: pieces are more than 0")
    return pieces


def _wish(factor: str | None, pieces: str | None, mass: str | None, have: tuple[str, ...], *, whole_eggs: bool) -> Wish:
    """What the options ask for; raises WrongUsage where they exclude each other or cannot be read."""
    given = {"--factor": factor, "--pieces": pieces, "--mass": mass, "--have": have, "--whole-eggs": whole_eggs}
    asked = [name for name, value in given.items() if value]
    if len(asked) > 1:
        raise WrongUsage(f"{' and '.join(asked)} exclude each other: give one")
    return Wish(
        factor=factor_from(factor) if factor is not None else None,
        pieces=quantity_of("--pieces", pieces, _pieces) if pieces is not None else None,
        mass_mg=quantity_of("--mass", mass, weight_mg) if mass is not None else None,
        have=have,
        whole_eggs=whole_eggs,
    )
