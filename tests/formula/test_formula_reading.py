"""What a formula file means: kinds of lines, keys, shares, percentages, formulas within, steps, what is noticed."""

from fractions import Fraction

import pytest

from scaled.errors import Mistakes
from scaled.formula.percent import MassMissing

OAT = """\
formula: Oat and honey short dough
pieces: 4
vessel: one bowl
limits: {factor: 0.80 to 1.25}
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 300 g, tolerance: ±1 %, flour: yes}
      - {ingredient: oat flour, weight: 100 g, tolerance: ±1 %, flour: yes}
      - {ingredient: icing sugar, weight: 60 g, tolerance: ±1 %}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g}
  - stage: creamed
    late: no
    additions:
      - {ingredient: butter, weight: 200 g, tolerance: ±1 %}
      - {ingredient: honey, weight: 40 g, tolerance: ±2 %}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, piece: 50 g, egg: whole, comes out: no}
      - {ingredient: lemon zest, count: 1 lemon}
steps:
  - {after: creamed, do: rest, for: 1 to 24 h, at: 4 degC}
  - {do: bake, for: 18 to 25 min, at: 170 degC}
"""


def test_the_short_dough_is_read_as_it_is_written(read):
    file = read(OAT)
    dough = file.formula
    assert file.noticed == ()
    assert (dough.stem, dough.title, dough.pieces, dough.vessel) == (
        "dough",
        "Oat and honey short dough",
        4,
        "one bowl",
    )
    assert dough.limits == (Fraction(4, 5), Fraction(5, 4))
    assert [(stage.name, stage.is_late, len(stage.additions)) for stage in dough.stages] == [
        ("dry", True, 4),
        ("creamed", False, 4),
    ]
    assert dough.mass_mg == 753_000
    egg, zest = dough.additions[-2:]
    assert (egg.egg, egg.piece_mg, egg.share_out, egg.role) == ("whole", 50_000, 0, "egg")
    assert (zest.kind, zest.told, zest.weight_mg, zest.tolerance) == ("told", "1 lemon", None, None)
    rest, bake = dough.steps
    assert (rest.after, rest.do, rest.for_s, rest.at_celsius) == ("creamed", "rest", (3_600, 86_400), (4, 4))
    assert (bake.after, bake.for_s, bake.at_celsius) == (None, (1_080, 1_500), (170, 170))


@pytest.mark.parametrize("title", ["|\n  Oat dough", ">\n  Oat\n  dough", '"Oat dough"', "Oat\n  dough"])
def test_a_title_may_be_written_in_any_of_yamls_ways(read, title):
    read_back = read(f"formula: {title}\nstages: [{{stage: a, additions: [{{ingredient: butter, weight: 9 g}}]}}]\n")
    assert read_back.formula.title == "Oat dough"


@pytest.mark.parametrize("given", ["2 fl oz", "60 ml", "1/4 cup"])
def test_a_volume_is_noticed_whatever_its_unit(read, given):
    (notice,) = read(
        f"formula: X\nstages: [{{stage: a, additions: [{{ingredient: milk, weight: {given}}}]}}]\n"
    ).noticed
    assert f"milk: {given} is a volume, taken by a density of 1.03 g/ml" in notice.message


def test_an_ingredient_in_two_stages_is_called_with_its_stage(read):
    file = read(
        "formula: X\nstages:\n"
        "  - stage: cooked\n    additions:\n"
        "      - {ingredient: butter, weight: 9 g}\n      - {ingredient: milk, weight: 9 g}\n"
        "  - stage: whipped\n    additions:\n      - {ingredient: Butter, weight: 9 g}\n"
    )
    assert [a.key for a in file.formula.additions] == ["butter (cooked)", "milk", "Butter (whipped)"]
    assert [a.ingredient for a in file.formula.additions] == ["butter", "milk", "Butter"]


@pytest.mark.parametrize(
    ("line", "share"),
    [
        ("ingredient: butter, weight: 9 g", 1),
        ("ingredient: flour, weight: 9 g", Fraction(4, 5)),
        ("ingredient: milk, weight: 9 g", 0),
        ("ingredient: honey, weight: 9 g", 0),
        ("ingredient: whole egg, weight: 50 g", 0),
        ("ingredient: pasteurised egg yolk, weight: 50 g", 0),
        ("ingredient: cornstarch, weight: 9 g", Fraction(4, 5)),
        ("ingredient: zork, weight: 9 g", 1),
        ("ingredient: zork, weight: 9 g, form: liquid", 0),
        ("ingredient: milk, weight: 9 g, comes out: yes", 1),
        ("ingredient: whole egg, weight: 50 g, comes out: yes", 1),
        ("ingredient: butter, weight: 9 g, comes out: no", 0),
    ],
)
def test_the_form_decides_what_comes_out_again(one, line, share):
    assert one(line).additions[0].share_out == share


def test_a_little_of_a_fine_powder_is_lost_in_the_bowl(one):
    # common practice: below 2 % of what is in the bowl, itself included, it cannot be found again
    flour, much, little = one(
        "ingredient: flour, weight: 980 g", "ingredient: cornstarch, weight: 20 g", "ingredient: salt, weight: 20 g"
    ).additions
    assert (flour.share_out, much.share_out, little.share_out) == (Fraction(4, 5), Fraction(4, 5), 0)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("count: 1 lemon", "1 lemon"),
        ("to taste: yes", "to taste"),
        ("for: dusting, about: 15 g", "for dusting, about 15 g"),
        ("for: the tin", "for the tin"),
        ("about: 2.5 g", "about 2.5 g"),
        ("count: 2 sprigs, for: the syrup", "2 sprigs, for the syrup"),
    ],
)
def test_lines_that_are_told_are_not_weighed_and_carry_allergens(one, line, told):
    formula = one("ingredient: butter, weight: 9 g", f"ingredient: wheat flour, {line}")
    dust = formula.additions[1]
    assert (dust.kind, dust.told, dust.allergens) == ("told", told, ("gluten (wheat)",))
    assert formula.weighed == formula.additions[:1]


def test_a_count_is_multiplied_and_the_rest_is_not(one):
    _, lemon, taste = one(
        "ingredient: butter, weight: 9 g", "ingredient: lemon zest, count: 2 lemons", "ingredient: salt, to taste: yes"
    ).additions
    assert (lemon.told_at(Fraction(1)), lemon.told_at(Fraction(3, 2)), taste.told_at(Fraction(3, 2))) == (
        "2 lemons",
        "1.5 × 2 lemons",
        "to taste",
    )


def test_by_feel_is_weighed_between_two_ends_and_drives_nothing(one):
    (egg,) = one("ingredient: whole egg, by feel: 200 to 260 g").additions
    assert (egg.kind, egg.weight_mg, egg.tolerance) == ("by feel", 230_000, None)
    assert egg.band_mg(Fraction(1, 2)) == (100_000, 130_000)


def test_a_stage_is_closed_for_good_by_what_follows_it(read):
    def late(step, said=""):
        return (
            read(
                f"formula: X\nstages:\n  - stage: a\n{said}    additions:\n      - {{ingredient: milk, weight: 9 g}}\n"
                f"steps:\n  - {{after: a, do: {step}}}\n"
            )
            .formula.stage("a")
            .is_late
        )

    assert late("rest")
    for step in ("cook to 82 degC", "whip", "knead for long", "temper"):
        assert not late(step)
        assert late(step, "    late: yes\n")
    assert not late("rest", "    late: no\n")


def test_a_stage_may_have_vessels_of_its_own(read):
    formula = read(
        "formula: X\nvessel: separate tubs\nstages:\n"
        "  - stage: a\n    additions:\n      - {ingredient: milk, weight: 9 g}\n"
        "  - stage: b\n    vessel: one bowl\n    additions:\n      - {ingredient: butter, weight: 9 g}\n"
    ).formula
    assert [stage.vessel for stage in formula.stages] == ["separate tubs", "one bowl"]


def test_a_line_may_say_what_the_table_does_not_know(one):
    line = (
        "ingredient: zork, weight: 2 cups, density: 0.5 g/ml, role: spice, form: fine, allergens: [milk, rye], "
        "price: 4.20 per kg, composition: {water: 10, fat: 20, sugars: 30}, caution: mind the zork"
    )
    (zork,) = one(line).additions
    assert zork.weight_mg == Fraction("236.5882365") * 1_000
    assert (zork.role, zork.allergens, zork.price_per_kg) == ("spice", ("milk", "gluten (rye)"), Fraction("4.2"))
    assert (zork.composition.water, zork.composition.solids) == (Fraction(1, 10), Fraction(2, 5))
    assert zork.cautions[0] == "mind the zork"
    assert not any("allergens are not known" in caution for caution in zork.cautions)
    assert "taken by a density of 0.5 g/ml: weigh it once" in zork.cautions[1]


@pytest.mark.parametrize(
    ("piece", "egg", "mg"),
    [
        # USDA SR28 01123: edible grams by class; 01125 and 01124: a large egg is 17 g yolk and 33 g white.
        ("USDA large", "whole", 50_000),
        ("usda Jumbo", "whole", 63_000),
        ("USDA medium", "whole", 44_000),
        ("USDA large", "yolk", 17_000),
        ("USDA large", "white", 33_000),
        # EU class M is 53 to 63 g in the shell (589/2008); less 12 % refuse (SR28 01123).
        ("EU M", "whole", Fraction(58_000) * Fraction(88, 100)),
        ("EU L", "whole", Fraction(68_000) * Fraction(88, 100)),
        ("48 g", "whole", 48_000),
    ],
)
def test_an_egg_may_be_of_a_class(one, piece, egg, mg):
    (line,) = one(f"ingredient: duck egg, weight: 50 g, egg: {egg}, piece: {piece}").additions
    assert line.piece_mg == mg


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("ingredient: whole egg, weight: 50 g, piece: EU MM", "'EU MM' is no class of eggs: did you mean EU M?"),
        ("ingredient: butter, weight: 50 g, piece: EU M", "is a class of eggs, and this is no egg"),
    ],
)
def test_a_class_that_there_is_not_is_told(one, line, message):
    with pytest.raises(Mistakes, match="class of eggs") as caught:
        one(line)
    assert message in str(caught.value)


# Baker's percentages


def test_73_baguettes_of_390_g(one):
    """A baker's worksheet (read in quotation: scribd 79999339): 28,470 g at 170 % are 16,747.058 g of flour."""
    formula = one(
        "ingredient: bread flour, percent: 100, flour: yes",
        "ingredient: water, percent: 67",
        "ingredient: salt, percent: 2",
        "ingredient: dry yeast, percent: 1",
        top="pieces: 73\nmass: 28470 g\n",
    )
    grams = [float(a.weight_mg) / 1_000 for a in formula.additions]
    assert grams == pytest.approx([16_747.0588, 11_220.5294, 334.9412, 167.4706], abs=1e-4)
    assert formula.mass_mg == 28_470_000
    assert formula.mass_mg / formula.pieces == 390_000


def test_forty_pounds_of_flour_in_the_american_form(one):
    """Read in quotation (docstoc 104724265): flour 100, salt 1.75: 40 lb of flour take 0.7 lb = 11.2 oz of salt."""
    _, salt, water = one(
        "ingredient: bread flour, weight: 40 lb, flour: yes",
        "ingredient: salt, percent: 1.75",
        "ingredient: water, percent: 57.5",
    ).additions
    assert salt.weight_mg == Fraction("11.2") * Fraction("28349.523125")
    assert water.weight_mg == 23 * Fraction("453592.37")  # 23/40 = 57.5 %


def test_a_cake_of_377_5_percent(one):
    """Read in quotation (a textbook's example): 377.5 % in all and 3,000 g of batter are 794.7 g of flour."""
    formula = one(
        "ingredient: cake flour, percent: 100, flour: yes",
        "ingredient: sugar, percent: 120",
        "ingredient: butter, percent: 60",
        "ingredient: egg, percent: 97.5",
        mass_mg=Fraction(3_000_000),
    )
    assert sum(Fraction(p) for p in ("100", "120", "60", "97.5")) == Fraction("377.5")
    assert round(float(formula.additions[0].weight_mg) / 1_000, 1) == 794.7


def test_percentages_stand_beside_weights(one):
    formula = one(
        "ingredient: wheat flour, percent: 60, flour: yes",
        "ingredient: rye flour, weight: 200 g, flour: yes",
        "ingredient: water, percent: 70",
        "ingredient: egg, weight: 50 g",
    )
    assert [a.weight_mg for a in formula.additions] == [300_000, 200_000, 350_000, 50_000]


def test_a_mass_holds_for_weights_and_percentages_together(one):
    formula = one(
        "ingredient: wheat flour, percent: 100, flour: yes",
        "ingredient: water, percent: 50",
        "ingredient: egg, weight: 100 g",
        top="mass: 1 kg\n",
    )
    assert [a.weight_mg for a in formula.additions] == [600_000, 300_000, 100_000]


@pytest.mark.parametrize(
    ("lines", "top", "message"),
    [
        (
            ["ingredient: flour, percent: 100", "ingredient: water, percent: 60"],
            "mass: 1 kg\n",
            "no addition is marked",
        ),
        (["ingredient: flour, percent: 90, flour: yes"], "mass: 1 kg\n", "the flours come to 90 %, and must to 100"),
        (
            ["ingredient: flour, percent: 100, flour: yes", "ingredient: egg, weight: 2 kg"],
            "mass: 1 kg\n",
            "the weights alone come to 2000 g, more than the whole mass",
        ),
        (
            ["ingredient: flour, percent: 100, flour: yes", "ingredient: salt, percent: 0.0000001"],
            "mass: 1 kg\n",
            "check the mass and the percentage",
        ),
    ],
)
def test_percentages_that_do_not_add_up_are_told(one, lines, top, message):
    with pytest.raises(Mistakes, match=r"dough\.yaml:") as caught:
        one(*lines, top=top)
    assert message in str(caught.value)


def test_percentages_alone_need_a_mass(one):
    with pytest.raises(MassMissing, match="say of which mass") as caught:
        one("ingredient: flour, percent: 100, flour: yes")
    assert str(caught.value.place) == "dough.yaml:5:38"


# Formulas within

CURD = """\
formula: Lemon curd
stages:
  - stage: all
    additions:
      - {ingredient: lemon juice, weight: 300 g, price: 2}
      - {ingredient: butter, weight: 100 g, price: 10}
      - {ingredient: wheat flour, for: dusting}
"""


def test_a_formula_within_brings_its_allergens_price_and_composition(one):
    (line,) = one("formula: curd, weight: 200 g", within={"curd": CURD}).additions
    assert (line.ingredient, line.key, line.uses) == ("curd", "curd", "curd")
    assert line.allergens == ("milk", "gluten (wheat)")
    assert line.price_per_kg == 4  # 0.3 kg at 2 and 0.1 kg at 10 are 1.60 for 0.4 kg
    assert float(line.composition.fat) == pytest.approx((0.24 * 300 + 81.11 * 100) / 40_000)  # SR28 09152, 01145


def test_what_is_lost_in_the_pan_makes_it_dearer(one):
    (line,) = one("formula: curd, weight: 200 g", within={"curd": CURD + "yield: 320 g\n"}).additions
    assert line.price_per_kg == 5
    assert line.composition is None  # how much of the loss is water is not known


# What is noticed


@pytest.mark.parametrize(
    ("top", "line", "place", "message"),
    [
        ("", "ingredient: weat flour, weight: 9 g, tolerance: ±1 %", "5:22", "did you mean 'wheat flour'?"),
        ("", "ingredient: egg, weight: 70 g", "5:35", "egg: 70 g are 1.4 eggs of 50 g: beat and pour it"),
        ("", "ingredient: butter, weight: 1 cup", "5:38", "taken by a density of 0.96 g/ml, which ranges from 0.91 to"),
        ("", "ingredient: butter, weight: 10 g, tolerance: ±3 g", "5:55", "a tolerance of 30 % of the weight"),
        ("", "ingredient: butter, weight: 10 g, tolerance: ±0 g", "5:55", "no room at all in this tolerance"),
        (
            "mass: 1 kg\n",
            "ingredient: butter, weight: 900 g",
            "2:7",
            "the mass stated is 1000 g and the additions come to 900",
        ),
        ("yield: 1 kg\n", "ingredient: butter, weight: 900 g", "2:8", "1000 g cannot come of additions of 900 g"),
        ("yield: 1 g\n", "ingredient: butter, weight: 900 g", "2:8", "1 g cannot come of additions of 900 g"),
        (
            "pieces: 8\nrolled: {ring: 200 mm, thickness: 3 mm}\n",
            "ingredient: butter, weight: 900 g",
            "3:9",
            "8 pieces take 905 g in the ring, and the formula makes 900 g",
        ),
        (
            "pieces: 8\nrolled: {ring: 200 mm, thickness: 3 mm}\n",
            "ingredient: butter, weight: 950 g",
            "3:9",
            "8 pieces take 1064 g rolled out, and the formula makes 950 g: the trimmings must be rolled again",
        ),
    ],
)
def test_what_is_no_mistake_is_noticed(read, top, line, place, message):
    indent = top.count("\n")
    file = read(f"formula: X\n{top}stages:\n  - stage: a\n    additions:\n      - {{{line}}}\n")
    (notice,) = file.noticed
    number, column = place.split(":")
    expected = (int(number) + (indent if number == "5" else 0), int(column))
    assert (notice.place.line, notice.place.column) == expected
    assert message in notice.message


def test_usual_cautions_are_said(one, read):
    assert read(OAT).formula.cautions == (
        "raw flour may carry germs: do not taste the dough, wash hands and tools",
        "raw egg may carry germs: do not taste, keep it cold, wash hands and tools",
        "bake at 170 degC (338 degF): mind burns",
    )
    chilled = "steps:\n  - {do: chill, at: 4 degC}\n"
    assert any("pasteurised egg" in c for c in one("ingredient: egg white, weight: 9 g", top=chilled).cautions)
    cooked = "steps:\n  - {do: cook gently, at: 84 degC}\n"
    assert any("21 degC within 2 h" in c for c in one("ingredient: egg, weight: 50 g", top=cooked).cautions)
    assert one("ingredient: sugar, weight: 50 g").cautions == ()
