"""When did the load stop moving, as far as the way tells on which the value came to rest?

Strategy: going back from the newest result, all that lies about the level belongs to the rest. Before that the value
was on its way, and the scale by itself takes a while to come in from there: where it took no longer than that, the
load had stopped already, if it came as the scale does by itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from scaled.weighing.response import Kind

# Tuned on simulated scenes (tests/weighing).
ABOUT_D, ABOUT_SIGMA = 0.9, 2.4  # so far off a result still lies about the level
RATIO, SIZES = 2.0, 13  # sizes of a change: 1, 2, 4, ... 4096 times that
SURE = 0.85  # the response is known no better than that
FREE_SIGMA, MISMATCH = 3.0, 0.1
GAPS = 2  # a swing crosses the level on its way in


def coming_in(kind: Kind) -> tuple[float, ...]:
    """How long a value needs at least to come in by itself from 1, 2, 4, ... times what counts as about the level.

    The least of a load that stood still and of one that had flowed evenly before it stopped: their starts differ.
    """
    step_s = 0.1 / kind.frequency
    decay = math.exp(-kind.damping * 0.1)
    turn = 0.1 * math.sqrt(max(1e-6, 1 - kind.damping**2))
    a1, a2 = 2 * decay * math.cos(turn), -decay * decay
    times = [math.inf] * SIZES
    for slope in (0.0, -1.0 / (2 * kind.damping)):
        older, newer = 1.0, 1.0 + slope * 0.1
        path = [1.0]
        while len(path) < 200:
            path.append(newer)
            older, newer = newer, a1 * newer + a2 * older
        last, size = len(path) - 1, SIZES - 1
        while size >= 0:
            while last > 0 and abs(path[last]) * RATIO**size <= 1.0:
                last -= 1
            times[size] = min(times[size], last * step_s)
            size -= 1
    return tuple(times)


def stopped_at(
    results: Sequence[tuple[float, float]],
    level: float,
    division: float,
    sigma: float,
    kind: Kind,
    arrival: Sequence[float],
    not_before: float,
) -> tuple[float, int]:
    """When the load stood still, and from which result on the value lies about its level.

    Args:
        results: (time, value), a rest at their end.
        level: the level of that rest.
        division, sigma: the division and the standard deviation of a single result, in the unit of the values.
        kind: the scale's response.
        arrival: `coming_in` of it.
        not_before: the load moved until then in any case.
    """
    room = max(ABOUT_D * division, ABOUT_SIGMA * sigma)
    first = _about_from(results, level, room, not_before)
    inside_at = stopped = results[first][0]
    missed = 0
    for index in range(first - 1, -1, -1):
        at, value = results[index]
        if at < not_before or missed > GAPS:
            break
        if index + 2 < len(results) and not _is_free(
            kind, value - level, results[index + 1][1] - level, results[index + 2][1] - level, sigma
        ):
            break
        size = int(math.log(max(1.0, abs(value - level) / room), RATIO))
        if inside_at - at <= SURE * arrival[min(size, SIZES - 1)]:
            stopped, missed = at, 0
        else:
            missed += 1
    return stopped, first


def _is_free(kind: Kind, older: float, old: float, new: float, sigma: float) -> bool:
    """Whether the third of three distances from the level follows from the others with the load at rest there."""
    miss = new - kind.a1 * old - kind.a2 * older
    return abs(miss) <= FREE_SIGMA * sigma * kind.amplifies + MISMATCH * (abs(old) + abs(older))


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
