"""Whole pieces and whole eggs against brute force: every number of pieces is tried, and every factor that matters."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import pairwise

from correction_cases import Case, Row, draw, is_possible, rows_of
from correction_dough import fixed, formula_of, grams, names, oat_dough, percent, told, weighed

from scaled.formula.bowls import Bowl, whole_mg
from scaled.formula.correct import candidates, correct, standing_of
from scaled.formula.feasible import feasible
from scaled.formula.front import SCALE_UP_LEAST, WHOLE_PIECES
from scaled.formula.problem import problem_of
from scaled.formula.situation import Situation

CASES = 3000


def way(situation: Situation, name: str) -> Bowl | None:
    """A row of the table before any is dropped."""
    problem = problem_of(situation)
    free = feasible(problem, problem.floors)
    return dict(candidates(problem, situation, free, standing_of(problem))).get(name)


def test_the_smallest_number_of_pieces_above_the_least_factor() -> None:
    seen: Counter[str] = Counter()
    for i in range(CASES):
        case = draw(f"pieces-{i}")
        least = way(case.situation, SCALE_UP_LEAST)
        if case.formula.pieces is None or least is None:
            continue
        rows, pieces = rows_of(case), case.formula.pieces
        tried = [Fraction(k) / pieces for k in range(1, int(pieces * case.factor * case.formula.limits[1]) + 2)]
        fitting = [f for f in tried if f > least.factor and is_possible(case, rows, f, is_kept=True)]
        expected = min(fitting, default=None) if (least.factor * pieces).denominator > 1 else None
        found = way(case.situation, WHOLE_PIECES)
        assert (found and found.factor) == expected, f"pieces-{i}"
        seen["whole" if expected else "none"] += 1
    assert seen["whole"] > 100, seen
    assert seen["none"] > 100, seen


def egg_case(seed: str) -> Case:
    """A random case without pieces and with eggs in pieces of a size that matters."""
    case = draw(seed)
    stages = []
    for stage in case.formula.stages:
        additions = []
        for addition in stage.additions:
            assert addition.weight_mg is not None
            piece = addition.piece_mg and Fraction(round(addition.weight_mg / (3 + len(seed) % 7)) or 1)
            additions.append(_with(addition, piece_mg=piece))
        stages.append(_with(stage, additions=tuple(additions)))
    formula = _with(case.formula, stages=tuple(stages), pieces=None)
    return _with(case, formula=formula)


def _with(value, **changes):  # type: ignore[no-untyped-def]
    from dataclasses import fields

    kept = {f.name: getattr(value, f.name) for f in fields(value) if f.init}
    return type(value)(**(kept | changes))


def eggs_fit(case: Case, rows: list[Row], factor: Fraction) -> bool:
    """An egg that is in and short lies in its band with whole pieces more, at least one, and the bowl holds it."""
    if not is_possible(case, rows, factor, is_kept=True):
        return False
    total, count = Fraction(0), 0
    for row in rows:
        low, high = row.reach(factor, is_kept=True)
        if row.piece and row.is_in and not row.is_by_feel and row.inside < row.lo(factor):
            masses = [row.inside + n * row.piece for n in range(1, int(factor * row.weight * 3 / row.piece) + 2)]
            masses = [mass for mass in masses if low <= mass and (high is None or mass <= high)]
            if masses:
                count += 1
                low = masses[0]
        total += low
    return count > 0 and (case.capacity_mg is None or total <= case.capacity_mg)


def test_the_smallest_factor_at_which_whole_eggs_do() -> None:
    seen: Counter[str] = Counter()
    for i in range(CASES):
        case = egg_case(f"eggs-{i}")
        least = way(case.situation, SCALE_UP_LEAST)
        found = way(case.situation, WHOLE_PIECES)
        if least is None:
            assert found is None
            continue
        rows = rows_of(case)
        highest = case.factor * case.formula.limits[1]
        turns = {least.factor, highest}
        for row in rows:
            if row.piece and row.is_in and not row.is_by_feel:
                turns.add((row.inside - row.lo_rest) / row.lo_slope if row.lo_slope else highest)
                for n in range(1, int(highest * row.weight * 3 / row.piece) + 2):
                    mass = row.inside + n * row.piece
                    turns.add((mass - row.hi_rest) / row.hi_slope)
                    turns.add((mass - row.lo_rest) / row.lo_slope if row.lo_slope else highest)
        factors = sorted(turn for turn in turns if least.factor <= turn <= highest)
        fitting = [factor for factor in factors if eggs_fit(case, rows, factor)]
        between = [(a + b) / 2 for a, b in pairwise(factors)]
        first_between = next((factor for factor in between if eggs_fit(case, rows, factor)), None)
        expected = min(fitting, default=None)
        if first_between is not None and (expected is None or first_between < expected):
            seen["no smallest"] += 1  # a band wider than a piece: nothing is the smallest just above the egg's own end
            assert found is None or eggs_fit(case, rows, found.factor)
            continue
        assert (found and found.factor) == expected, f"eggs-{i}"
        seen["whole" if expected else "none"] += 1
    assert seen["whole"] > 30, seen
    assert seen["none"] > 100, seen
    assert seen["no smallest"] < seen["whole"], seen


def test_eight_shells_become_nine() -> None:
    correction = correct(told(oat_dough(), {"whole egg": 57}, mixing="mixed"))
    assert [(offer.offer, offer.makes) for offer in correction.offers][1] == ("whole pieces", 9)


def test_no_whole_pieces_where_the_least_factor_makes_them_already() -> None:
    formula = formula_of(weighed("egg", 50, percent(0)), weighed("flour", 100, percent(1)), pieces=8)
    correction = correct(told(formula, {"egg": 56.25, "flour": 112.5}, mixing="mixed"))
    assert names(correction) == ["scale up, least", "keep"]
    assert correction.offers[0].makes == 9


def test_without_pieces_an_egg_that_must_be_topped_up_comes_whole() -> None:
    # Two eggs are in; half as much flour again asks for a third: 150 g lie in the band of 100 g ± 0.5 % from 150/100.5.
    formula = formula_of(
        weighed("egg", 100, percent(0.5), egg="whole", piece_mg=grams(50)),
        weighed("flour", 200, percent(1)),
        limits=(0.5, 1.494),
    )
    correction = correct(told(formula, {"egg": 100, "flour": 299}, mixing="mixed"))
    offers = {offer.offer: offer for offer in correction.offers}
    whole = offers["whole pieces"]
    assert whole.factor == Fraction(300, 201)
    assert whole.bowl_mg == (150_000, 299_000)
    assert offers["scale up, least"].bowl_mg == (round(Fraction(299_000, 202) * 100), 299_000)
    assert whole.makes is None


def test_an_egg_comes_whole_where_the_other_cannot() -> None:
    """A quarter more sugar asks for 186 g of egg and 49.5 g of yolk: a fourth egg lies in its band from 200/153 on."""
    formula = formula_of(
        weighed("whole egg", 150, percent(2), egg="whole", piece_mg=grams(50)),
        weighed("egg yolk", 40, percent(2), egg="yolk", piece_mg=grams(20)),
        weighed("sugar", 160, percent(1)),
    )
    situation = told(formula, {"sugar": 200}, mixing="mixed")
    bowl = way(situation, WHOLE_PIECES)
    assert bowl is not None
    assert bowl.factor == Fraction(200, 153)
    sugar_and_yolk = [round(Fraction(mass * 1000 * 200, 153)) for mass in (40, 160)]
    assert whole_mg(bowl, problem_of(situation), None) == (200_000, *sugar_and_yolk)


def test_one_egg_comes_whole_where_the_bowl_does_not_hold_two() -> None:
    """At the least factor, 1.475, both a third egg and a portion of white would do; there is room for the egg alone."""
    formula = formula_of(
        weighed("whole egg", 100, percent(2), egg="whole", piece_mg=grams(50)),
        weighed("egg white", 100, fixed(30), egg="white", piece_mg=grams(70)),
        weighed("flour", 200, percent(1)),
    )
    roomy = told(formula, {"flour": 297.95}, mixing="mixed")
    tight = told(formula, {"flour": 297.95}, mixing="mixed", capacity_mg=grams(150) + grams(120) + grams(297.95))
    roomy_way, tight_way = (way(situation, WHOLE_PIECES) for situation in (roomy, tight))
    assert roomy_way is not None
    assert tight_way is not None
    assert roomy_way.factor == tight_way.factor == Fraction("1.475")
    assert whole_mg(roomy_way, problem_of(roomy), None) == (150_000, 170_000, 297_950)
    assert whole_mg(tight_way, problem_of(tight), None) == (150_000, 120_000, 297_950)


def test_eggs_of_a_milligram_do_not_keep_the_bench_waiting() -> None:
    """A million numbers of pieces lie below the factor at which the egg needs any; none of them is tried."""
    formula = formula_of(
        weighed("egg", 5_000, fixed(1_500), egg="whole", piece_mg=Fraction(1)), weighed("flour", 240, percent(0.1))
    )
    situation = told(formula, {"flour": 255}, mixing="mixed")
    problem = problem_of(situation)
    free = feasible(problem, problem.inside)
    assert free is not None
    needed = Fraction(5_000 + 1_500, 5_000)
    assert (needed - free[0]) * grams(5_000) > 1_000_000
    whole = way(situation, WHOLE_PIECES)
    assert whole is not None
    assert needed < whole.factor <= needed + Fraction(1, grams(5_000))


def test_an_egg_that_is_not_in_yet_needs_no_whole_pieces() -> None:
    formula = formula_of(
        weighed("flour", 200, percent(1)), weighed("egg", 100, fixed(2), egg="whole", piece_mg=grams(50))
    )
    correction = correct(told(formula, {"flour": 230}, mixing="mixed"))
    assert "whole pieces" not in names(correction)
