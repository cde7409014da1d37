"""`scaled scale listen PORT`: find out how a scale speaks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from scaled.commands.options import json_option
from scaled.commands.printing import print_json, print_text

if TYPE_CHECKING:
    from scaled.instruments.line_format import Telling
    from scaled.instruments.listen import Listened

FOUND, NOT_FOUND = 0, 1


@click.group(no_args_is_help=False)
def scale() -> None:
    """Find out how a scale speaks."""


@scale.command(short_help="Tell baud rate, frame and line format of what sends there.")
@click.argument("port")
@json_option
def listen(port: str, as_json: bool) -> int:  # noqa: FBT001 - click hands it in by name
    """Tell baud rate, frame and line format of the scale at PORT.

    PORT is a device (/dev/serial/by-id/...), vendor and product (1234:abcd), a URL (socket://host:4001), or a file of
    bytes recorded earlier. The scale must send all the time. Ends with 1 where no known format fits.
    """
    from scaled.clock import RealClock
    from scaled.instruments.formats import installed_formats
    from scaled.instruments.listen import listen as hear

    formats = installed_formats()
    listened = hear(port, formats, RealClock())
    if as_json:
        print_json(listened_json(listened), indent=None)
    if listened.detected.line_format is None:
        first = listened.detected.first_line
        heard = f"the first whole line is '{first}'" if first else "not one whole line"
        print_text(
            f"{port}: {listened.heard_bytes} bytes, {heard}: no known format fits ({', '.join(formats)}); "
            "check that the scale sends weights in ASCII, or describe its line in a format of your own",
            err=True,
        )
        return NOT_FOUND
    if not as_json:
        _tell(listened)
    return FOUND


def listened_json(listened: Listened) -> dict[str, Any]:
    """What was heard as the JSON document of the contract."""
    from scaled.instruments.formats import mapping_from_format

    detected = listened.detected
    line_format = detected.line_format
    return {
        "baud": listened.baud,
        "frame": detected.frame,
        "shape": line_format.shape if line_format else None,
        "confidence": round(detected.confidence, 3),
        "format": mapping_from_format(line_format) if line_format else None,
        "samples": [
            {"line": line, "grams": _grams(telling), "in_motion": telling.in_motion, "net": telling.is_net}
            for line, telling in detected.samples
        ],
        "not_told": [*([] if listened.is_baud_told else ["baud"]), *detected.not_told],
    }


def _tell(listened: Listened) -> None:
    detected = listened.detected
    line_format = detected.line_format
    if line_format is None:
        raise ValueError("there is nothing to tell")
    baud = f"{listened.baud} baud, " if listened.baud and listened.is_baud_told else ""
    print_text(f"format   {line_format.name}: {line_format.says}")
    print_text(f"line     {baud}{detected.frame}")
    print_text(f"fits     {detected.fits} of {detected.lines} lines, confidence {detected.confidence:.2f}")
    for line, telling in detected.samples:
        print_text(f"sample   {line!r:30} {_meaning(telling)}")
    for name in detected.not_told:
        print_text(f"         does not tell: {name.replace('_', ' ')}")


def _grams(telling: Telling) -> float | None:
    return None if telling.value_mg is None else telling.value_mg / 1000


def _meaning(telling: Telling) -> str:
    said = [telling.state if telling.value_mg is None else f"{telling.value_mg / 1000:g} g"]
    if telling.in_motion is not None:
        said.append("in motion" if telling.in_motion else "settled")
    if telling.is_net is not None:
        said.append("net" if telling.is_net else "gross")
    return ", ".join(said)
