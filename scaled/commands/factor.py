"""A factor as it is typed behind `--factor`."""

from __future__ import annotations

import re
from fractions import Fraction

from scaled.errors import WrongUsage
from scaled.formula.values import LEAST_FACTOR, MOST_FACTOR

_FACTOR = re.compile(r"[+-]?(\d{1,20}(\.\d{0,20})?|\.\d{1,20})(e[+-]?\d{1,3})?|\d{1,20}/0*[1-9]\d{0,19}", re.ASCII)


def factor_from(text: str | None) -> Fraction:
    """A factor as typed: `1.5`, `19/17`; 1 where none was given. Raises WrongUsage."""
    if text is None:
        return Fraction(1)
    if not _FACTOR.fullmatch(text.strip()):
        hint = "; write a decimal point, not a comma" if "," in text else ""
        raise WrongUsage(f"'{text}' is no factor: write it like 1.5 or 19/17{hint}")
    factor = Fraction(text.strip())
    if not LEAST_FACTOR <= factor <= MOST_FACTOR:
        raise WrongUsage(f"a factor of {text} cannot be: it lies in {float(LEAST_FACTOR):g} to {MOST_FACTOR}")
    return factor
