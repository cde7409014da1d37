"""When is the plate empty? Then what is set down at once is a vessel, and what leaves it empty takes the vessel off.

Strategy: the level of the empty plate is remembered from where it was seen, and moves with the scale's own keys. A
plate that reads below zero holds nothing: the scale was tared with what is off by now. Where the empty plate was not
seen yet it is thought to read zero.
"""

from __future__ import annotations

from scaled.weighing.values import What

VESSEL_D, VESSEL_MG = 20, 10_000
EMPTY_D, EMPTY_SIGMA = 3, 2.5  # so far off a plate still reads empty: divisions, standard deviations of a result
EMPTY_SHARE = 0.002  # and so much of what was set down or lifted


class Plate:
    """All masses in mg; `sigma` is the standard deviation of a single result."""

    def __init__(self) -> None:
        self._empty = 0.0
        self._is_known = False

    def begin(self, level: float, division: float, sigma: float) -> None:
        """The first rest: nothing is on where it reads zero or less."""
        is_zero = abs(level) <= max(EMPTY_D * division, EMPTY_SIGMA * sigma)
        if is_zero or level < -least_vessel(division, sigma):
            self._empty, self._is_known = level, True

    def rezeroed(self, change: float) -> None:
        """One of the scale's keys moved what it shows."""
        self._empty += change

    def may_be_vessel(self, before: float, mass: float, division: float, sigma: float) -> bool:
        """Whether so much came onto an empty plate as a vessel weighs."""
        was_empty = self._is_known and abs(before - self._empty) <= _near(mass, division, sigma)
        return was_empty and mass >= least_vessel(division, sigma)

    def kind(self, before: float, mass: float, division: float, sigma: float, *, is_quick: bool) -> What:
        """What a change by `mass` from the level `before` is that neither a key nor a tool explains.

        Args:
            is_quick: whether it took moments: a vessel is not poured.
        """
        near = _near(mass, division, sigma)
        vessel = least_vessel(division, sigma)
        if mass > 0:
            is_vessel = is_quick and self.may_be_vessel(before, mass, division, sigma)
            return "vessel on" if is_vessel else "addition"
        after = before + mass
        if abs(after - self._empty) <= near or after < min(0.0, self._empty) - vessel:
            self._empty, self._is_known = after, True
            return "vessel off"
        return "removal"


def _near(mass: float, division: float, sigma: float) -> float:
    """So far off the empty plate a change by `mass` still leaves it or comes to it."""
    return max(EMPTY_D * division, EMPTY_SIGMA * sigma, EMPTY_SHARE * abs(mass))


def least_vessel(division: float, sigma: float) -> float:
    """The lightest that may be one."""
    return max(VESSEL_D * division, VESSEL_MG, 2 * EMPTY_SIGMA * sigma)
