"""What happened between two rests.

Strategy: while the load is away from its last rest, the turning points of the weight are kept. A push on the scale
comes back to where it was within moments; a key of the scale moves the value in one result, which no load can; a
vessel leaves the plate empty, or below zero; what comes back within half a minute was a tool. All else is an addition
or a removal, told once the new rest has lasted long enough to be the end of it.
"""

from __future__ import annotations

from collections import deque

from scaled.weighing.rest import Plateau
from scaled.weighing.values import Happening, What

PUSH_DIVISIONS = 20
PUSH_MG = 30_000
PUSH_S = 1.5
ENDED_S = 1.0
TOOL_S = 30.0


class Story:
    """Fed with each distinct result and the rest that stands; gives what is concluded, each once."""

    def __init__(self) -> None:
        self._before: Plateau | None = None
        self._told = 0.0
        self._moving_from: float | None = None
        self._path: list[tuple[float, float]] = []
        self._empty: float | None = None
        self._laid: tuple[float, float, float] | None = None
        self._last: tuple[float, float] | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=3)
        self._jumped_at: float | None = None
        self._tared: float | None = None
        self._seen_rising = 0
        self._seen_at_once = 0

    def see(self, at: float, value: float, rest: Plateau | None, division: int) -> tuple[Happening, ...]:
        told: list[Happening] = []
        before = self._before
        self._recent.append((at, value))
        if before is None:
            if rest is not None:
                self._begin(rest, division)
            return ()
        if rest is None:
            if not self._path:
                self._path = list(self._recent)[:-1][-1:]
                self._moving_from = self._recent[0][0]
            self._path.append((at, value))
            if len(self._path) > 600:
                del self._path[1:300]
        elif self._path:
            told += self._arrived(at, rest, before, division)
            self._path = []
        elif rest.mass - self._told > max(1.5 * division, 4 * rest.u) or self._told - rest.mass > max(
            1.5 * division, 4 * rest.u
        ):
            told.append(Happening("drift", before.since, at, round(rest.mass - self._told)))
            self._told = rest.mass
        return tuple(told)

    def _begin(self, rest: Plateau, division: int) -> None:
        self._before, self._told = rest, rest.mass
        if abs(rest.mass) <= 3 * division:
            self._empty = rest.mass

    def _arrived(self, at: float, rest: Plateau, before: Plateau, division: int) -> list[Happening]:
        change = rest.mass - self._told
        start = self._moving_from or before.since
        pushes = self._pushes(division, change)
        told: list[Happening] = []
        small = max(1.0 * division, 3 * rest.u)
        if pushes:
            told = [Happening("press", a, b, 0) for a, b in pushes]
            if abs(change) > small and self._settled_elsewhere(change, pushes, division):
                told.append(Happening(self._kind(change, division), start, at, round(change)))
        elif abs(change) <= small:
            if any(abs(v - self._told) > 3 * division for _, v in self._path):
                told = [Happening("bump", start, at, 0)]
        else:
            told = [Happening(self._kind(change, division), start, rest.since, round(change))]
        told = self._as_tool(told, start, rest, division)
        self._before, self._told = rest, rest.mass
        return told

    def _settled_elsewhere(self, change: float, pushes: list[tuple[float, float]], division: int) -> bool:
        highest = max(v for _, v in self._path) - self._told
        return abs(change) > max(2 * division, 0.02 * highest) and bool(pushes)

    def _pushes(self, division: int, change: float) -> list[tuple[float, float]]:
        """Start and end of each push: a peak well above both the rest before and the rest after."""
        least = max(PUSH_DIVISIONS * division, PUSH_MG)
        base = max(self._told, self._told + change)
        found: list[tuple[float, float]] = []
        low, low_at, high, high_at, rising = self._told, self._path[0][0], self._told, self._path[0][0], True
        for at, value in self._path:
            if rising:
                if value > high:
                    high, high_at = value, at
                if high - base >= least and high - value >= 0.3 * (high - low) and high_at - low_at <= PUSH_S:
                    found.append((low_at, at))
                    rising, low, low_at = False, value, at
                elif value < low or high - base < least:
                    low, low_at = min(low, value), at if value <= self._told + division else low_at
            elif value < low:
                low, low_at = value, at
                found[-1] = (found[-1][0], at)
            elif value - low >= 0.3 * least:
                rising, high, high_at = True, value, at
        return found

    def _kind(self, change: float, division: int) -> What:
        if self._is_jump(division):
            return "re-zeroed"
        after = self._told + change
        empty = self._empty if self._empty is not None else 0.0
        small = 3 * division
        if change < 0:
            if abs(after - empty) <= small or after < -max(20 * division, small):
                self._empty = after
                return "vessel off"
            return "removal"
        was_empty = self._empty is not None and abs(self._told - self._empty) <= small
        return "vessel on" if was_empty and self._rise_s() <= 1.5 else "addition"

    def _rise_s(self) -> float:
        return self._path[-1][0] - self._path[0][0] - 0.5

    def _is_jump(self, division: int) -> bool:
        """Whether the value went in a single result to where only a key of the scale brings it.

        A tare key leaves zero behind, and its release what it had taken away. A scale that has also shown loads
        arrive in a single result cannot tell the two apart: there it was the load.
        """
        values = [v for _, v in self._path]
        level = values[-1]
        change = level - self._told
        if abs(change) < PUSH_DIVISIONS * division:
            return False
        if any(abs(v - self._told) > 2 * division and abs(v - level) > 2 * division for v in values[1:]):
            self._seen_rising += 1
            return False
        is_zero = abs(level) <= 3 * division
        is_undone = self._tared is not None and abs(change + self._tared) <= max(3 * division, 0.02 * abs(change))
        if not (is_zero or is_undone):
            self._seen_at_once += 1
            return False
        if self._seen_rising <= 3 * self._seen_at_once:
            return False
        self._tared = change if is_zero else None
        return True

    def _as_tool(self, told: list[Happening], start: float, rest: Plateau, division: int) -> list[Happening]:
        kinds = [happening.what for happening in told]
        if "addition" in kinds:
            self._laid = (start, self._told, rest.mass)
            return told
        if self._laid is not None and "removal" in kinds:
            laid_at, level, _ = self._laid
            self._laid = None
            if rest.known_at - laid_at <= TOOL_S and abs(rest.mass - level) <= max(2 * division, 4 * rest.u):
                return [h for h in told if h.what != "removal"] + [Happening("tool", laid_at, rest.since, 0)]
        elif told and "press" not in kinds and "bump" not in kinds:
            self._laid = None
        return told
