"""A bench of its own for traces: a load that hands change, and a scale that shows it late, shaken and in steps.

Written from the measured figures for bench scales (second-order response, correlated noise, each result sent several
times, a flag that is late); it shares no code with the product's simulator, so that the two cannot agree by mistake.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from pathlib import Path

STEP_S = 0.004


@dataclass
class Bench:
    """A time line of the load. Masses in g, times in s; each hand movement advances `at`."""

    seed: int = 0
    at: float = 0.0
    load: float = 0.0
    shown_offset: float = 0.0
    moves: list[tuple[float, float]] = field(default_factory=lambda: [(0.0, 0.0)])
    zeros: list[tuple[float, bool]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.draw = random.Random(self.seed)

    def rest(self, seconds: float) -> Bench:
        self.at += seconds
        return self

    def _to(self, load: float) -> None:
        self.load = load
        self.moves.append((self.at, load))

    def put(self, mass: float, over: float = 0.12) -> Bench:
        """Set down or lift off within `over` seconds."""
        start = self.load
        for i in range(1, 7):
            self.at += over / 6
            self._to(start + mass * i / 6)
        return self

    def pour(self, mass: float, rate: float = 30.0, dribble: float = 0.15) -> Bench:
        """A stream: fast, then the last share slowly."""
        start, fast = self.load, mass * (1 - dribble)
        for portion, speed in ((fast, rate), (mass - fast, rate / 4)):
            left = portion
            while left > 1e-9:
                grain = min(left, speed * 0.02)
                self.at += 0.02
                left -= grain
                self._to(self.load + grain)
        self._to(start + mass)
        return self

    def spoons(self, mass: float, spoon: float, every: float = 1.2) -> Bench:
        left = mass
        while left > 1e-9:
            portion = min(left, spoon * self.draw.uniform(0.7, 1.3))
            self.put(portion, 0.08)
            left -= portion
            if left > 1e-9:
                self.rest(every * self.draw.uniform(0.7, 1.2))
        return self

    def egg(self, mass: float, splash: float = 0.15) -> Bench:
        """Dropped in: reads over on the way."""
        start = self.load
        self.at += 0.02
        self._to(start + mass * (1 + splash))
        self.at += 0.12
        self._to(start + mass)
        return self

    def press(self, force: float = 300.0, hold: float = 0.4) -> Bench:
        start = self.load
        self.put(force, 0.1)
        self.at += hold
        self.put(start - self.load, 0.1)
        self.load = start
        return self

    def tare_key(self) -> Bench:
        self.zeros.append((self.at, True))
        return self

    def rows(
        self,
        *,
        division: float = 0.1,
        updates: float = 10.0,
        repeats: int = 1,
        omega: float = 15.0,
        damping: float = 0.8,
        noise_d: float = 0.1,
        flag: str | None = None,
        tail: float = 2.0,
    ) -> list[str]:
        """The CSV rows that a scale would have sent, from 0 to `tail` seconds after the last movement."""
        end = self.at + tail
        moves, zeros = list(self.moves), list(self.zeros)
        place = speed = 0.0
        if moves[0][1]:
            place = moves[0][1]
        load, index, zero, offset, noise = moves[0][1], 0, 0, 0.0, 0.0
        rows, next_update, at = [], 0.0, 0.0
        digits = max(0, -math.floor(math.log10(division) + 1e-9))
        last_shown, since = None, 0.0
        while at < end:
            while index + 1 < len(moves) and moves[index + 1][0] <= at:
                index += 1
                load = moves[index][1]
            speed += (omega * omega * (load - place) - 2 * damping * omega * speed) * STEP_S
            place += speed * STEP_S
            if zero < len(zeros) and zeros[zero][0] <= at:
                offset, zero = place, zero + 1
            if at >= next_update:
                noise = 0.5 * noise + self.draw.gauss(0, noise_d * division * math.sqrt(0.75))
                shown = round((place - offset + noise) / division) * division
                if shown != last_shown:
                    last_shown, since = shown, at
                for k in range(repeats):
                    when = next_update + k / (updates * repeats)
                    row = f"{when:.4f},{shown + 0.0:.{digits}f}"
                    if flag == "late":
                        row += f",{int(when - since > 0.6)}"
                    elif flag == "lies":
                        row += f",{self.draw.choice((0, 1))}"
                    elif flag == "never":
                        row += ",0"
                    elif flag == "always":
                        row += ",1"
                    rows.append(row)
                next_update += 1 / updates
            at += STEP_S
        return ["t_s,grams" + (",settled" if flag else ""), *rows]

    def write(self, path: Path, **scale: object) -> Path:
        path.write_text("\n".join(self.rows(**scale)) + "\n", encoding="utf-8")  # type: ignore[arg-type]
        return path
