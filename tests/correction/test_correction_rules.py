"""What each way out means, one kitchen at a time: overshot, short, closed, too small a bowl, and several at once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from correction_dough import fixed, formula_of, grams, names, oat_dough, percent, told, weighed

from scaled.formula.correct import correct
from scaled.formula.situation import Content, Correction, Offer, Situation, situation_of
from scaled.formula.values import Addition, rounded_mg


def offers(correction: Correction) -> dict[str, Offer]:
    return {offer.offer: offer for offer in correction.offers}


def test_57_g_lie_in_the_band_of_the_least_factor_exactly() -> None:
    egg = oat_dough().addition("whole egg")
    factor = Fraction(57, 51)
    lo, hi = egg.band_mg(factor)
    assert (lo, hi) == (54_765, 57_000)
    assert rounded_mg(egg.target_mg(factor), (lo, hi), 100) == 55_900


class TestNothingToCorrect:
    def test_everything_in_its_band_leaves_only_keep(self) -> None:
        correction = correct(told(oat_dough(comes_out=True), {"oat flour": 242.4, "whole egg": 51}))
        assert names(correction) == ["keep"]
        assert correction.offers[0].bowl_mg == (242_400, 3_000, 220_000, 51_000)
        assert correction.offers[0].extra_mass_mg == 3_400
        assert correction.factor_range == (1, 2)

    def test_what_is_not_in_yet_and_fits_its_stock_is_not_short(self) -> None:
        situation = told(oat_dough(), {"butter": 220}, stock={"whole egg": 49})
        correction = correct(situation)
        assert names(correction) == ["keep"]
        assert correction.offers[0].bowl_mg[3] == 49_000

    def test_an_ingredient_that_is_weighed_by_feel_drives_nothing(self) -> None:
        milk = Addition("milk", "all", "milk", "by feel", grams(100), None, feel_mg=(grams(80), grams(120)))
        formula = formula_of(weighed("flour", 200, percent(1)), milk, weighed("salt", 4, percent(5)))
        correction = correct(told(formula, {"flour": 200, "milk": 180}, stock={"salt": 10}))
        assert names(correction) == ["keep"]
        overpoured = correct(told(formula, {"flour": 220, "milk": 180}, mixing="mixed"))
        assert offers(overpoured)["scale up, least"].bowl_mg[1] == 180_000
        assert offers(overpoured)["keep"].worst_deviation == Fraction(1, 10)

    def test_of_what_is_weighed_by_feel_no_more_is_asked_than_there_is(self) -> None:
        """10 % more flour asks for 109 g of milk, by feel; 90 g are to hand."""
        milk = Addition("milk", "all", "milk", "by feel", grams(100), None, feel_mg=(grams(80), grams(120)))
        formula = formula_of(weighed("flour", 200, percent(1)), milk)
        situation = told(formula, {"flour": 220}, stock={"milk": 90}, mixing="mixed")
        for offer in correct(situation).offers:
            assert offer.bowl_mg == (220_000, 90_000)


class TestOvershot:
    def test_of_several_overshot_each_comes_out_to_its_target(self) -> None:
        situation = told(oat_dough(), {"oat flour": 250, "whole egg": 57}, mixing="tubs")
        out = offers(correct(situation))["take out"]
        assert out.bowl_mg == (240_000, 3_000, 220_000, 50_000)
        assert (out.taken_out_mg, out.extra_weighings) == (17_000, 2)

    def test_of_several_overshot_the_worst_one_sets_the_exact_factor(self) -> None:
        situation = told(oat_dough(), {"oat flour": 250, "whole egg": 57}, mixing="mixed")
        assert offers(correct(situation))["scale up, exact"].factor == Fraction(57, 50)

    def test_one_that_cannot_come_out_keeps_all_from_being_taken_out(self) -> None:
        situation = told(oat_dough(comes_out=True), {"oat flour": 250, "whole egg": 57})
        correction = correct(situation)
        assert "take out" not in names(correction)
        assert correction.factor_range == (Fraction(2500, 2424), 2)  # the egg could come down to it, the flour not

    def test_what_is_short_is_topped_up_while_the_rest_is_taken_out(self) -> None:
        situation = told(oat_dough(), {"butter": 200, "whole egg": 57}, mixing="tubs")
        out = offers(correct(situation))["take out"]
        assert out.bowl_mg == (240_000, 3_000, 220_000, 50_000)
        assert (out.extra_weighings, out.taken_out_mg) == (2, 7_000)

    def test_only_a_share_comes_out_of_a_bowl_and_only_where_it_is_enough(self) -> None:
        nuts = weighed("almonds", 50, percent(2), share_out=Fraction(4, 5))
        formula = formula_of(weighed("flour", 200, percent(1)), nuts)
        assert offers(correct(told(formula, {"almonds": 150})))["take out"].bowl_mg == (200_000, 50_000)
        too_much = correct(told(formula, {"almonds": 260}))  # 52 g stay, and the band ends at 51 g
        assert too_much.factor_range == (Fraction(52, 51), Fraction(2))
        assert names(too_much) == ["keep"]

    def test_taking_out_stops_at_what_can_come_out(self) -> None:
        nuts = weighed("almonds", 50, percent(2), share_out=Fraction(1, 2))
        correction = correct(told(formula_of(nuts), {"almonds": 101}))
        assert offers(correction)["take out"].bowl_mg == (50_500,)

    def test_the_last_addition_comes_out_until_the_next_has_begun(self) -> None:
        begun = told(oat_dough(comes_out=True), {"butter": 240, "whole egg": 1})
        assert begun.contents[2].out_mg == 0
        assert begun.contents[3].out_mg == grams(1)
        assert told(oat_dough(), {"butter": 240}).contents[2].out_mg == grams(240)

    def test_from_a_tub_of_its_own_all_comes_out_until_its_stage_is_closed(self) -> None:
        formula = oat_dough(vessel="separate tubs")
        assert [content.out_mg for content in told(formula, {"whole egg": 57}).contents] == [
            grams(240),
            grams(3),
            grams(220),
            grams(57),
        ]
        shut = told(formula, {"whole egg": 57}, closed=["dry"])
        assert [content.out_mg for content in shut.contents] == [0, 0, 0, grams(57)]

    def test_with_tubs_a_closed_stage_gives_back_but_takes_no_more_where_it_is_not_late(self) -> None:
        assert told(oat_dough(), {"whole egg": 57}, closed=["dry"], mixing="tubs").contents[0].out_mg == grams(240)
        not_late = told(oat_dough(late=False), {"whole egg": 57}, closed=["dry"], mixing="tubs")
        assert [(content.out_mg, content.more_mg) for content in not_late.contents] == [
            (grams(240), 0),
            (grams(3), 0),
            (grams(220), 0),
            (grams(57), None),
        ]

    def test_a_closed_stage_that_is_late_can_still_be_topped_up(self) -> None:
        correction = correct(told(oat_dough(), {"whole egg": 57}, closed=["dry", "creamed"]))
        assert names(correction)[0] == "scale up, least"

    def test_nothing_is_made_up_for_beyond_the_limits(self) -> None:
        correction = correct(told(oat_dough(limits=(0.8, 1.1)), {"whole egg": 57}, mixing="mixed"))
        assert correction.factor_range is None
        assert names(correction) == ["keep"]

    def test_limits_are_multiples_of_the_factor_before(self) -> None:
        situation = told(oat_dough(limits=(0.8, 1.25)), {"whole egg": 57 * 3}, mixing="mixed", factor=Fraction(3))
        correction = correct(situation)
        assert correction.factor_range == (3 * Fraction(19, 17), Fraction(15, 4))
        assert offers(correction)["scale up, least"].factor == 3 * Fraction(19, 17)


class TestTightIngredients:
    def test_five_grams_of_salt_instead_of_three_are_not_made_up_for(self) -> None:
        correction = correct(told(oat_dough(), {"salt": 5, "whole egg": 50}, mixing="mixed"))
        assert names(correction) == ["keep"]
        assert correction.factor_range == (Fraction(47, 30), 2)

    def test_a_little_salt_is(self) -> None:
        correction = correct(told(oat_dough(), {"salt": 3.4, "whole egg": 50}, mixing="mixed"))
        assert names(correction)[0] == "scale up, least"
        assert correction.offers[0].factor == Fraction(31, 30)

    def test_salt_that_comes_out_is_taken_out(self) -> None:
        correction = correct(told(oat_dough(), {"salt": 5}))
        assert names(correction) == ["take out", "keep"]

    def test_salt_beside_flour_that_asks_for_as_much_is_made_up_for(self) -> None:
        # Both ask for exactly 1.2: 240 * 1.01 * 1.2 g of flour, 3 * 1.2 + 0.3 g of salt.
        correction = correct(told(oat_dough(), {"oat flour": 290.88, "salt": 3.9, "whole egg": 50}, mixing="mixed"))
        assert offers(correction)["scale up, least"].factor == Fraction(6, 5)


class TestShort:
    def test_what_is_under_its_band_is_topped_up_at_the_factor_before(self) -> None:
        correction = correct(told(oat_dough(), {"butter": 200}))
        assert names(correction) == ["scale up, least", "keep"]
        least = correction.offers[0]
        assert (least.factor, least.bowl_mg) == (1, (240_000, 3_000, 220_000, 50_000))
        assert least.extra_mass_mg == 0

    def test_what_is_not_in_yet_and_is_short_makes_less_where_what_is_in_allows_it(self) -> None:
        situation = told(oat_dough(), {"butter": 220}, stock={"whole egg": 40})
        assert names(correct(situation)) == ["keep"]
        in_tubs = correct(replace(situation, contents=tuple(replace(c, out_mg=c.in_mg) for c in situation.contents)))
        assert names(in_tubs) == ["scale down", "keep"]
        assert in_tubs.offers[0].factor == Fraction(40, 49)
        assert offers(in_tubs)["keep"].bowl_mg[3] == 40_000

    def test_something_overshot_and_something_that_ran_out_make_less_where_it_can_come_out(self) -> None:
        wrong = {"butter": 180.0, "whole egg": 57.0}
        assert names(correct(told(oat_dough(), wrong, stock={"butter": 0}, mixing="mixed"))) == ["keep"]
        down = correct(told(oat_dough(), wrong, stock={"butter": 0}, mixing="tubs")).offers[0]
        assert (down.offer, down.factor) == ("scale down", Fraction(100, 121))
        assert down.bowl_mg == (198_347, 2_479, 180_000, 41_322)
        assert down.extra_weighings == 3

    def test_more_in_the_stock_is_used_before_less_is_made(self) -> None:
        correction = correct(told(oat_dough(), {"butter": 180}, stock={"butter": 38}, mixing="tubs"))
        assert names(correction) == ["scale up, least", "keep"]
        assert correction.offers[0].bowl_mg == (240_000, 3_000, 218_000, 50_000)


class TestCapacity:
    def test_each_goes_down_by_the_same_fraction_where_the_bowl_is_small(self) -> None:
        # At 19/17 the targets make 574,471 mg; the bands end 5,882 mg lower, but for the egg that stays.
        correction = correct(told(oat_dough(), {"whole egg": 57}, mixing="mixed", capacity_mg=grams(572)))
        least = correction.offers[0]
        assert least.factor == Fraction(19, 17)
        assert sum(least.bowl_mg) == 572_000
        flour, salt, butter = (Fraction(240_000), Fraction(3_000), Fraction(220_000))
        gives = [flour * least.factor / 100, Fraction(300), butter * least.factor / 100]
        share = (Fraction(463_000) * least.factor + 57_000 - 572_000) / sum(gives)
        wanted = [mass * least.factor - give * share for mass, give in zip((flour, salt, butter), gives, strict=True)]
        assert all(abs(ours - mass) < 1 for ours, mass in zip(least.bowl_mg, wanted, strict=False))
        assert "whole pieces" not in names(correction)

    def test_a_bowl_too_small_for_any_way_up_leaves_keep(self) -> None:
        correction = correct(told(oat_dough(), {"whole egg": 57}, mixing="mixed", capacity_mg=grams(560)))
        assert (correction.factor_range, names(correction)) == (None, ["keep"])

    def test_a_bowl_too_small_for_what_was_planned_makes_less(self) -> None:
        correction = correct(told(oat_dough(), {"oat flour": 200}, capacity_mg=grams(480)))
        down = correction.offers[0]
        assert names(correction) == ["scale down", "keep"]
        assert correction.factor_range is not None
        assert down.factor == correction.factor_range[1] == Fraction(480_300, 504_400 + 3_000)
        assert sum(down.bowl_mg) <= 480_002  # all stand at the ends of their bands, rounded up

    def test_rounding_alone_does_not_lift_the_sum_above_the_capacity(self) -> None:
        thirds = [weighed(name, Fraction(100, 3) * 2, percent(1)) for name in ("a", "b", "c")]
        formula = formula_of(*thirds, weighed("d", 100, percent(1)))
        situation = told(formula, {"a": 60, "d": 100}, mixing="mixed", capacity_mg=grams(300))
        least = correct(situation).offers[0]
        assert sum(least.bowl_mg) <= 300_000

    def test_an_overshot_one_gives_way_where_its_target_itself_does_not_fit(self) -> None:
        situation = told(oat_dough(comes_out=True), {"oat flour": 242, "whole egg": 57}, capacity_mg=grams(514.5))
        out = correct(situation).offers[0]
        assert out.offer == "take out"
        assert out.bowl_mg == (242_000, 3_000, 220_000, 49_500)


class TestRecommended:
    def test_beyond_15_percent_keep_comes_first(self) -> None:
        correction = correct(told(oat_dough(), {"whole egg": 60}, mixing="mixed"))
        assert names(correction)[0] == "keep"
        assert "scale up, least" in names(correction)

    def test_at_15_percent_the_scale_up_does(self) -> None:
        correction = correct(told(oat_dough(), {"whole egg": 58.65}, mixing="mixed"))
        assert (correction.offers[0].offer, correction.offers[0].factor) == ("scale up, least", Fraction(23, 20))

    def test_an_offer_that_another_beats_in_everything_is_dropped(self) -> None:
        # Alone in the bowl: any factor gives the same mass, so the exact one is simply better than the least.
        correction = correct(told(formula_of(weighed("egg", 50, percent(2))), {"egg": 57}, mixing="mixed"))
        assert names(correction) == ["keep", "scale up, exact"]  # only the least is ever recommended
        assert correction.offers[1].factor == Fraction(57, 50)


class TestMoney:
    def test_extra_money_is_that_of_the_extra_mass(self) -> None:
        formula = formula_of(
            weighed("flour", 200, percent(0), price_per_kg=Fraction(2)),
            weighed("egg", 50, percent(0), price_per_kg=Fraction(6)),
        )
        correction = correct(told(formula, {"egg": 60}, mixing="mixed"))
        assert offers(correction)["scale up, least"].cost == Fraction(40 * 2 + 10 * 6, 1000)
        assert offers(correction)["keep"].cost == Fraction(60, 1000)

    def test_a_price_that_is_not_known_leaves_the_cost_open_only_where_it_matters(self) -> None:
        formula = formula_of(
            weighed("flour", 200, percent(0)), weighed("egg", 50, percent(0), price_per_kg=Fraction(6))
        )
        correction = correct(told(formula, {"egg": 60}, mixing="mixed"))
        assert offers(correction)["scale up, least"].cost is None
        assert offers(correction)["keep"].cost == Fraction(60, 1000)
        assert offers(correct(told(oat_dough(), {"whole egg": 50})))["keep"].cost is None


class TestInTheMachine:
    def test_a_scale_up_raises_the_factor_by_at_least_a_step(self) -> None:
        situation = told(oat_dough(), {"whole egg": 51.01}, mixing="mixed")
        assert offers(correct(situation))["scale up, least"].factor == Fraction(5101, 5100)
        stepped = correct(replace(situation, step=Fraction(1, 100)))
        assert offers(stepped)["scale up, least"].factor == Fraction(101, 100)
        assert stepped.factor_range == correct(situation).factor_range

    def test_topping_up_takes_no_step(self) -> None:
        situation = replace(told(oat_dough(), {"butter": 200}), step=Fraction(1, 100))
        assert correct(situation).offers[0].factor == 1


class TestSituations:
    def test_what_is_not_named_is_in_at_its_target_before_the_last_one_named(self) -> None:
        situation = told(oat_dough(), {"salt": 3.1}, factor=Fraction(3, 2))
        assert [(content.in_mg, content.is_in) for content in situation.contents] == [
            (grams(360), True),
            (grams(3.1), True),
            (0, False),
            (0, False),
        ]

    @pytest.mark.parametrize(
        "wrong", [{"in_mg": {"lard": grams(3)}}, {"stock_mg": {"lard": grams(3)}}, {"closed": ["x"]}]
    )
    def test_names_that_the_formula_does_not_have_are_refused(self, wrong: dict[str, object]) -> None:
        arguments = {"in_mg": {"salt": grams(3)}} | wrong
        with pytest.raises(KeyError):
            situation_of(oat_dough(), **arguments)  # type: ignore[arg-type]

    def test_a_situation_checks_itself(self) -> None:
        content = Content(weighed("salt", 3, fixed(0.3)), grams(3), True, Fraction(0), None)
        with pytest.raises(ValueError, match="low to high"):
            Situation((content,), Fraction(1), (Fraction(2), Fraction(1)))
        with pytest.raises(ValueError, match="factor is above 0"):
            Situation((content,), Fraction(0), (Fraction(1), Fraction(2)))
        with pytest.raises(ValueError, match="holds something"):
            Situation((content,), Fraction(1), (Fraction(1), Fraction(2)), Fraction(-1))
        with pytest.raises(ValueError, match="more than no pieces"):
            Situation((content,), Fraction(1), (Fraction(1), Fraction(2)), pieces=Fraction(0))
