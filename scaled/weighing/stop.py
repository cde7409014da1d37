"""When did the load stop moving, as far as the results tell at which the value came to lie about its level?

Strategy: going back from the newest result, all that lies about the level belongs to the rest. The load stopped
earlier than the oldest of them, since the scale is a while on its way: in time with its natural period.
"""

from __future__ import annotations

from collections.abc import Sequence

# Tuned on simulated scenes (tests/weighing). There a value lies about its level after 4 / w + 0.8 of an interval, give
# or take 0.2 s (root mean square; w the natural frequency). Part of that is taken off: it should hardly ever be
# too much, which would end an addition in a pause.
ABOUT_D, ABOUT_SIGMA = 0.9, 2.4  # so far off a result still lies about the level
ON_ITS_WAY_RAD = 1.5


def stopped_at(
    results: Sequence[tuple[float, float]],
    level: float,
    division: float,
    sigma: float,
    frequency: float,
    not_before: float,
) -> tuple[float, int]:
    """When the load stood still, and from which result on the value lies about its level.

    Args:
        results: (time, value), a rest at their end.
        level: the level of that rest.
        division, sigma: the division and the standard deviation of a single result, in the unit of the values.
        frequency: the scale's natural frequency in rad/s.
        not_before: the load moved until then in any case.
    """
    first = _about_from(results, level, max(ABOUT_D * division, ABOUT_SIGMA * sigma), not_before)
    earliest = max(not_before, results[0][0])
    return max(earliest, results[first][0] - ON_ITS_WAY_RAD / frequency), first


def _about_from(results: Sequence[tuple[float, float]], level: float, room: float, not_before: float) -> int:
    """The oldest of the results that lie about the level, but for single ones, which noise throws out."""
    first = len(results) - 1
    index = first - 1
    while index >= 0 and results[index][0] >= not_before:
        if abs(results[index][1] - level) <= room:
            first = index
        elif first > index + 1:
            break
        index -= 1
    return first
