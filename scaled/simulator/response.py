"""How the number on a scale follows the load: a mass on a spring with damping, after the scale's own filter.

    x'' = w^2 (load - x) - 2 z w x'

with the natural frequency w in rad/s and the damping ratio z. For a load that stands still during a step the equation
has a closed solution, so a step may be of any length and the result does not depend on how time is cut.
"""

from __future__ import annotations

import math


class Response:
    """The state of one load receptor: what it reads (`value_g`) and how fast that changes (`rate_g_s`)."""

    def __init__(self, natural_frequency_rad_s: float, damping: float, value_g: float = 0.0) -> None:
        if not natural_frequency_rad_s > 0:
            raise ValueError(f"a natural frequency is above 0 rad/s, not {natural_frequency_rad_s}")
        if not 0 < damping <= 1:
            raise ValueError(f"the damping ratio of a scale is above 0 and at most 1, not {damping}")
        self._w = natural_frequency_rad_s
        self._z = damping
        self.value_g = value_g
        self.rate_g_s = 0.0
        self._step_s = 0.0
        self._factors = (1.0, 0.0, 0.0, 1.0)

    def step(self, load_g: float, step_s: float) -> float:
        """Let `step_s` seconds go by under a constant load; returns the new value in grams."""
        if step_s != self._step_s:
            self._factors = self._solve(step_s)
            self._step_s = step_s
        a, b, c, d = self._factors
        off_g, rate_g_s = self.value_g - load_g, self.rate_g_s
        self.value_g = load_g + a * off_g + b * rate_g_s
        self.rate_g_s = c * off_g + d * rate_g_s
        return self.value_g

    def settle(self, load_g: float) -> None:
        """Come to rest under a load at once, as after a long time."""
        self.value_g, self.rate_g_s = load_g, 0.0

    def _solve(self, step_s: float) -> tuple[float, float, float, float]:
        """The matrix that takes (offset, rate) from the start of a step to its end."""
        w, z = self._w, self._z
        decay = math.exp(-z * w * step_s)
        damped = w * math.sqrt(1.0 - z * z)
        if damped < 1e-6 * w:  # critically damped: the limit of the terms below
            sine, cosine = step_s, 1.0
        else:
            sine, cosine = math.sin(damped * step_s) / damped, math.cos(damped * step_s)
        return (
            decay * (cosine + z * w * sine),
            decay * sine,
            -decay * w * w * sine,
            decay * (cosine - z * w * sine),
        )
