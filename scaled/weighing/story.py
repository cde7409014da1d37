"""What happened between two rests.

Strategy: while the load is away from its last rest, its path is kept. A push comes back to where it was within
moments; a key of the scale moves the value in one result; a vessel leaves the plate empty, or below zero; what creeps
without any motion drifts; what comes back within half a minute was a tool. All else is an addition or a removal, told
once its rest has lasted long enough to be the end of it, so that what is set down in stages is told once.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from scaled.weighing.keys import Keys
from scaled.weighing.pushes import BACK_SHARE, BACK_SIGMA, Pushes
from scaled.weighing.response import ResponseLearner
from scaled.weighing.rest import Plateau
from scaled.weighing.values import Happening, What

ENDED_S = 1.5
TOOL_S = 30.0
QUICK_S, QUICK_SHARE = 0.36, 0.33
RECENT_PACE = 0.3
SMALL_D = 1.5
BACK_RESULTS = 3  # so many at the level after a push: it left nothing behind
TOOL_D, TOOL_MG = 20, 5_000
DRIFT_D, DRIFT_U = 1.5, 4.0
STILL_D, STILL_SIGMA = 1.6, 2.0
BUMP_D, BUMP_SIGMA = 3.0, 6.0
VESSEL_D, VESSEL_MG = 20, 10_000
EMPTY_D = 3
LONGEST_PATH = 600


@dataclass(slots=True)
class Change:
    """From one level to another, which it has kept since `to_at`; `is_quick` where it took moments."""

    from_at: float
    to_at: float
    before: float
    after: float
    is_quick: bool
    rests: int = 1

    @property
    def mass(self) -> float:
        return self.after - self.before


class Story:
    """Fed with each distinct result and the rest that stands; gives what is concluded, each once."""

    def __init__(self, response: ResponseLearner, keys: Keys) -> None:
        self._response, self._keys = response, keys
        self._plateau: Plateau | None = None
        self._level = 0.0
        self._left_level = 0.0
        self._empty: float | None = None
        self._recent: deque[tuple[float, float]] = deque(maxlen=2)
        self._path: list[tuple[float, float]] = []
        self._pushes: Pushes | None = None
        self._pushed, self._were_back = 0.0, 0
        self._open: Change | None = None
        self._laid: deque[Change] = deque(maxlen=8)
        self._is_net: bool | None = None
        self._net_changed = False

    def see(
        self, at: float, value: float, rest: Plateau | None, division: float, sigma: float, *, is_net: bool | None
    ) -> tuple[Happening, ...]:
        """Take the next result; `rest` is the one that stands, also while it is in doubt."""
        told: list[Happening] = []
        self._net_changed |= is_net is not None and self._is_net is not None and is_net != self._is_net
        self._is_net = is_net
        if self._plateau is None:
            if rest is not None:
                self._begin(rest, division)
        elif rest is None:
            told += self._move(at, value, division, sigma)
        elif rest is not self._plateau:
            told += self._arrive(at, value, rest, division, sigma)
        else:
            told += self._stay(at, value, rest, division, sigma)
        self._recent.append((at, value))
        return tuple(told)

    def close(self) -> tuple[Happening, ...]:
        """Nothing more comes: what is still to be told."""
        return () if self._open is None or self._path else tuple(self._tell(self._open, self._open.after, 0.0))

    def _begin(self, rest: Plateau, division: float) -> None:
        self._plateau, self._level, self._left_level = rest, rest.mass, rest.mass
        self._net_changed = False
        if abs(rest.mass) <= EMPTY_D * division:
            self._empty = rest.mass

    def _move(self, at: float, value: float, division: float, sigma: float) -> list[Happening]:
        told: list[Happening] = []
        if not self._path:
            self._level = self._plateau.mass if self._plateau else value
            told = self._end(at, self._level, division)
            self._path = list(self._recent)
            self._pushes, self._pushed = Pushes(self._path[0][0], division, sigma), 0.0
            for when, before in self._path[1:]:
                self._pushes.see(when, before - self._level)
        self._path.append((at, value))
        if len(self._path) > LONGEST_PATH:
            del self._path[1 : LONGEST_PATH // 2]
        return told + self._listen(at, value, division)

    def _listen(self, at: float, value: float, division: float) -> list[Happening]:
        pushes = self._pushes.see(at, value - self._level) if self._pushes else ()
        if pushes:
            self._pushed, self._were_back = max(push.height for push in pushes), 0
            self._path = [(at, value)]
        if self._were_back < BACK_RESULTS:
            self._were_back = self._were_back + 1 if abs(value - self._level) <= SMALL_D * division else 0
        return [Happening("press", push.from_at, push.to_at, 0) for push in pushes]

    def _stay(self, at: float, value: float, rest: Plateau, division: float, sigma: float) -> list[Happening]:
        if not _is_away(value, rest.mass, division, sigma):  # a lone wild value is nothing that the level crept to
            self._left_level += RECENT_PACE * (value - self._left_level)
        if self._open is not None:
            self._reach(self._open, rest.mass, rest.stood, _small(rest, division))
            return self._end(at, rest.mass, division)
        if abs(rest.mass - self._level) <= max(DRIFT_D * division, DRIFT_U * rest.u):
            return []
        change = rest.mass - self._level
        self._level = rest.mass
        return [Happening("drift", rest.since, at, round(change))]

    def _end(self, at: float, level: float, division: float) -> list[Happening]:
        """Tell the change that stands open, if its rest has lasted long enough to be the end of it."""
        if self._open is None or at < self._open.to_at + ENDED_S:
            return []
        ended, self._open = self._open, None
        ended.after = self._level = level
        return self._tell(ended, level, division)

    def _arrive(self, at: float, value: float, rest: Plateau, division: float, sigma: float) -> list[Happening]:
        told: list[Happening] = []
        path = [*(self._path or list(self._recent)), (at, value)]
        if self._path:
            told += self._listen(at, value, division)
        from_at = path[0][0]
        to_at = max(from_at, rest.stood)
        change = Change(from_at, to_at, self._level, rest.mass, _is_quick(path, rest.mass - self._level))
        small = _small(rest, division)
        told += self._concluded(path, change, small, division, sigma)
        self._plateau, self._level, self._left_level = rest, rest.mass, rest.mass
        self._path, self._pushes, self._net_changed = [], None, False
        return told

    def _concluded(
        self, path: list[tuple[float, float]], change: Change, small: float, division: float, sigma: float
    ) -> list[Happening]:
        is_key = self._keys.is_key(path, change.before, change.after, division, sigma, self._response)
        if is_key or (self._net_changed and abs(change.mass) > small):
            return self._rezeroed(change, division)
        away = sorted(abs(value - change.before) for _, value in path)[-2]  # a lone one is a wild value
        stirred = away > abs(change.mass) + max(STILL_D * division, STILL_SIGMA * sigma)
        jumped = abs(change.after - self._left_level) > max(STILL_D * division, STILL_SIGMA * sigma)
        left_by_push = 0.0 if self._were_back >= BACK_RESULTS else max(BACK_SHARE * self._pushed, BACK_SIGMA * sigma)
        if self._pushed and abs(change.mass) <= max(small, left_by_push):
            return self._crept(change) if abs(change.mass) > small else []
        if abs(change.mass) <= small or not (jumped or stirred):
            if self._open is not None:
                return self._went_on(change, small)
            if stirred and self._pushes is not None and self._pushes.was_laid:
                return [Happening("tool", change.from_at, change.to_at, 0)]
            if stirred and sum(_is_away(v, change.before, division, sigma) for _, v in path) >= 2:
                return [Happening("bump", change.from_at, change.to_at, 0)]
            return self._crept(change) if abs(change.mass) > small else []
        return self._went_on(change, small)

    def _crept(self, change: Change) -> list[Happening]:
        return [Happening("drift", change.from_at, change.to_at, round(change.mass))]

    def _rezeroed(self, change: Change, division: float) -> list[Happening]:
        told = [] if self._open is None else self._tell(self._open, self._level, division)
        self._open = None
        self._keys.pressed(change.mass)
        if self._empty is not None:
            self._empty += change.mass
        self._laid.clear()
        return [*told, Happening("re-zeroed", change.from_at, change.to_at, round(change.mass))]

    def _went_on(self, change: Change, small: float) -> list[Happening]:
        """A change that is not ended yet: one with the one before, if that was not either."""
        if self._open is None:
            self._open = change
            return []
        began = self._open
        if abs(change.after - began.before) <= 2 * small and began.is_quick and began.mass > 0 > change.mass:
            self._open = None
            return [Happening("tool", began.from_at, change.to_at, 0)]
        if (began.mass > 0) != (change.mass > 0) and abs(change.mass) > 2 * small:
            self._open = change
            return self._tell(began, change.before, small)
        self._reach(began, change.after, change.to_at, small)
        began.is_quick |= change.is_quick
        began.rests += 1
        return []

    @staticmethod
    def _reach(began: Change, level: float, at: float, small: float) -> None:
        """A rest after a change that is not ended yet: it goes on only where the level is another."""
        if abs(level - began.after) > small:
            began.after, began.to_at = level, max(began.to_at, at)

    def _tell(self, change: Change, level: float, division: float) -> list[Happening]:
        """A change that has come to its end at a level."""
        mass = level - change.before
        if abs(mass) <= division:
            return []
        if mass < -max(TOOL_D * division, TOOL_MG):
            laid = next((one for one in reversed(self._laid) if self._was_lifted(one, change, mass, division)), None)
            if laid is not None:
                self._laid.remove(laid)
                return [Happening("tool", laid.from_at, change.to_at, 0)]
        what = self._kind(change, mass, division)
        if what == "addition":
            self._laid.append(change)
        elif what != "removal":
            self._laid.clear()
        return [Happening(what, change.from_at, change.to_at, round(mass))]

    @staticmethod
    def _was_lifted(laid: Change, change: Change, mass: float, division: float) -> bool:
        is_same = abs(laid.mass + mass) <= max(2 * division, 0.01 * abs(mass))
        return is_same and laid.is_quick and change.is_quick and change.to_at - laid.from_at <= TOOL_S

    def _kind(self, change: Change, mass: float, division: float) -> What:
        vessel = max(VESSEL_D * division, VESSEL_MG)
        near = max(EMPTY_D * division, 0.002 * abs(mass))
        if mass > 0:
            was_empty = self._empty is not None and abs(change.before - self._empty) <= near
            if was_empty and mass >= vessel and change.is_quick:
                return "vessel on"
            return "addition"
        after = change.before + mass
        empty = self._empty if self._empty is not None else 0.0
        if abs(after - empty) <= near or after < min(0.0, empty) - vessel:
            self._empty = after
            return "vessel off"
        return "removal"


def _small(rest: Plateau, division: float) -> float:
    """What is no change of the level of a rest."""
    return max(SMALL_D * division, 3 * rest.u)


def _is_away(value: float, level: float, division: float, sigma: float) -> bool:
    return abs(value - level) > max(BUMP_D * division, BUMP_SIGMA * sigma)


def _is_quick(path: list[tuple[float, float]], mass: float) -> bool:
    """Whether a good part of a change came within a moment, as when something is set down or lifted, not poured."""
    oldest = 0
    for at, value in path[1:]:
        while path[oldest + 1][0] <= at - QUICK_S:
            oldest += 1
        if (value - path[oldest][1]) * mass >= QUICK_SHARE * mass * mass:
            return True
    return False
