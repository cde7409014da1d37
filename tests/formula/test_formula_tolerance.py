"""Tolerances: their text, the band of an exact target, and what a role's is where a formula says nothing."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.catalogue import installed_table
from scaled.formula.tolerance import tolerance, tolerance_text
from scaled.formula.values import Addition, rounded_mg


def addition(grams, text):
    return Addition("flour", "dry", "flour", "weighed", Fraction(str(grams)) * 1_000, tolerance(text))


@pytest.mark.parametrize(
    ("text", "band"),
    [
        ("±1 %", (99_000, 101_000)),
        ("±1%", (99_000, 101_000)),
        ("+-1 %", (99_000, 101_000)),
        ("+/-1 %", (99_000, 101_000)),
        ("± 2 g", (98_000, 102_000)),
        ("+2 g / -0.5 g", (99_500, 102_000)),
        ("+1 % / -2 %", (98_000, 101_000)),
        ("-2 % / +1 %", (98_000, 101_000)),
        ("+1 % / -2 g", (98_000, 101_000)),
        ("+0 g / -1 g", (99_000, 100_000)),
        ("±500 mg", (99_500, 100_500)),
        ("±0.1 oz", (97_166, 102_834)),  # UCUM: 2834.9523125 mg, cut to whole mg inside the band
    ],
)
def test_every_form_of_a_tolerance_gives_its_band(text, band):
    assert addition(100, text).band_mg(Fraction(1)) == band
    assert tolerance(tolerance_text(tolerance(text))) == tolerance(text) or "oz" in text


def test_a_percentage_follows_the_target_and_grams_stay():
    assert addition(100, "±1 %").band_mg(Fraction(3)) == (297_000, 303_000)
    assert addition(100, "±2 g").band_mg(Fraction(3)) == (298_000, 302_000)


def test_57_g_lie_exactly_in_the_band_of_57_51ths_of_50_g():
    # 57/51 * 50 g + 2 % is 57 g exactly: a band that was rounded on the way would leave it out.
    egg = addition(50, "±2 %")
    factor = Fraction(57, 51)
    lo, hi = egg.band_mg(factor)
    assert hi == 57_000
    assert lo == 54_765  # ceil(54764.7...)
    assert egg.band_mg(factor - Fraction(1, 10**9))[1] == 56_999


def test_a_target_is_rounded_half_to_even_and_stays_in_its_band():
    assert rounded_mg(Fraction(250), (200, 300), 100) == 200  # half to even: 2.5 divisions are 2
    assert rounded_mg(Fraction(350), (300, 400), 100) == 400
    assert rounded_mg(Fraction(250), (210, 300), 100) == 300  # 200 fell out of the band
    assert rounded_mg(Fraction(335_294), (331_942, 338_647), 1_000) == 335_000


@given(
    st.fractions(min_value=Fraction(1), max_value=Fraction(5_000_000)),
    st.fractions(min_value=0, max_value=Fraction(1, 5)),
    st.fractions(min_value=0, max_value=Fraction(1, 5)),
    st.sampled_from([10, 100, 200, 500, 1_000, 5_000]),
)
def test_what_is_shown_lies_in_the_band_wherever_that_holds_a_multiple(target, under, over, division):
    lo, hi = target * (1 - under), target * (1 + over)
    band = -(-lo // 1), hi // 1
    shown = rounded_mg(target, band, division)
    assert shown % division == 0
    multiples = range(-(-band[0] // division), band[1] // division + 1)
    if multiples:
        assert band[0] <= shown <= band[1]
        assert abs(shown - target) <= min(abs(m * division - target) for m in (multiples[0], multiples[-1])) or (
            abs(shown - target) <= division
        )


# Half widths where a formula says nothing, common practice: the larger of a percentage and a floor in grams.
USUAL = [
    ("flour", 500, 5, 5),
    ("flour", 50, 1, 1),
    ("granulated sugar", 200, 2, 2),
    ("butter", 60, 1, 1),
    ("ground almonds", 300, 3, 3),
    ("milk", 1_000, 10, 5),  # a liquid in a dough: +0.5 / -1 %
    ("water", 80, 1, 1),
    ("whipping cream", 500, 5, 5),
    ("whipping cream", 100, 2, 2),
    ("honey", 40, 2, 2),
    ("cornstarch", 100, 2, 2),
    ("cornstarch", 10, 0.5, 0.5),
    ("salt", 100, 4, 4),
    ("salt", 3, 0.2, 0.2),
    ("baking powder", 10, 0.3, 0.3),
    ("dry yeast", 1, 0.1, 0.1),
    ("gelatine", 10, 0.2, 0.2),
    ("gelatine", 1, 0.05, 0.05),
    ("citric acid", 1, 0.05, 0.05),
    ("cinnamon", 2, 0.2, 0.2),
    ("cinnamon", 0.5, 0.1, 0.1),
    ("whole egg", 50, 2, 3),  # in the piece: +6 / -4 %, floor 2 g
    ("whole egg", 25, 2, 2),
    ("egg yolk", 100, 2, 2),
]


@pytest.mark.parametrize(("name", "grams", "under", "over"), USUAL)
def test_the_role_decides_where_the_formula_says_nothing(one, name, grams, under, over):
    (line,) = one(f"ingredient: {name}, weight: {grams} g").additions
    weight = Fraction(str(grams)) * 1_000
    assert line.tolerance.under.width_mg(weight) == Fraction(str(under)) * 1_000
    assert line.tolerance.over.width_mg(weight) == Fraction(str(over)) * 1_000


def test_an_additive_with_a_legal_maximum_is_never_above(one):
    (line,) = one("ingredient: potassium sorbate, weight: 2 g").additions
    assert line.band_mg(Fraction(1)) == (1_900, 2_000)
    (little,) = one("ingredient: potassium sorbate, weight: 0.5 g").additions
    assert little.band_mg(Fraction(1)) == (450, 500)


def test_whether_floor_or_percentage_holds_is_decided_once_at_factor_1(one):
    small, large = one("ingredient: flour, weight: 50 g"), one("ingredient: flour, weight: 500 g")
    assert small.additions[0].band_mg(Fraction(10)) == (499_000, 501_000)  # the floor of 1 g stays
    assert large.additions[0].band_mg(Fraction(1, 10)) == (49_500, 50_500)  # 1 % stays, also below the floor


def test_an_egg_in_a_sponge_has_less_room_than_one_in_a_short_dough(one):
    (egg,) = one("ingredient: whole egg, weight: 50 g", top="keeps: no\n").additions
    assert egg.band_mg(Fraction(1)) == (49_000, 51_000)


def test_an_ingredient_that_nobody_knows_gets_two_percent_and_is_told(read):
    file = read("formula: X\nstages:\n  - stage: a\n    additions:\n      - {ingredient: zork, weight: 10 g}\n")
    assert file.formula.additions[0].band_mg(Fraction(1)) == (9_800, 10_200)
    assert [notice.message for notice in file.noticed] == [
        "zork: no tolerance given and none usual for it: ±2 % is taken",
        "'zork' is not in the ingredient table, so that its allergens are not known",
    ]
    assert {notice.message for notice in file.noticed} <= set(file.formula.cautions)
    assert {notice.message for notice in file.noticed} == set(file.formula.additions[0].cautions)


def test_each_role_of_the_table_has_a_tolerance():
    table = installed_table()
    assert {entry.role for entry in table.ingredients} - {None} <= set(table.roles)
