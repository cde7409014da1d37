"""A plan: exact targets and bands, what is rounded, eggs, totals, cost, formulas within, what the cook wishes."""

import json
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.errors import WrongUsage
from scaled.formula.eggs import eggs_for
from scaled.formula.plan import plan
from scaled.formula.plan_json import plan_json
from scaled.formula.scales import ScaleFacts
from scaled.formula.wanted import factor_for_mass, factor_for_pieces, needs_mg, scarcest, whole_egg_factors

DOUGH = (
    "ingredient: oat flour, weight: 240 g, tolerance: ±1 %, flour: yes",
    "ingredient: salt, weight: 3 g, tolerance: ±0.3 g",
    "ingredient: butter, weight: 220 g, tolerance: ±1 %",
    "ingredient: whole egg, weight: 50 g, tolerance: ±2 %",
    "ingredient: lemon zest, count: 1 lemon",
)


def of(formula, factor=1, find=None, scales=()):
    return plan(formula, Fraction(factor), find or {}.__getitem__, scales)


def test_the_json_is_that_of_the_contract(one):
    dough = one(*DOUGH, top="pieces: 8\nlimits: {factor: 0.5 to 2}\n")
    made = plan_json(of(dough, "19/17"))
    assert list(made)[:14] == [
        "formula",
        "title",
        "factor",
        "factor_exact",
        "pieces",
        "mass_g",
        "additions",
        "eggs",
        "geometry",
        "within",
        "totals",
        "allergens",
        "cost",
        "cautions",
    ]
    assert (made["formula"], made["title"], made["factor"], made["factor_exact"]) == (
        "dough",
        "Dough",
        19 / 17,
        "19/17",
    )
    assert made["pieces"] == pytest.approx(8 * 19 / 17)
    assert made["mass_g"] == 573.353  # 513 g * 19/17
    flour, salt, butter, egg, zest = made["additions"]
    # the worked case of a correction by an egg of 57 g: 268.235 / 3.353 / 245.882 g, and 57 g in the egg's band
    assert [line["weight_g"] for line in made["additions"]] == [268.235, 3.353, 245.882, 55.882, None]
    assert flour["band_g"] == [265.553, 270.917]
    assert salt["band_g"] == [3.053, 3.652]
    assert egg["band_g"] == [54.765, 57.0]
    assert (flour["rounded_g"], flour["scale"], flour["bakers_pct"], butter["bakers_pct"]) == (
        268.235,
        None,
        100.0,
        91.67,
    )
    assert zest == zest | {
        "weight_g": None,
        "rounded_g": None,
        "band_g": None,
        "bakers_pct": None,
        "told": "1.12 × 1 lemon",
    }
    assert made["totals"] == {"oat flour": 268.235, "salt": 3.353, "butter": 245.882, "whole egg": 55.882}
    assert made["allergens"] == ["gluten (oats)", "milk", "eggs"]
    assert (made["geometry"], made["within"], made["cost"]) == (None, [], None)
    assert made["eggs"] == {"crack": 2, "left_over": {"whole": 44.118}}
    assert json.loads(json.dumps(made, allow_nan=False)) == made


def test_without_flour_there_are_no_percentages_and_without_eggs_none_to_crack(one):
    made = plan_json(of(one("ingredient: sugar, weight: 100 g")))
    assert made["additions"][0]["bakers_pct"] is None
    assert made["eggs"] is None
    assert made["pieces"] is None


def test_with_a_scale_the_plan_rounds_to_its_division_and_names_it(one):
    scale = ScaleFacts("bench", 100, 6_000_000)
    lines = of(one(*DOUGH), "19/17", scales=[scale]).lines
    assert [line.rounded_mg for line in lines] == [268_200, 3_400, 245_900, 55_900, None]
    assert [line.scale.name if line.scale else None for line in lines] == ["bench"] * 4 + [None]


def test_what_the_bench_scale_is_too_coarse_for_goes_to_the_fine_one(one):
    bench, fine = ScaleFacts("bench", 1_000, 6_000_000), ScaleFacts("fine", 10, 500_000)
    flour, salt, *_ = of(one(*DOUGH), scales=[bench, fine]).lines
    assert (flour.scale.name, salt.scale.name, salt.rounded_mg) == ("bench", "fine", 3_000)
    assert salt.cautions == ()


def test_a_scale_that_no_line_can_be_weighed_on_says_what_to_do_instead(one):
    dough = one("ingredient: flour, weight: 500 g", "ingredient: dry yeast, weight: 2 g, tolerance: ±3 %")
    made = of(dough, scales=[ScaleFacts("bench", 1_000)])
    (caution,) = made.lines[1].cautions
    # u = sqrt(2 (d²/12 + (0.3 d)²)) = 0.589 g; the band is 0.12 g; d / 6 % = 17 g
    assert caution == (
        "cannot be weighed on 'bench': the band of 0.12 g is narrower than its uncertainty of 0.59 g; "
        "it can from 17 g or mix 1 part with 9 of the flour and weigh 10 times as much"
    )
    assert ScaleFacts("bench", 1_000).u_mg == pytest.approx(1_000 * (2 * (1 / 12 + 0.09)) ** 0.5)


@pytest.mark.parametrize(
    ("line", "scale", "reason"),
    [
        ("weight: 10.5 g, tolerance: ±0.4 g", ScaleFacts("b", 1_000, None, 100), "no multiple of its division of 1 g"),
        ("weight: 3 kg", ScaleFacts("b", 1_000, 2_000_000), "it holds 2000 g; weigh it in parts"),
        ("weight: 3 g, tolerance: ±0.1 g", ScaleFacts("b", 1_000), "; use a finer scale"),
    ],
)
def test_the_reason_why_a_scale_cannot_is_said(one, line, scale, reason):
    (line,) = of(one(f"ingredient: milk, {line}"), scales=[scale]).lines
    assert reason in line.cautions[0]


def test_a_scale_that_is_coarse_for_some_is_said_once(one):
    # C_m = (U + L) / (4 u) below 1 (JCGM 106): good from 4 u / 2 % at ±1 %
    dough = one("ingredient: flour, weight: 500 g", "ingredient: sugar, weight: 50 g, tolerance: ±1 %")
    made = of(dough, scales=[ScaleFacts("bench", 1_000)])
    assert [c for c in made.cautions if "scale" in c] == [
        "scale 'bench' is good from 120 g at ±1 %: it is coarse for the least here"
    ]
    assert not any("scale" in c for c in of(dough, scales=[ScaleFacts("fine", 100)]).cautions)


def test_a_tight_role_says_it_on_its_own_line(one):
    (salt,) = of(one("ingredient: salt, weight: 20 g"), scales=[ScaleFacts("bench", 1_000)]).lines
    assert salt.cautions == ("scale 'bench' is coarse for this band: weigh it twice, or on a finer one",)


@given(
    st.lists(st.integers(1, 5_000_000), min_size=1, max_size=8),
    st.fractions(min_value=Fraction(1, 10), max_value=Fraction(10)),
    st.sampled_from([10, 100, 1_000]),
)
def test_weights_bands_and_mass_are_exact_at_any_factor(one, masses, factor, division):
    formula = one(*(f"ingredient: thing {i}, weight: {mass} mg, tolerance: ±2 %" for i, mass in enumerate(masses)))
    made = of(formula, factor, scales=[ScaleFacts("bench", division)])
    assert made.mass_mg == sum(masses) * factor
    for mass, line in zip(masses, made.lines, strict=True):
        assert line.weight_mg == mass * factor
        lo, hi = line.band_mg
        assert lo - 1 < mass * factor * Fraction(98, 100) <= lo
        assert hi <= mass * factor * Fraction(102, 100) < hi + 1
        cannot = any("cannot be weighed" in caution for caution in line.cautions)
        assert line.rounded_mg % division == 0
        assert cannot or lo <= line.rounded_mg <= hi


# What is known of the whole


def test_the_biscuits_with_seven_eggs_come_to_2514_g(one):
    """A college's worked example (read: Rwanda TVET Board e-learning 3494): 7 eggs of 60 g, 15.5 % lost in the oven."""
    names = ("wheat flour", "sugar", "butter", "milk", "baking powder", "whole egg", "salt", "vanilla extract")
    grams = (1_000, 400, 400, 250, 30, 420, 4, 10)
    lines = [f"ingredient: {name}, weight: {mass} g" for name, mass in zip(names, grams, strict=True)]
    lines[5] += ", piece: 60 g, tolerance: ±2 %"
    formula = one(*lines, top="yield: 2124.3 g\n")
    made = of(formula)
    assert plan_json(made)["mass_g"] == 2_514
    assert float(formula.yield_mg / formula.mass_mg) == pytest.approx(1 - 0.155, abs=1e-4)
    assert Fraction(420_000) / formula.additions[5].piece_mg == 7


def test_small_rolls_and_the_loaf_that_is_solved_back(one):
    """Read in quotation: 84 g of dough bake to 75 g; 500 lb of bread at 13 % loss take 574.7 lb (thebakerynetwork)."""
    rolls = one("ingredient: flour, weight: 84 g", top="yield: 75 g\n")
    assert float(1 - rolls.yield_mg / rolls.mass_mg) == pytest.approx(0.107, abs=5e-4)
    assert float(Fraction(500) / Fraction(87, 100)) == pytest.approx(574.7, abs=0.02)
    made = of(one("formula: bread, weight: 500 lb", within={"bread": BREAD}), find={"bread": rolls_of(one)}.__getitem__)
    assert float(made.within[0].mass_mg / Fraction("453592.37")) == pytest.approx(574.7, abs=0.02)


BREAD = (
    "formula: Bread\nyield: 87 g\nstages:\n  - stage: a\n    additions:\n      - {ingredient: flour, weight: 100 g}\n"
)


def rolls_of(one):
    return one("ingredient: flour, weight: 100 g", top="yield: 87 g\n")


def test_cost_is_known_where_every_price_is(one):
    lines = ["ingredient: flour, weight: 500 g, price: 1.20", "ingredient: butter, weight: 250 g, price: 10 per kg"]
    assert plan_json(of(one(*lines), 2))["cost"] == 6.2
    assert plan_json(of(one(*lines, "ingredient: milk, weight: 9 g")))["cost"] is None


def test_formulas_within_are_planned_for_what_is_needed_of_them(one):
    curd = one("ingredient: lemon juice, weight: 300 g", "ingredient: butter, weight: 100 g", top="yield: 320 g\n")
    text = "formula: Curd\nstages:\n  - stage: a\n    additions:\n      - {ingredient: butter, weight: 9 g}\n"
    tart = one("ingredient: Butter, weight: 50 g", "formula: curd, weight: 160 g", within={"curd": text})
    made = of(tart, 2, find={"curd": curd}.__getitem__)
    (within,) = made.within
    assert within.factor == 1  # 320 g of curd are one batch of it
    assert made.totals_mg() == {"Butter": 200_000, "lemon juice": 300_000}
    assert plan_json(made)["within"][0]["formula"] == "dough"


@pytest.mark.parametrize(
    ("factor", "is_told"), [("2.01", True), ("0.49", True), (2, False), ("0.5", False), (1, False)]
)
def test_a_factor_far_from_the_formula_carries_a_caution(one, factor, is_told):
    made = of(one("ingredient: sugar, weight: 100 g"), factor)
    assert any("leavening do not follow" in caution for caution in made.cautions) is is_told


@pytest.mark.parametrize("factor", [0, -1, "1000.1"])
def test_a_factor_that_makes_no_batch_is_refused(one, factor):
    with pytest.raises(WrongUsage, match="makes no batch"):
        of(one("ingredient: sugar, weight: 100 g"), factor)


def test_shells_of_200_mm(one):
    """Mass of a sheet is area by thickness by density: a disc of 280 mm, 3 mm thick, 1.2 g/ml, is 221.7 g."""
    disc = one(
        "ingredient: sugar, weight: 1 kg", top="pieces: 1\nrolled: {ring: 280 mm, thickness: 3 mm, trimmings: 0 %}\n"
    )
    made = plan_json(of(disc))["geometry"]
    assert made["in_ring_g"] == pytest.approx(221.7, abs=0.05)
    assert (made["rolled_g"], made["trimmings_g"]) == (made["in_ring_g"], 0)
    # tins, read in quotation (baking-forums 6135): from 8 to 10 inches round the factor is 1.5625
    small, large = (
        plan_json(
            of(one("ingredient: sugar, weight: 1 kg", top=f"pieces: 1\nrolled: {{ring: {d} in, thickness: 1/8 in}}\n"))
        )
        for d in (8, 10)
    )
    assert large["geometry"]["in_ring_g"] / small["geometry"]["in_ring_g"] == pytest.approx(1.5625, abs=1e-4)
    walled = one(
        "ingredient: sugar, weight: 1 kg", top="pieces: 8\nrolled: {ring: 20 cm, height: 20 mm, thickness: 3 mm}\n"
    )
    made = plan_json(of(walled, 2))["geometry"]
    assert made["in_ring_g"] == pytest.approx(16 * 158.34, abs=0.5)  # pi 20 (20/4 + 2) 0.3 1.2 g each
    assert made["trimmings_g"] == pytest.approx(0.15 * made["rolled_g"], abs=0.001)


# Eggs


@pytest.mark.parametrize(
    ("lines", "factor", "crack", "left"),
    [
        # the rule of sixty (common practice): 60 g are 10 g shell, 20 g yolk, 30 g white; 50 g out of the shell
        (["ingredient: egg, weight: 50 g"], 1, 1, {}),
        (["ingredient: egg, weight: 100 g"], 1, 2, {}),
        (["ingredient: egg, weight: 50 g"], "1.5", 2, {"whole": 25_000}),
        (
            ["ingredient: egg, weight: 50 g, tolerance: ±2 %"],
            "57/51",
            2,
            {"whole": Fraction(50_000) * (2 - Fraction(57, 51))},
        ),
        (["ingredient: egg yolk, weight: 120 g"], 1, 7, {"yolk": 20_000, "white": 210_000}),
        (
            ["ingredient: egg yolk, weight: 20 g", "ingredient: egg white, weight: 200 g"],
            1,
            7,
            {"yolk": 120_000, "white": 10_000},
        ),
        (
            ["ingredient: egg, weight: 50 g", "ingredient: egg yolk, weight: 40 g"],
            1,
            4,
            {"yolk": 20_000, "white": 90_000},
        ),
        (["ingredient: egg, by feel: 200 to 260 g"], 1, 6, {"whole": 70_000}),
        (["ingredient: egg, weight: 420 g, piece: 60 g, tolerance: ±2 %"], 1, 8, {"whole": 60_000}),
        (["ingredient: egg, count: 1"], 1, None, {}),
        (["ingredient: pasteurised egg, weight: 500 g"], 1, None, {}),
    ],
)
def test_as_many_eggs_are_cracked_as_are_enough(one, lines, factor, crack, left):
    eggs = eggs_for(one(*lines, "ingredient: sugar, weight: 1 g").additions, Fraction(factor))
    assert (eggs.crack if eggs else None) == crack
    assert (eggs.left_over_mg if eggs else {}) == left


def test_seven_yolks_are_enough_for_120_g_with_95_percent():
    """The probability that n yolks of 20 g ± 7 % hold 117.6 g, the least that is in the band."""
    from statistics import NormalDist

    def probability(n):
        return 1 - NormalDist(20 * n, 0.07 * 20 * n**0.5).cdf(117.6)

    assert probability(6) < 0.95 <= probability(7)


def test_left_over_whites_keep_for_48_hours(one):
    made = of(one("ingredient: egg yolk, weight: 60 g"))
    assert any("48 h" in caution for caution in made.cautions)  # common practice


@pytest.mark.parametrize(("grams", "is_proposed"), [(50, True), (100, True), (150, False), (70, False)])
def test_one_or_two_eggs_had_better_be_weighed_first(one, grams, is_proposed):
    made = of(one(f"ingredient: egg, weight: {grams} g", "ingredient: sugar, weight: 100 g"))
    assert any(caution.startswith("weigh the egg first") for caution in made.cautions) is is_proposed
    said = of(one(f"ingredient: egg, weight: {grams} g, weigh: first"))
    assert not any(caution.startswith("weigh the egg first") for caution in said.cautions)


# What the cook wishes


def test_pieces_and_mass_are_factors(one):
    dough = one(*DOUGH, top="pieces: 8\n")
    assert factor_for_pieces(dough, Fraction(9)) == Fraction(9, 8)
    assert factor_for_mass(dough, Fraction(2_400_000)) == Fraction(2_400, 513)
    with pytest.raises(WrongUsage, match="does not say how many pieces"):
        factor_for_pieces(one(*DOUGH), Fraction(9))


def test_the_scarcest_of_what_is_to_hand_rules_and_is_named(one):
    needs = needs_mg(one(*DOUGH), {}.__getitem__)
    least = scarcest(needs, {"butter": Fraction(430_000), "oat flour": Fraction(400_000)})
    assert (least.factor, least.ingredient) == (Fraction(400, 240), "oat flour")
    with pytest.raises(WrongUsage, match="no butter at all"):
        scarcest(needs, {"butter": Fraction(0)})


@given(
    st.dictionaries(st.sampled_from(["oat flour", "salt", "butter", "whole egg"]), st.integers(1, 10**7), min_size=1),
    st.data(),
)
def test_more_to_hand_never_makes_less(one, have, data):
    needs = needs_mg(one(*DOUGH), {}.__getitem__)
    least = scarcest(needs, have).factor
    assert all(least * needs[name] <= mass for name, mass in have.items())
    name = data.draw(st.sampled_from(sorted(have)))
    more = have | {name: have[name] + data.draw(st.integers(0, 10**7))}
    assert scarcest(needs, more).factor >= least


def test_what_is_needed_counts_both_stages_and_what_is_within_and_no_feeling(one):
    curd = one("ingredient: butter, weight: 100 g")
    text = "formula: Curd\nstages:\n  - stage: a\n    additions:\n      - {ingredient: butter, weight: 9 g}\n"
    tart = one(
        "ingredient: butter, weight: 50 g",
        "formula: curd, weight: 200 g",
        "ingredient: milk, by feel: 1 to 2 g",
        within={"curd": text},
    )
    assert needs_mg(tart, {"curd": curd}.__getitem__) == {"butter": 250_000, "curd": 200_000}


@pytest.mark.parametrize(
    ("lines", "below", "above"),
    [
        (["ingredient: egg, weight: 50 g"], 1, 2),
        (["ingredient: egg, weight: 75 g"], Fraction(2, 3), Fraction(4, 3)),
        (["ingredient: egg, weight: 30 g"], None, Fraction(5, 3)),
        (["ingredient: egg, weight: 100 g", "ingredient: egg yolk, weight: 30 g"], None, 2),
        (["ingredient: egg, weight: 100 g", "ingredient: egg yolk, weight: 40 g"], 1, Fraction(3, 2)),
        (["ingredient: egg, weight: 420 g, piece: 60 g"], 1, Fraction(8, 7)),
    ],
)
def test_whole_eggs_just_below_and_just_above(one, lines, below, above):
    formula = one(*lines, "ingredient: sugar, weight: 100 g")
    assert whole_egg_factors(formula) == (below, above)
    for factor in (below, above):
        for egg in formula.additions[:-1] if factor else ():
            assert (egg.target_mg(Fraction(factor)) / egg.piece_mg).denominator == 1


@given(st.lists(st.integers(1, 12), min_size=1, max_size=3), st.lists(st.integers(1, 5), min_size=3, max_size=3))
def test_whole_eggs_are_found_as_by_trying(one, weights, pieces):
    eggs = [f"ingredient: egg {i}, egg: whole, weight: {w} g, piece: {pieces[i]} g" for i, w in enumerate(weights)]
    below, above = whole_egg_factors(one(*eggs))
    pairs = list(zip(weights, pieces, strict=False))
    # all factors that are whole for the first egg, tried for the others
    fits = [
        f
        for n in range(1, 13 * 5**3)
        if (f := Fraction(n * pairs[0][1], pairs[0][0])) <= (above or 1)
        and all((f * w / p).denominator == 1 for w, p in pairs)
    ]
    assert max((f for f in fits if f <= 1), default=None) == below
    assert min((f for f in fits if f > 1), default=None) == above


def test_whole_eggs_of_a_formula_without_any(one):
    with pytest.raises(WrongUsage, match="weighs no egg"):
        whole_egg_factors(one("ingredient: sugar, weight: 100 g"))
