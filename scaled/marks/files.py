"""The text of a file: UTF-8, of bounded length, or told what is wrong with it and where."""

from __future__ import annotations

import re
from pathlib import Path

from scaled.errors import Invalid, Mistakes, Place, WrongUsage

MOST_BYTES = 1_000_000

LINE_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")


def read_file(path: Path) -> str:
    """The text of a file; raises WrongUsage where it cannot be read, Mistakes where it is no UTF-8 or too long."""
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WrongUsage(f"{path}: cannot be read ({reason}); check the name and the permissions") from error
    if len(raw) > MOST_BYTES:
        raise Mistakes((Invalid(f"longer than {MOST_BYTES} bytes: no file of this kind is", Place(str(path), 1, 1)),))
    return decoded(raw, str(path))


def decoded(raw: bytes, file: str) -> str:
    """UTF-8 as text, without a byte order mark; raises Mistakes with the place of the first wrong byte."""
    try:
        return raw.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        place = place_after(file, raw[: error.start].decode("utf-8"))
        message = f"byte 0x{raw[error.start]:02x} is no UTF-8: save the file as UTF-8"
        raise Mistakes((Invalid(message, place),)) from error


def place_after(file: str, before: str) -> Place:
    """The place that follows a piece of text."""
    breaks = list(LINE_BREAK.finditer(before))
    return Place(file, len(breaks) + 1, len(before) - (breaks[-1].end() if breaks else 0) + 1)
