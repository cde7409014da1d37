"""A correction of 20 ingredients beside one call of scipy's `linprog` (HiGHS), in turns in the same process.

Ours finds the range of factors, all the ways out, what each costs and the bowls in whole mg; the rival finds one
optimum. The same least factor must come out of both. Each call is given a situation that no call has seen, of one
formula: a formula is read once, what is in the bowl is new each time. What a formula asks for is brought to whole
numbers in its first correction and remembered; what that one takes is a row of its own.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1] / "correction"))
sys.path.insert(0, str(Path(__file__).parents[1] / "with_scipy"))

from correction_cases import Case, rows_of
from correction_dough import fixed, formula_of, percent, weighed
from correction_highs import program
from figures import Row, Size
from scipy.optimize import linprog

from scaled.formula.asked import asked_of
from scaled.formula.correct import correct
from scaled.formula.situation import Situation
from scaled.formula.values import Addition

ENVIRONMENT = "scipy"
INGREDIENTS = 20
ROUNDS = {"small": 30, "full": 600}


def overpoured() -> Case:
    """Twenty ingredients, the last but one poured 14 % over, the last not in yet, in a bowl of 6 kg."""
    additions = [_addition(i) for i in range(INGREDIENTS)]
    last = additions[-2]
    assert last.weight_mg is not None
    return Case(
        formula_of(*additions, pieces=8),
        {last.key: last.weight_mg * 57 / 50},
        capacity_mg=Fraction(6_000_000),
        mixing="mixed",
    )


def _addition(place: int) -> Addition:
    tolerance = fixed(0.3) if place % 4 == 0 else percent(2 if place % 3 else 1)
    return weighed(f"ingredient {place}", 3 + 47 * place % 400, tolerance, price_per_kg=Fraction(210 + place, 100))


def rows(size: Size) -> Iterator[Row]:
    case = overpoured()
    situation, limits = case.situation, rows_of(case)
    least = correct(situation).offers[0]
    asked = program(case, limits, is_kept=True, sign=1, capacity_mg=case.capacity_mg)
    theirs = float(linprog(**asked).x[0])
    if abs(float(least.factor) - theirs) > 1e-9:
        raise AssertionError(f"two answers: {float(least.factor)} and {theirs}")
    for what, ours, ratio in (("correction", correct, 0.1), ("first correction of a formula", _first, None)):
        figure, floor = _in_turns(lambda: case.situation, ours, lambda: linprog(**asked), ROUNDS[size])
        yield Row(
            f"{what}, {INGREDIENTS} ingredients",
            figure=figure * 1e3,
            unit="ms",
            floor=floor * 1e3,
            floor_is="one linprog call (HiGHS)",
            ratio_at_most=ratio,
            figure_at_most=1.0,
        )


def _first(situation: Situation) -> object:
    asked_of.cache_clear()
    return correct(situation)


def _in_turns(
    fresh: Callable[[], Situation], ours: Callable[[Situation], object], rival: Callable[[], object], rounds: int
) -> tuple[float, float]:
    """The median time of one call of each, in turns of ten calls: a busy moment of the machine meets both."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(rounds):
        for situation in [fresh() for _ in range(10)]:
            start = time.perf_counter()
            ours(situation)
            times[0].append(time.perf_counter() - start)
        for _ in range(10):
            start = time.perf_counter()
            rival()
            times[1].append(time.perf_counter() - start)
    return median(times[0]), median(times[1])
