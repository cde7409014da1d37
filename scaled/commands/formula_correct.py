"""`scaled formula correct`: what is in the bowl is told, the ways back are shown, with what each costs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scaled.commands.options import config_option, json_option, quantity_of
from scaled.commands.printing import print_json, print_text
from scaled.errors import WrongUsage

if TYPE_CHECKING:
    from scaled.formula.situation import Mixing
    from scaled.formula.values import Formula


@click.command()
@click.argument("file", metavar="FILE")
@click.option("--in", "inside", multiple=True, required=True, metavar="NAME=MASS", help="What is in; may be repeated.")
@click.option("--factor", metavar="X", help="The factor before; 1 if not given.")
@click.option("--closed", multiple=True, metavar="STAGE", help="A stage that is closed; may be repeated.")
@click.option("--stock", multiple=True, metavar="NAME=MASS", help="What is to hand beside what is in.")
@click.option("--capacity", metavar="MASS", help="What the bowl holds.")
@click.option("--tubs", is_flag=True, help="Each ingredient is in a tub of its own: everything can come out.")
@click.option("--mixed", is_flag=True, help="All is mixed: nothing can come out.")
@config_option
@json_option
def correct(
    file: str,
    config: str | None,
    inside: tuple[str, ...],
    factor: str | None,
    closed: tuple[str, ...],
    stock: tuple[str, ...],
    capacity: str | None,
    *,
    tubs: bool,
    mixed: bool,
    as_json: bool,
) -> None:
    """Find the ways back when the bowl is not as it was meant.

    An ingredient that --in does not name is in at its target when it comes earlier in the formula than the last one
    named, and not in yet when it comes later.

    \b
    scaled formula correct short-dough.yaml --in 'egg=57 g' --mixed
    """
    from scaled.catalogue import read_from
    from scaled.commands.factor import factor_from
    from scaled.commands.kitchen import catalogue_for, settings_if_any
    from scaled.formula.correct import correct as ways_out
    from scaled.formula.correction_json import correction_json
    from scaled.formula.names import named_masses, staged_name
    from scaled.formula.situation import situation_of
    from scaled.texts.correction import correction_text
    from scaled.units import mass_mg

    if tubs and mixed:
        raise WrongUsage("--tubs and --mixed exclude each other: either everything can come out or nothing")
    mixing: Mixing | None = "tubs" if tubs else "mixed" if mixed else None
    formula = read_from(Path(file), catalogue_for(Path(file), settings_if_any(config))).formula
    keys = [addition.key for addition in formula.weighed]
    spelt = {staged_name(addition): addition.key for addition in formula.weighed}
    situation = situation_of(
        formula,
        named_masses(inside, keys, spelt),
        factor=factor_from(factor),
        closed=_stages(formula, closed),
        stock_mg=named_masses(stock, keys, spelt),
        capacity_mg=None if capacity is None else quantity_of("--capacity", capacity, mass_mg),
        mixing=mixing,
    )
    correction = ways_out(situation)
    if as_json:
        print_json(correction_json(formula, situation, correction))
    else:
        print_text(correction_text(formula, situation, correction))


def _stages(formula: Formula, given: Sequence[str]) -> list[str]:
    from scaled.formula.names import find_key

    names = [stage.name for stage in formula.stages]
    return [find_key(name, names) for name in given]
