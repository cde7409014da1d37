"""What happened between two rests.

Strategy: while the load is away from its last rest, its path is kept. A push comes back to where it was within
moments; a key of the scale moves the value in one result; a vessel leaves the plate empty, or below zero; what creeps
without any motion drifts; what comes back within half a minute was a tool. All else is an addition or a removal, told
once its rest has lasted long enough to be the end of it, so that what is set down in stages is told once.
"""

from __future__ import annotations

import math
from collections import deque

from scaled.weighing.change import SMALL_D, Change, is_away, is_quick, small_mg
from scaled.weighing.creep import Creep, Crept, Level
from scaled.weighing.keys import Keys
from scaled.weighing.opening import Opening
from scaled.weighing.plate import Plate, least_vessel
from scaled.weighing.pushes import BACK_SHARE, BACK_SIGMA, Pushes, least_push
from scaled.weighing.response import ResponseLearner
from scaled.weighing.rest import Plateau
from scaled.weighing.values import Happening

ENDED_S, VESSEL_ENDED_S = 1.5, 0.8
TOOL_S = 30.0
RECENT_PACE = 0.3
BACK_RESULTS = 3  # so many at the level after a push: it left nothing behind
TOOL_D, TOOL_MG = 20, 5_000
STILL_D, STILL_SIGMA = 1.6, 2.0
ABOUT_D, ABOUT_SIGMA = 1.5, 3.0  # so near the value still is where it was
ON_D, ON_U = 0.7, 3.0  # so much further in the same direction a change has gone on
HELD_S = 1.7  # longer than a press takes to its peak and is held there: a tool
SAME_D, SAME_SIGMA, SAME_SHARE = 2.0, 2.5, 0.01  # as much lifted as was laid down
POURED_D, BACK_AGAIN = 20, 0.05  # so much is poured, and not as much again as was lifted
LONGEST_PATH = 600


class Story:
    """Fed with each distinct result and the rest that stands; gives what is concluded, each once."""

    def __init__(self, response: ResponseLearner, keys: Keys) -> None:
        self._response, self._keys = response, keys
        self._plateau: Plateau | None = None
        self._level = 0.0
        self._left_level = 0.0
        self._opening, self._plate, self._creep = Opening(), Plate(), Creep()
        self._division = self._sigma = 0.0
        self._recent: deque[tuple[float, float]] = deque(maxlen=2)
        self._path: list[tuple[float, float]] = []
        self._pushes: Pushes | None = None
        self._pushed, self._were_back = 0.0, 0
        self._open: Change | None = None
        self._laid: deque[Change] = deque(maxlen=8)
        self._is_net: bool | None = None
        self._net_changed = False
        self._emptied: Change | None = None

    def see(
        self, at: float, value: float, rest: Plateau | None, division: float, sigma: float, *, is_net: bool | None
    ) -> tuple[Happening, ...]:
        """Take the next result; `rest` is the one that stands, also while it is in doubt."""
        told: list[Happening] = []
        self._division, self._sigma = division, sigma
        self._net_changed |= is_net is not None and self._is_net is not None and is_net != self._is_net
        self._is_net = is_net
        if self._plateau is None:
            self._opening.see(at, value)
            if rest is not None:
                told += self._begin(at, value, rest)
        elif rest is None:
            told += self._move(at, value, division)
        elif rest is not self._plateau:
            told += self._arrive(at, value, rest, division, sigma)
        else:
            told += self._stay(at, value, rest, division, sigma)
        self._recent.append((at, value))
        return tuple(told)

    def close(self) -> tuple[Happening, ...]:
        """Nothing more comes: what is still to be told."""
        if self._open is not None:
            return () if self._path else tuple(self._tell(self._open, self._open.after))
        return tuple(self._crept(self._creep.end(self._division)))

    def _begin(self, at: float, value: float, rest: Plateau) -> list[Happening]:
        left = self._opening.left(self._division, self._sigma)
        if left is None:
            self._stand(rest)
            return []
        level, since = left
        self._stand(Plateau(level.mass, level.u, level.at, level.at, 1, level.at))
        self._leave(since[:1])
        told = [h for when, shown in since[1:-1] for h in self._move(when, shown, self._division)]
        return told + self._arrive(at, value, rest, self._division, self._sigma)

    def _stand(self, rest: Plateau) -> None:
        self._plateau, self._level, self._left_level = rest, rest.mass, rest.mass
        self._net_changed = False
        self._plate.begin(rest.mass, self._division, self._sigma)
        self._creep.begin(Level(rest.stood, rest.mass, rest.u))

    def _move(self, at: float, value: float, division: float) -> list[Happening]:
        told: list[Happening] = []
        if not self._path:
            self._level = self._plateau.mass if self._plateau else value
            told = self._end(at, self._level)
            self._leave(list(self._recent))
        self._path.append((at, value))
        if len(self._path) > LONGEST_PATH:
            del self._path[1 : LONGEST_PATH // 2]
        return told + self._listen(at, value, division)

    def _leave(self, path: list[tuple[float, float]]) -> None:
        self._path = path
        self._pushes, self._pushed = Pushes(path[0][0], self._division, self._sigma), 0.0
        for when, before in path[1:]:
            self._pushes.see(when, before - self._level)

    def _listen(self, at: float, value: float, division: float) -> list[Happening]:
        pushes = self._pushes.see(at, value - self._level) if self._pushes else ()
        if pushes:
            self._pushed, self._were_back = max(push.height for push in pushes), 0
            self._path = [(at, value)]
        if self._were_back < BACK_RESULTS:
            self._were_back = self._were_back + 1 if abs(value - self._level) <= SMALL_D * division else 0
        return [Happening("press", push.from_at, push.to_at, 0) for push in pushes]

    def _stay(self, at: float, value: float, rest: Plateau, division: float, sigma: float) -> list[Happening]:
        if not is_away(value, rest.mass, division, sigma):  # a lone wild value is nothing that the level crept to
            self._left_level += RECENT_PACE * (value - self._left_level)
        if self._open is not None:
            self._reach(self._open, rest, rest.stood)
            return self._end(at, rest.mass)
        self._level = rest.mass
        return self._crept(self._creep.see(Level(at, rest.mass, rest.u), division))

    def _end(self, at: float, level: float) -> list[Happening]:
        """Tell the change that stands open, if its rest has lasted long enough to be the end of it."""
        if self._open is None or at < self._open.to_at + ENDED_S:
            return []
        ended, self._open = self._open, None
        ended.after = self._level = level
        return self._tell(ended, level)

    def _arrive(self, at: float, value: float, rest: Plateau, division: float, sigma: float) -> list[Happening]:
        told: list[Happening] = []
        path = [*(self._path or list(self._recent)), (at, value)]
        if self._path:
            told += self._listen(at, value, division)
        from_at = self._left_at(path, rest.mass)
        to_at = max(from_at, rest.stood)
        change = Change(from_at, to_at, self._level, rest.mass, is_quick(path, rest.mass - self._level))
        told += self._was_key(path, change)
        told += self._concluded(path, change, rest, division, sigma)
        if self._keys.is_doubtful:
            self._emptied = change
        if self._open is None:
            told += self._crept(self._creep.see(Level(to_at, rest.mass, rest.u), division))
        self._plateau, self._level, self._left_level = rest, rest.mass, rest.mass
        self._path, self._pushes, self._net_changed = [], None, False
        return told

    def _left_at(self, path: list[tuple[float, float]], after: float) -> float:
        """The last result of a path before it left the level: for good, where it leads elsewhere."""
        room = max(ABOUT_D * self._division, ABOUT_SIGMA * self._sigma)
        about = [abs(value - self._level) <= room for _, value in path]
        if abs(after - self._level) > 2 * room:
            last = max((index for index, is_about in enumerate(about) if is_about), default=0)
        else:
            last = max(0, about.index(False) - 1 if False in about else len(about) - 1)
        return path[last][0]

    def _concluded(
        self, path: list[tuple[float, float]], change: Change, rest: Plateau, division: float, sigma: float
    ) -> list[Happening]:
        small = small_mg(rest, self._plateau, division)
        is_key = self._keys.is_key(path, change.before, change.after, division, sigma, self._response)
        if is_key or (self._net_changed and abs(change.mass) > small):
            return self._rezeroed(change, rest)
        away = sorted(abs(value - change.before) for _, value in path)[-2]  # a lone one is a wild value
        stirred = away > abs(change.mass) + max(STILL_D * division, STILL_SIGMA * sigma)
        jumped = abs(change.after - self._left_level) > max(STILL_D * division, STILL_SIGMA * sigma)
        left_by_push = 0.0 if self._were_back >= BACK_RESULTS else max(BACK_SHARE * self._pushed, BACK_SIGMA * sigma)
        if self._pushed and abs(change.mass) <= max(small, left_by_push):
            return self._left(change, rest) if abs(change.mass) > small else []
        if abs(change.mass) <= small or not (jumped or stirred):
            if self._open is not None:
                return self._went_on(change, rest)
            return self._came_and_went(path, change) if stirred else []
        return self._went_on(change, rest)

    def _crept(self, crept: Crept | None) -> list[Happening]:
        """The level went there by itself, or so thinly that no change of it showed."""
        if crept is None:
            return []
        if crept.is_flow:
            return self._tell(Change(crept.from_at, crept.to_at, crept.before, crept.after, False), crept.after)
        return [Happening("drift", crept.from_at, crept.to_at, round(crept.after - crept.before))]

    def _came_and_went(self, path: list[tuple[float, float]], change: Change) -> list[Happening]:
        """Something moved, and the level is what it was: a tool lay there, or the plate was knocked."""
        off = [(at, v - change.before) for at, v in path if is_away(v, change.before, self._division, self._sigma)]
        if len(off) < 2:
            return []
        lay = math.fsum(mass for _, mass in off) / len(off)
        is_tool = off[-1][0] - off[0][0] > HELD_S and lay >= max(TOOL_D * self._division, TOOL_MG)
        was_laid = self._pushes is not None and self._pushes.was_laid
        return [Happening("tool" if is_tool or was_laid else "bump", change.from_at, change.to_at, 0)]

    def _left(self, change: Change, rest: Plateau) -> list[Happening]:
        """A push left the level a little off: nothing was added."""
        told = self._crept(self._creep.end(self._division))
        self._creep.begin(Level(change.to_at, rest.mass, rest.u))
        return [*told, Happening("drift", change.from_at, change.to_at, round(change.mass))]

    def _rezeroed(self, change: Change, rest: Plateau) -> list[Happening]:
        told = self._crept(self._creep.end(self._division))
        if self._open is not None:
            told = self._tell(self._open, self._level)
        self._open = None
        self._keys.pressed(change.mass)
        self._plate.rezeroed(change.mass)
        self._creep.begin(Level(change.to_at, rest.mass, rest.u))
        self._laid.clear()
        return [*told, Happening("re-zeroed", change.from_at, change.to_at, round(change.mass))]

    def _was_key(self, path: list[tuple[float, float]], change: Change) -> list[Happening]:
        """What is poured onto a plate that seemed to be emptied at once, and is no vessel, says that it was the key."""
        key, self._emptied = self._emptied, None
        if key is None or change.mass < POURED_D * self._division:
            return []
        room = SMALL_D * self._division
        if not any(change.before + room < value < change.after - room for _, value in path):
            return []  # laid there at once
        if change.is_quick and change.mass >= least_vessel(self._division, self._sigma):
            return []
        if abs(change.mass + key.mass) <= BACK_AGAIN * change.mass:
            return []
        if self._open is key:
            self._open = None
        self._keys.was_pressed(key.mass)
        self._plate.rezeroed(key.mass)
        self._laid.clear()
        return [Happening("re-zeroed", key.from_at, key.to_at, round(key.mass))]

    def _went_on(self, change: Change, rest: Plateau) -> list[Happening]:
        """A change that is not ended yet: one with the one before, if that was not either."""
        small = small_mg(rest, self._plateau, self._division)
        if self._open is None:
            crept = self._creep.end(self._division)
            if crept is not None and crept.is_flow and (crept.after > crept.before) == (change.mass > 0):
                change.from_at, change.before, crept = crept.from_at, crept.before, None
            self._open = change
            return self._crept(crept)
        began = self._open
        if abs(change.after - began.before) <= 2 * small and began.is_quick and began.mass > 0 > change.mass:
            self._open = None
            self._creep.begin(Level(change.to_at, rest.mass, rest.u))
            return [self._taken_back(began, change)]
        is_other = (began.mass > 0) != (change.mass > 0) or self._was_vessel(began, change) or self._keys.is_doubtful
        if is_other and abs(change.mass) > 2 * small:
            self._open = change
            return self._tell(began, change.before)
        self._reach(began, rest, change.to_at)
        began.is_quick |= change.is_quick
        return []

    def _was_vessel(self, began: Change, change: Change) -> bool:
        """Whether a vessel stood for a moment before more came: it is not set down in stages."""
        may_be = self._plate.may_be_vessel(began.before, began.mass, self._division, self._sigma)
        return began.is_quick and may_be and change.from_at - began.to_at >= VESSEL_ENDED_S

    def _taken_back(self, began: Change, change: Change) -> Happening:
        """What came at once and went at once: a hand that held still, or a tool."""
        is_push = change.from_at - began.from_at <= HELD_S and began.mass >= least_push(self._division, self._sigma)
        return Happening("press" if is_push else "tool", began.from_at, change.to_at, 0)

    def _reach(self, began: Change, rest: Plateau, at: float) -> None:
        """A rest after a change that is not ended yet: it goes on only where the level is another."""
        on = max(ON_D * self._division, ON_U * rest.u)
        is_on = (rest.mass - began.after) * began.mass > 0
        if abs(rest.mass - began.after) > (on if is_on else small_mg(rest, self._plateau, self._division)):
            began.after, began.to_at = rest.mass, max(began.to_at, at)

    def _tell(self, change: Change, level: float) -> list[Happening]:
        """A change that has come to its end at a level."""
        division, sigma = self._division, self._sigma
        self._creep.begin(Level(change.to_at, level, self._plateau.u if self._plateau else 0.0))
        mass = level - change.before
        if abs(mass) <= division:
            return []
        if mass < -max(TOOL_D * division, TOOL_MG):
            laid = next((one for one in reversed(self._laid) if self._was_lifted(one, change, mass)), None)
            if laid is not None:
                self._laid.remove(laid)
                return [self._taken_back(laid, change)]
        what = self._plate.kind(change.before, mass, division, sigma, is_quick=change.is_quick)
        if what == "addition":
            self._laid.append(change)
        elif what != "removal":
            self._laid.clear()
        return [Happening(what, change.from_at, change.to_at, round(mass))]

    def _was_lifted(self, laid: Change, change: Change, mass: float) -> bool:
        room = max(SAME_D * self._division, SAME_SIGMA * self._sigma, SAME_SHARE * abs(mass))
        is_same = abs(laid.mass + mass) <= room
        return is_same and laid.is_quick and change.is_quick and change.to_at - laid.from_at <= TOOL_S
