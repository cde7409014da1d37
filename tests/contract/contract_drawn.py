"""Traces drawn with a ruler: a value that steps and climbs evenly, with no lag of a scale and nothing between lines."""

from __future__ import annotations

import random
from pathlib import Path


class Drawn:
    """A trace of `rate` lines a second on a scale of `division` g; masses in g, times in s."""

    def __init__(self, rate: float, division: float = 0.1, load: float = 0.0) -> None:
        self.rate, self.division = rate, division
        self._corners = [(0.0, load)]

    @property
    def now(self) -> float:
        return self._corners[-1][0]

    @property
    def load(self) -> float:
        return self._corners[-1][1]

    def rest(self, seconds: float) -> Drawn:
        self._corners.append((self.now + seconds, self.load))
        return self

    def put(self, mass: float) -> Drawn:
        """From one line to the next; less than nothing is lifted."""
        self._corners.append((self.now, self.load + mass))
        return self

    def pour(self, mass: float, flow: float) -> Drawn:
        self._corners.append((self.now + abs(mass) / flow, self.load + mass))
        return self

    def tare(self) -> Drawn:
        """The scale's own key."""
        return self.put(-self.load)

    def write(self, path: Path, repeats: int = 1, decimals: int = 2, noise: float = 0.0) -> Path:
        """Write the trace, each value `repeats` times, with white noise of a standard deviation of `noise` g."""
        source, rows, corner = random.Random(f"{self.rate} {decimals} {noise}"), ["t_s,grams"], 0
        corners = [*self._corners, (self.now + 1, self.load)]
        for line in range(int(self.now * self.rate) + 1):
            at = (line - line % repeats) / self.rate
            while corners[corner + 1][0] <= at:
                corner += 1
            (began, before), (ended, after) = corners[corner : corner + 2]
            load = before + (after - before) * (at - began) / (ended - began)
            load += source.gauss(0, noise)
            rows.append(f"{line / self.rate:.4f},{round(load / self.division) * self.division:.{decimals}f}")
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        return path
