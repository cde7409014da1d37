"""Parsers of single scalars that any file needs, and the nearest known name to one that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

Name = TypeVar("Name", bound=str)

SHORT = 3


def text(value: str) -> str:
    """Any text, spaces at its ends and runs of white space within made one space."""
    return " ".join(value.split())


def truth(value: str) -> bool:
    """`yes` or `no`; raises ValueError on anything else."""
    if value not in ("yes", "no"):
        raise ValueError(f"'{value}' is neither yes nor no: write one of the two")
    return value == "yes"


def one_of(*names: Name) -> Callable[[str], Name]:
    """A parser for one of some names, of their own type where that is a Literal; its ValueError says the nearest."""

    def parse(value: str) -> Name:
        for name in names:
            if name == value:
                return name
        raise ValueError(f"'{value}' is not known: {instead(value, names)}")

    return parse


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that is most like this one, case ignored; None where none is."""
    lower = {k.casefold(): k for k in known}
    close = difflib.get_close_matches(name.casefold(), lower, n=1)
    if not close and len(name) <= SHORT:  # one letter makes half a short name: it is held against such as short
        close = difflib.get_close_matches(name.casefold(), [k for k in lower if len(k) <= SHORT], n=1, cutoff=0.5)
    return lower[close[0]] if close else None


def instead(name: str, known: Sequence[str]) -> str:
    """What to write instead of a name that is not known: the nearest, else all that are."""
    close = nearest(name, known)
    return f"did you mean '{close}'?" if close else f"known here are {', '.join(known)}"
