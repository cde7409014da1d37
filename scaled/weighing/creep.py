"""What a level at rest does by itself: drift, creep, and a stream so thin that each division shows for a while.

Strategy: a level is accounted for up to the last change that was told. What it walks away from there, by steps too
small for a change, adds up over all rests since, and is told once when it has come to its end: something else changes
the level, or it turns back, or the readings end. What walks faster than scales do by themselves was poured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

DRIFT_D, DRIFT_U = 1.5, 4.0  # less is none: divisions, standard uncertainties of the difference
STILL_D, STILL_U = 0.5, 1.0  # so far a level still stands where it stood
FLOW_MG_S, FLOW_D_S = 200.0, 0.2  # a second; measured: 0.4 to 0.6 g in 10 s at rest; nobody pours so slowly
FLOW_D = 3.0


class Level(NamedTuple):
    """A level in mg at a time, and its standard uncertainty."""

    at: float
    mass: float
    u: float


@dataclass(frozen=True, slots=True)
class Crept:
    """How far a level went by itself; `is_flow` where it went faster than a scale drifts."""

    from_at: float
    to_at: float
    before: float
    after: float
    is_flow: bool


class Creep:
    """Follows the level from rest to rest."""

    def __init__(self) -> None:
        self.begin(Level(0.0, 0.0, 0.0))

    def begin(self, level: Level) -> None:
        """All is told up to this level."""
        self._base = self._far = self._now = level
        self._stood_at = level.at

    def see(self, level: Level, division: float) -> Crept | None:
        """The level stands here now; what has come to its end, if it turned back.

        A rest is told to have stood since a moment at which the one before it was still seen: time does not go back.
        """
        level = self._now = level._replace(at=max(level.at, self._now.at))
        on = level.mass - self._far.mass
        if not self._is_drift(self._far, self._base, division):
            if not _is_off(level, self._base, division):
                is_surer = level.u < self._base.u
                self._base = self._far = level if is_surer else self._base._replace(at=level.at)
            elif _is_off(level, self._far, division):
                self._far = level
        elif not _is_off(level, self._far, division):
            self._stood_at = level.at
        elif on * (self._far.mass - self._base.mass) > 0:
            self._far, self._stood_at = level, level.at
        elif self._is_drift(level, self._far, division):
            ended = self._crept(self._far.mass, division)
            self._base, self._far = self._far._replace(at=self._stood_at), level
            return ended
        return None

    def end(self, division: float) -> Crept | None:
        """How far the level has gone by itself, None where it stayed."""
        return self._crept(self._now.mass, division) if self._is_drift(self._now, self._base, division) else None

    def _crept(self, after: float, division: float) -> Crept:
        base, far = self._base, self._far
        slow = max(FLOW_MG_S, FLOW_D_S * division) * (far.at - base.at)
        is_flow = abs(after - base.mass) > max(FLOW_D * division, slow)
        return Crept(base.at, far.at, base.mass, after, is_flow)

    @staticmethod
    def _is_drift(to: Level, since: Level, division: float) -> bool:
        return abs(to.mass - since.mass) > max(DRIFT_D * division, DRIFT_U * math.hypot(to.u, since.u))


def _is_off(level: Level, other: Level, division: float) -> bool:
    return abs(level.mass - other.mass) > max(STILL_D * division, STILL_U * level.u)
