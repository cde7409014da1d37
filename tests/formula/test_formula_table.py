"""The ingredient table: against USDA SR28 and the allergen lists; how it is read; a kitchen's own over it."""

from fractions import Fraction

import pytest

from scaled.catalogue import installed_table, table_for
from scaled.errors import Mistakes
from scaled.formula.ingredients import EU_14, US_9
from scaled.formula.table import read_table

# USDA National Nutrient Database SR28, grams in 100 g: NDB number, water, total lipid, sugars.
SR28 = {
    "whole egg": ("01123", "76.15", "9.51", "0.37"),
    "egg white": ("01124", "87.57", "0.17", "0.71"),
    "egg yolk": ("01125", "52.31", "26.54", "0.56"),
    "salted butter": ("01001", "15.87", "81.11", "0.06"),
    "butter": ("01145", "17.94", "81.11", "0.06"),
    "whole milk": ("01077", "88.13", "3.25", "5.05"),
    "whipping cream": ("01053", "57.81", "36.08", "2.92"),  # 37.00 % fat in SR26: the release matters
    "wheat flour": ("20481", "11.92", "0.98", "0.27"),
    "bread flour": ("20083", "13.36", "1.66", "0.31"),
    "cake flour": ("20084", "12.51", "0.86", "0.31"),
    "granulated sugar": ("19335", "0.02", "0", "99.8"),
    "icing sugar": ("19336", "0.23", "0", "97.81"),
    "brown sugar": ("19334", "1.34", "0", "97.02"),
    "honey": ("19296", "17.1", "0", "82.12"),
    "glucose syrup": ("19350", "22.81", "0.2", "76.77"),
    "cornstarch": ("20027", "8.32", "0.05", "0"),
    "almonds": ("12061", "4.41", "49.93", "4.35"),
    "salt": ("02047", "0.2", "0", "0"),
    "baking powder": ("18369", "5", "0", "0"),
    "cocoa powder": ("19165", "3", "13.7", "1.75"),
    "soya oil": ("04044", "0", "100", "0"),
    "lemon juice": ("09152", "92.31", "0.24", "2.52"),
}

# USDA SR28 WEIGHT: grams in a US cup of 236.5882365 ml (UCUM [cup_us]).
CUPS = {
    "butter": 227,
    "whole milk": 244,
    "whipping cream": 238,
    "whole egg": 243,
    "wheat flour": 125,
    "bread flour": 137,
    "wholemeal flour": 120,
    "rye flour": 102,
    "rice flour": 158,
    "granulated sugar": 200,
    "icing sugar": 120,
    "brown sugar": 220,
    "honey": 339,
    "maple syrup": 315,
    "glucose syrup": 341,
    "cornstarch": 128,
    "cocoa powder": 86,
    "ground almonds": 95,
    "flaked almonds": 92,
    "lemon juice": 244,
    "orange juice": 248,
    "salt": 292,
}


@pytest.mark.parametrize("name", SR28)
def test_composition_is_that_of_sr28(name):
    entry = installed_table().find(name)
    number, *grams = SR28[name]
    assert entry.ndb == number
    found = entry.composition
    assert [found.water * 100, found.fat * 100, found.sugars * 100] == [Fraction(part) for part in grams]


@pytest.mark.parametrize("name", CUPS)
def test_a_cup_weighs_what_sr28_says(name):
    density = installed_table().find(name).density
    cup = float(Fraction("236.5882365"))
    assert float(density.lo) * cup * 0.99 <= CUPS[name] <= float(density.hi) * cup * 1.01
    assert float(density.usual) * cup == pytest.approx(CUPS[name], rel=0.02)


def test_an_egg_of_the_bench_is_sixty_grams():
    """The rule of sixty (common practice): 10 g shell, 20 g yolk, 30 g white; 50 g out of the shell."""
    table = installed_table()
    whole, yolk, white = (table.find(name) for name in ("egg", "yolk", "egg whites"))
    assert (whole.egg, yolk.egg, white.egg) == ("whole", "yolk", "white")
    assert whole.piece_mg == yolk.piece_mg + white.piece_mg == 60_000 - 10_000


def test_there_are_at_least_sixty_and_each_is_whole():
    table = installed_table()
    assert len(table.ingredients) >= 60
    for entry in table.ingredients:
        assert entry.role is not None
        assert entry.form is not None


def test_the_fourteen_groups_of_the_eu_and_the_nine_of_the_us():
    """EU 1169/2011 annex II; US FALCPA (2004) with FASTER (sesame, 1 January 2023)."""
    fourteen = {name.split(" (")[0] for name in EU_14.values()}
    assert fourteen == {"gluten", "crustaceans", "eggs", "fish", "peanuts", "soybeans", "milk", "nuts", "celery"} | {
        "mustard",
        "sesame",
        "sulphites",
        "lupin",
        "molluscs",
    }
    # annex II names eight nuts; hazelnut, walnut, cashew, pecan, Brazil nut, pistachio, macadamia and almond
    assert sum(name.startswith("nuts (") for name in EU_14.values()) == 8
    nine = {name.split(" (")[0] for name in US_9.values()}
    assert nine == {
        "milk",
        "eggs",
        "fish",
        "crustacean shellfish",
        "tree nuts",
        "wheat",
        "peanuts",
        "soybeans",
        "sesame",
    }
    assert set(US_9) < set(EU_14)


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("wheat flour", ("wheat",)),
        ("rye flour", ("rye",)),
        ("oat flour", ("oats",)),
        ("butter", ("milk",)),
        ("egg yolk", ("eggs",)),
        ("ground almonds", ("almonds",)),
        ("soya oil", ("soybeans",)),
        ("sesame seed", ("sesame",)),
        ("raisins", ("sulphites",)),
        ("buckwheat flour", ()),
        ("granulated sugar", ()),
    ],
)
def test_allergens_of_ingredients(name, codes):
    assert installed_table().find(name).allergens == codes


def test_the_list_that_the_kitchen_follows_names_them(tmp_path):
    eu, us = table_for(tmp_path, "eu"), table_for(tmp_path, "us")
    codes = ("wheat", "rye", "almonds", "milk")
    assert eu.allergens(codes) == ("gluten (wheat)", "gluten (rye)", "nuts (almonds)", "milk")
    assert us.allergens(codes) == ("wheat", "tree nuts (almonds)", "milk")


@pytest.mark.parametrize(
    ("name", "entry"),
    [
        ("Sea Salt", "salt"),
        ("fine salt", "salt"),
        ("whole eggs", "whole egg"),
        ("EGG", "whole egg"),
        ("egg yolks", "egg yolk"),
        ("flour", "wheat flour"),
        ("all purpose flour", "wheat flour"),
        ("sugar", "granulated sugar"),
        ("almond", "almonds"),
    ],
)
def test_names_are_matched_whatever_case_and_number(name, entry):
    assert installed_table().find(name).name == entry


OWN = """\
roles:
  spread: {usual: ±3 %, at least: 5 g}
ingredients:
  - {ingredient: butter, price: 9.80, piece: 250 g}
  - {ingredient: Zork, also: [wood zork], role: spread, form: lumps, allergens: [celery]}
"""


def test_a_kitchens_own_table_is_laid_over_the_installed_one():
    own = read_table(OWN, "ingredients.yaml", installed_table())
    butter, zork = own.find("butter"), own.find("Wood zorks")
    assert (butter.price_per_kg, butter.role, butter.ndb, butter.allergens) == (
        Fraction("9.8"),
        "fat",
        "01145",
        ("milk",),
    )
    assert (zork.name, zork.role, own.roles["spread"].floor_mg) == ("Zork", "spread", 5_000)
    assert own.find("unsalted butter") is butter
    assert own.find("wheat flour") == installed_table().find("wheat flour")
    assert len(own.ingredients) == len(installed_table().ingredients) + 1
    assert installed_table().find("butter").price_per_kg is None


@pytest.mark.parametrize(
    ("content", "line"),
    [
        ("ingredients:\n  - {ingredient: zork, rolle: fat}\n", "2:24: unknown key 'rolle': did you mean 'role'?"),
        ("ingredients:\n  - {ingredient: zork, role: fatt}\n", "2:30: role: 'fatt' is not known: did you mean 'fat'?"),
        ("ingredients:\n  - {role: fat}\n", "2:5: 'ingredient' is missing here"),
        (
            "ingredients:\n  - {ingredient: zork}\n  - {ingredient: Zorks}\n",
            "3:18: 'Zorks' already names an ingredient (line 2)",
        ),
        (
            "ingredients:\n  - {ingredient: zork, density: 2 g/ml, density range: 0.5 to 1 g/ml}\n",
            "2:33: the usual density lies outside its range",
        ),
        (
            "ingredients:\n  - {ingredient: zork, ndb: 1001}\n",
            "2:29: ndb: '1001' is no NDB number of SR28: five digits",
        ),
        ("roles:\n  x: {usual: ±1 g, at least: 1 g}\n", "2:14: a role's usual tolerance is in per cent"),
        ("roles:\n  x: {usual: ±1 %}\n", "2:6: 'at least' is missing here"),
        ("roles:\n  x: 1 %\n", "2:6: 'x' must be a mapping"),
        (
            "roles:\n  fancy: {usual: 1 %, at least: 1 g}\ningredients:\n  - {ingredient: zork, role: fancy}\n",
            "2:18: usual: '1 %' is no tolerance",
        ),
        ("allergen: eu\n", "1:1: unknown key 'allergen': known here are roles, ingredients"),
    ],
)
def test_a_table_is_read_as_strictly_as_a_formula(content, line):
    with pytest.raises(Mistakes) as caught:
        read_table(content, "own.yaml", installed_table())
    assert str(caught.value).startswith(f"own.yaml:{line}")
    assert len(caught.value.mistakes) == 1
