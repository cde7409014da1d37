"""`scaled formula water`: how warm the water must be for a dough, and how much of it is ice."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

import click

from scaled.commands.options import json_option, quantity_of
from scaled.commands.printing import print_json, print_text
from scaled.errors import WrongUsage
from scaled.formula.figures import grams
from scaled.formula.steps import fahrenheit, heat_text
from scaled.formula.water import Mixing, cautions, ice_mg
from scaled.texts.tables import grams_text
from scaled.units import celsius, mass_mg, warming_k


class Iced(NamedTuple):
    """So much ice, and so much water from a tap of so many degC."""

    ice_mg: int
    tap_mg: Fraction
    tap: Fraction


@click.command(name="water")
@click.option("--dough", required=True, metavar="T", help="What the mixed dough is to have: '24 degC' or '75 degF'.")
@click.option("--flour", required=True, metavar="T", help="The flour's temperature.")
@click.option("--room", required=True, metavar="T", help="The room's.")
@click.option("--preferment", metavar="T", help="The preferment's, where there is one.")
@click.option("--friction", required=True, metavar="T", help="By how much mixing warms it: '4 degC' or '8 degF'.")
@click.option("--water", metavar="MASS", help="All the water, to say how much of it as ice; with --tap.")
@click.option("--tap", metavar="T", help="The tap water's temperature; with --water.")
@json_option
def water_command(
    dough: str,
    flour: str,
    room: str,
    friction: str,
    preferment: str | None,
    water: str | None,
    tap: str | None,
    *,
    as_json: bool,
) -> None:
    """Say how warm the water must be for a dough of the temperature wanted.

    The rule of the trade: the wanted temperature times 3 (4 with a preferment), less those of the flour, the room and
    the preferment, less the friction.

    \b
    scaled formula water --dough '24 degC' --flour '19 degC' --room '21 degC' --friction '4 degC'
    """
    if (water is None) != (tap is None):
        raise WrongUsage("--water and --tap belong together: give both to know how much ice, or neither")
    try:
        mixing = Mixing(
            dough=quantity_of("--dough", dough, celsius),
            flour=quantity_of("--flour", flour, celsius),
            room=quantity_of("--room", room, celsius),
            friction_k=quantity_of("--friction", friction, warming_k),
            preferment=quantity_of("--preferment", preferment, celsius) if preferment is not None else None,
        )
        iced = _iced(water, tap, mixing.water) if water is not None and tap is not None else None
    except ValueError as error:
        raise WrongUsage(str(error)) from error
    if as_json:
        print_json(_json(mixing, iced))
    else:
        print_text(_text(mixing, iced))


def _iced(water: str, tap: str, wanted: Fraction) -> Iced:
    """Ice to the mg, the tap's water what is left."""
    mass, warmth = quantity_of("--water", water, mass_mg), quantity_of("--tap", tap, celsius)
    ice = round(ice_mg(mass, warmth, wanted))
    return Iced(ice, mass - ice, warmth)


def _json(mixing: Mixing, iced: Iced | None) -> dict[str, Any]:
    """Temperatures to 0.1 degree, masses to the mg."""
    water = float(mixing.water)
    return {
        "water_celsius": round(water, 1),
        "water_fahrenheit": round(fahrenheit(water), 1),
        "ice_g": grams(iced.ice_mg) if iced else None,
        "tap_g": grams(iced.tap_mg) if iced else None,
        "cautions": list(cautions(mixing)),
    }


def _text(mixing: Mixing, iced: Iced | None) -> str:
    lines = [f"water: {_at(mixing.water)}, for a dough of {_at(mixing.dough)}"]
    if iced is not None and iced.ice_mg:
        lines.append(f"ice: {_g(iced.ice_mg)}, and {_g(iced.tap_mg)} from the tap at {_at(iced.tap)}")
    elif iced is not None:
        lines.append(f"ice: none, the tap at {_at(iced.tap)} is no warmer than that")
    lines += [f"caution: {caution}" for caution in cautions(mixing)]
    lines.append(f"measure the mixed dough: for each degree too warm, add {mixing.count} to the friction next time")
    return "\n".join(lines)


def _at(warmth: Fraction) -> str:
    return heat_text((warmth, warmth))


def _g(mass: Fraction | int) -> str:
    return f"{grams_text(round(grams(mass), 1))} g"
