"""For how long is it proven that the load did not change by as much as counts?

Strategy: such a change just before any earlier result would by now show as the scale's answer to a step.
The likelihood of such a change is compared with that of none, place by place. Where the results speak against it the
load stood still. At the newest places nothing can show yet: how far back that goes follows from the scale's lag, from
the noise, and from whether the newest results look like the beginning of a change; a rest counts that much less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import accumulate, pairwise
from operator import mul

from scaled.weighing.response import Kind

# Logarithms of odds, tuned on simulated scenes (tests/weighing).
AGAINST = 0.3  # the newest places are open until so much speaks against a change,
FOR = 4.0  # an older one is taken for a change where so much speaks for it
WORTH = 0.3  # of the time between two results: where between them the change was is not known
FEWEST = 4
MOST = 64

Answer = tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]


def rested_since(
    results: Sequence[tuple[float, float]], stopped: float, change: float, sigma: float, remembers: float, kind: Kind
) -> float | None:
    """From when on a rest counts: when the load stopped or last changed, and what cannot show yet on top.

    None where nothing is proven yet.

    Args:
        results: (time, value) that lie about one level, the newest last.
        stopped: when the load stopped before that.
        change, sigma: what counts, and the standard deviation of a single result, in the unit of the values.
        remembers: the correlation of two neighbouring results.
        kind: the scale's response.
    """
    if len(results) < FEWEST:
        return None
    values = [value / change for _, value in results[-MOST:]]
    odds = change_odds(values, (sigma / change) ** 2, remembers, kind)
    known = len(odds)
    while known and odds[known - 1] > -AGAINST:
        known -= 1
    if not known:
        return None
    offset = len(results) - len(values)
    for place in range(known - 1, 0, -1):
        if odds[place] > FOR:
            stopped = max(stopped, results[offset + place + 1][0])
            break
    return stopped + results[-1][0] - results[offset + known][0] + WORTH * kind.interval_s


def change_odds(values: Sequence[float], variance: float, remembers: float, kind: Kind) -> list[float]:
    """For each pair of neighbours: the log-likelihood of a change by 1 between them less that of none.

    Either way, from and to a level that is not known; `variance` is that of a single value.
    """
    n = len(values) - 1
    answer, sums, squares = _answer(
        round(kind.frequency, 1), round(kind.damping, 2), round(kind.interval_s, 3), round(remembers, 2)
    )
    fresh = [new - remembers * old for old, new in pairwise(values)]
    mean = math.fsum(fresh) / n
    double = 2 * variance * (1 - remembers * remembers)
    odds = []
    for place in range(n):
        after = n - place - 1
        room = squares[after] - sums[after] ** 2 / n
        alike = math.fsum(map(mul, answer, fresh[place:])) - sums[after] * mean
        odds.append((2 * abs(alike) - room) / double)
    return odds


@lru_cache(maxsize=16)
def _answer(frequency: float, damping: float, interval_s: float, remembers: float) -> Answer:
    """What a step of 1, halfway between two results, adds to each after it, less what the noise remembers of the last.

    With it the running sums of these and of their squares. The step response of a second-order system.
    """
    turn = frequency * math.sqrt(max(1e-6, 1 - damping * damping))
    last, answer = 0.0, []
    for k in range(MOST):
        t = (k + 0.5) * interval_s
        swing = math.cos(turn * t) + damping * frequency / turn * math.sin(turn * t)
        value = 1 - math.exp(-damping * frequency * t) * swing
        answer.append(value - remembers * last)
        last = value
    return tuple(answer), tuple(accumulate(answer)), tuple(accumulate(one * one for one in answer))
