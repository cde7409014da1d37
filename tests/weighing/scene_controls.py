"""What is commonly done instead, so that the scenes can show that they are not too kind: equal lines, and the flag.

Neither tells an uncertainty, so each is right within one division.
"""

from __future__ import annotations

from collections.abc import Callable

from scaled.weighing import Reading, Rest, Weigher

EQUAL_LINES = 9

See = Callable[[Reading], Rest | None]


def ours() -> See:
    """The weigher as it ships, told nothing of the scale."""
    weigher = Weigher()
    return lambda reading: weigher.see(reading).rest


def equal_lines() -> See:
    """Settled once nine lines in a row show the same."""
    last: int | None = None
    first_at, known_at, count = 0.0, 0.0, 0

    def see(reading: Reading) -> Rest | None:
        nonlocal last, first_at, known_at, count
        if reading.value_mg != last:
            last, first_at, count = reading.value_mg, reading.at, 0
        count += 1
        if count == EQUAL_LINES:
            known_at = reading.at
        return None if last is None or count < EQUAL_LINES else Rest(last, 0.0, first_at, known_at)

    return see


def own_flag() -> See:
    """Settled where the scale itself says so."""
    stood: Rest | None = None

    def see(reading: Reading) -> Rest | None:
        nonlocal stood
        if reading.value_mg is None or reading.in_motion is not False:
            stood = None
        elif stood is None or stood.mass_mg != reading.value_mg:
            stood = Rest(reading.value_mg, 0.0, reading.at, reading.at)
        return stood

    return see
