"""Every number of a correction is a whole number of one unit, exactly; what is asked for is looked up, not mixed up."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from correction_dough import fixed, grams, percent, weighed

from scaled.formula.asked import asked_of
from scaled.formula.problem import problem_of
from scaled.formula.situation import Content, Situation
from scaled.formula.values import Addition, Tolerance


class TestUnits:
    """Whole mg where they hold everything exactly, else as many parts of a mg as it takes."""

    @pytest.mark.parametrize(
        ("weight_mg", "tolerance", "in_mg", "is_whole"),
        [
            (Fraction(240_000), percent(1), Fraction(250_000), True),
            (Fraction(240_050), percent(1), Fraction(250_000), False),
            (Fraction(1_000, 3), percent(1), Fraction(400), False),
            (Fraction(240_000), percent(1), Fraction(250_000, 7), False),
            (Fraction(240_000), fixed(0.0001), Fraction(250_000), False),
        ],
    )
    def test_every_number_is_exact(
        self,
        weight_mg: Fraction,
        tolerance: Tolerance,
        in_mg: Fraction,
        is_whole: bool,  # noqa: FBT001
    ) -> None:
        flour = Addition("flour", "all", "flour", "weighed", weight_mg, tolerance)
        content = Content(flour, in_mg, True, Fraction(0), None)
        problem = problem_of(Situation((content,), Fraction(1), (Fraction(1, 2), Fraction(2))))
        parts = problem.units_per_mg
        assert (parts == 1) is is_whole
        (lo_slope,), (lo_rest,), (hi_slope,), (hi_rest,) = problem.bands
        for factor in (Fraction(1), Fraction(19, 17)):
            target = weight_mg * factor
            assert lo_slope * factor + lo_rest == tolerance.lo_mg(target) * parts
            assert hi_slope * factor + hi_rest == tolerance.hi_mg(target) * parts
        assert problem.inside[0] == in_mg * parts

    def test_what_is_asked_for_is_worked_out_once_for_the_same_additions_only(self) -> None:
        """A batch changes tolerance and weight of an addition, which keeps its key."""
        flour = weighed("flour", 240, percent(1))
        asked = asked_of((flour,))
        assert asked_of((replace(flour),)) is asked
        for other in (replace(flour, tolerance=percent(2)), replace(flour, weight_mg=grams(241))):
            assert hash(other) == hash(flour)
            assert asked_of((other,)).bands != asked.bands

    def test_a_smaller_unit_holds_the_same(self) -> None:
        flour = weighed("flour", 240, fixed(2), price_per_kg=Fraction(3, 2))
        egg = weighed("egg", 50, percent(4, 6), egg="whole", piece_mg=grams(50))
        asked = asked_of((flour, egg))
        finer = asked.in_parts(6)
        assert [mass * 6 for mass in asked.weights] == finer.weights
        assert [[mass * 6 for mass in column] for column in asked.bands] == list(finer.bands)
        assert (asked.total * 6, asked.narrowest * 6, finer.eggs) == (finer.total, finer.narrowest, {1: 300_000})
        assert asked.prices is not None
        assert finer.prices == asked.prices._replace(planned=asked.prices.planned * 6)
        with pytest.raises(ValueError, match="no whole number"):
            finer.in_parts(8)

    def test_capacity_and_stock_are_exact_too(self) -> None:
        content = Content(weighed("flour", 240, percent(1)), grams(250), True, Fraction(0), Fraction(1, 3))
        situation = Situation((content,), Fraction(1), (Fraction(1, 2), Fraction(2)), capacity_mg=Fraction(999, 2))
        problem = problem_of(situation)
        assert problem.stocks[0] == (grams(250) + Fraction(1, 3)) * problem.units_per_mg
        assert problem.capacity == Fraction(999, 2) * problem.units_per_mg
