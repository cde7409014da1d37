"""What one simulated scale is like, and a draw over all that real ones were seen to be.

Each figure says where it is from: "measured" on recordings of four serial scales and of a load-cell converter, "read"
in the text named, "assumed" where there was neither.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, fields
from typing import Literal

LineShape = Literal["header", "header blank", "plain", "plain flags"]
Unit = Literal["g", "kg"]

QUIET_D = (0.1, 0.3)  # assumed: noise of a bench scale in its divisions, after a good filter
LOUD_D = (0.9, 1.6)  # measured: 0.09 to 0.16 g on bench scales of 0.1 g
NOISE_CORRELATION = 0.5  # measured: lag 1 at 10 readings a second, load-cell converter
NOISE_CORRELATION_S = 0.1
LARGEST_CREEP_D = 0.7 * 1.5  # read: OIML R 60 class C: 0.7 of the error permitted (R 76 class III: 1.5 e) in 30 min
CREEP_S = 600.0  # assumed: the time constant that brings 95 % of it within those 30 min
FASTEST_LINES_PER_S = 80.0  # measured: 3 to 80 lines a second


@dataclass(frozen=True, kw_only=True)
class ScaleParameters:
    """One scale on its bench; masses in mg or divisions (d), times in seconds.

    A new result is made `updates_per_s` times a second and the newest one is sent `lines_per_s` times: a line that is
    three times as fast as the results sends each three times, a slower one leaves some out.
    """

    division_mg: int = 100
    capacity_mg: int = 6_000_000
    updates_per_s: float = 10.0
    lines_per_s: float = 30.0
    natural_frequency_rad_s: float = 15.0
    damping: float = 0.8
    noise_d: float = 0.2
    creep_d: float = 0.5  # at capacity, after a long time
    mixer_hz: float = 10.0
    mixer_g: float = 0.0  # amplitude of the mixer on the same bench; 0: it is off
    flag_late_s: float = 0.64
    flag_threshold_d: float = 1.5  # a change from one result to the next below this counts as none
    blips_per_min: float = 2.0  # "in motion" for 1 to 3 lines with nothing moving
    wild_per_1000: float = 0.0  # results that are nonsense
    zero_tracking_d_s: float = 0.0
    shows_negatives: bool = True
    shape: LineShape = "header"
    unit: Unit = "g"

    def __post_init__(self) -> None:
        if self.division_mg < 1 or self.capacity_mg < 100 * self.division_mg:
            raise ValueError("a scale has a division of at least 1 mg and a capacity of at least 100 divisions")
        for name in ("updates_per_s", "lines_per_s", "natural_frequency_rad_s", "mixer_hz"):
            if not 0 < getattr(self, name) <= 1000:
                raise ValueError(f"{name} is above 0 and at most 1000, not {getattr(self, name)}")
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, int | float) and value < 0:
                raise ValueError(f"{field.name} is not negative, but is {value}")
        if not 0 < self.damping <= 1:
            raise ValueError(f"damping is above 0 and at most 1, not {self.damping}")

    @property
    def repeats(self) -> float:
        """How often each result is sent."""
        return self.lines_per_s / self.updates_per_s


def draw_parameters(
    source: random.Random,
    *,
    noise_d: tuple[float, float] = QUIET_D,
    division_mg: int = 100,
    capacity_mg: int = 6_000_000,
    mixer: bool = False,
) -> ScaleParameters:
    """A scale drawn uniformly over the whole range of each figure.

    Args:
        source: where chance comes from.
        noise_d: bounds of the noise's standard deviation in divisions, `QUIET_D` or `LOUD_D`.
        division_mg: the division.
        capacity_mg: the capacity.
        mixer: whether a mixer runs on the same bench.
    """
    updates_per_s = source.uniform(4.0, 18.0)  # measured: a new value 4 to 18 times a second
    is_slow_line = source.random() < 0.1  # measured: lines as slow as 3 a second
    lines_per_s = (
        source.uniform(3.0, max(3.0, updates_per_s)) if is_slow_line else min(3 * updates_per_s, FASTEST_LINES_PER_S)
    )  # measured: each result three or four times
    shapes: tuple[LineShape, ...] = ("header", "header blank", "plain", "plain flags")
    return ScaleParameters(
        division_mg=division_mg,
        capacity_mg=capacity_mg,
        updates_per_s=updates_per_s,
        lines_per_s=lines_per_s,
        natural_frequency_rad_s=source.uniform(5.0, 30.0),  # assumed, with the damping: 0.3 to 1 s to settle
        damping=source.uniform(0.5, 1.0),
        noise_d=source.uniform(*noise_d),
        creep_d=source.uniform(0.0, LARGEST_CREEP_D),
        mixer_hz=source.uniform(2.0, 12.0),  # assumed
        mixer_g=source.uniform(0.5, 5.0) if mixer else 0.0,  # assumed
        flag_late_s=source.uniform(0.64, 2.1),  # measured on a 5 g and on a 0.1 g scale
        flag_threshold_d=source.uniform(1.0, 3.0),  # assumed: wide enough that it calls a slow walk stable, as measured
        blips_per_min=source.uniform(0.0, 6.0),  # measured that there are, how many is assumed
        wild_per_1000=source.choice((0.0, 0.0, 1.0)),  # measured that there are (52 among 305), how many is assumed
        zero_tracking_d_s=source.choice((0.0, 0.5)),  # read: OIML R 76-1, at most 0.5 d a second
        shape=source.choice(shapes),
    )
