"""What the scale said (`Reading`) and what it means (`Weight`).

Settled masses are whole milligrams; floats live only in the filter's own figures (`_g`, `_g_s`). Times are seconds
of the monotonic clock of the bench, handed in with each reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

ScaleState = Literal["ready", "over capacity", "under zero"]
What = Literal["addition", "removal", "press", "bump", "vessel on", "vessel off", "tool", "re-zeroed", "drift"]


class Reading(NamedTuple):
    """One report of a scale, as received; a tuple, since it is made for every line that comes.

    `value_mg` is the displayed value (None where the scale shows none: over capacity, an error), `in_motion` and
    `is_net` the scale's own flags (None: not told), `state` what it says of its range, `shown_division_mg` the last
    digit of the line as a mass (an upper hint of the division, not the truth).
    """

    at: float
    value_mg: int | None
    in_motion: bool | None = None
    is_net: bool | None = None
    state: ScaleState = "ready"
    shown_division_mg: int | None = None


@dataclass(frozen=True, slots=True)
class Rest:
    """The load is at rest: its mass, the standard uncertainty of that, from when it counts, when it was known.

    `since` is a late bound, and moves while the rest is young; `stood_from` is when its results began to lie together.
    """

    mass_mg: int
    u_mg: float
    since: float
    known_at: float
    stood_from: float | None = None

    @property
    def began_at(self) -> float:
        """What it is known by in a story: no later than any change that it ended."""
        return self.since if self.stood_from is None else self.stood_from


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that went on between two times; `change_mg` is rest after minus rest before (press, bump, tool: 0)."""

    what: What
    from_at: float
    to_at: float
    change_mg: int


@dataclass(frozen=True, slots=True)
class Weight:
    """What `weighing` makes of the newest reading.

    `shown_mg` is the last displayed value, `estimate_g` and `u_g` the filtered mass and its standard uncertainty,
    `rate_g_s` the flow, `forecast_g` the mass at rest if the cook stopped now; `rest` is None while in motion;
    `happened` what has just been concluded (reported once); `division_mg` the division in use; `lump_g` the size of the
    lumps in which the flow comes, about 0 where it is smooth; `rate_u_g_s` the standard uncertainty of the flow;
    `is_shaken` that the value swings so slowly (a vibration close to a multiple of the scale's own rate) that no rest
    can be told.
    """

    at: float
    shown_mg: int
    estimate_g: float
    u_g: float
    rate_g_s: float
    forecast_g: float
    rest: Rest | None
    happened: tuple[Happening, ...]
    state: ScaleState
    division_mg: int
    lump_g: float = 0.0
    rate_u_g_s: float = 0.0
    is_shaken: bool = False
