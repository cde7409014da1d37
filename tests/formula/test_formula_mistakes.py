"""Every kind of mistake in a formula file, each with its exact place.

A `^` in a line marks where its mistake is; several, in order, where it has several.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaled.errors import Mistakes, ScaledError

DOUGH = """\
formula: Test dough
pieces: 8
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 240 g, tolerance: ±1 %, flour: yes}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g}
  - stage: creamed
    late: no
    additions:
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %}
steps:
  - {after: creamed, do: rest, for: 1 to 24 h, at: 4 degC}
""".splitlines()

CURD = "formula: Curd\nstages:\n  - stage: all\n    additions:\n      - {ingredient: butter, weight: 9 g}\n"
WRONG = CURD.replace("9 g", "9")

CASES = [
    # the top
    (1, "^formla: Test dough", ["unknown key 'formla': did you mean 'formula'?"]),
    (1, "formula:^", ["'formula' has no value"]),
    (1, "formula: ^[Test]", ["'formula' must be a single value, not a list"]),
    (1, "formula: ^" + "x" * 81, ["formula: 'xxxxxxxxxxxxxxxxxxxx...' is longer than 80 characters"]),
    (2, "^title: Test dough", ["unknown key 'title': known here are formula, pieces, vessel, limits, stages"]),
    (2, "pieces: ^eight", ["pieces: 'eight' is no number"]),
    (2, "pieces: ^0", ["pieces: '0' is out of bounds"]),
    (2, "pieces: ^-8", ["pieces: '-8' is out of bounds"]),
    (2, "pieces: ^8,5", ["pieces: '8,5' has a decimal comma: write 8.5"]),
    (2, "^piece: 8", ["unknown key 'piece': did you mean 'pieces'?"]),
    (2, "vessel: ^one bwl", ["vessel: 'one bwl' is not known: did you mean 'one bowl'?"]),
    (2, "guard: ^true", ["guard: 'true' is neither yes nor no"]),
    (2, "keeps: ^No", ["keeps: 'No' is neither yes nor no"]),
    (2, "mass: ^2.4", ["mass: '2.4' has no unit: write 2.4 g"]),
    (2, "yield: ^0 g", ["yield: '0 g' is less than a milligram"]),
    (3, "limits: ^0.5 to 2", ["'limits' must be a mapping"]),
    (3, "limits: {factor: ^2 to 0.5}", ["factor: '2 to 0.5' runs backwards"]),
    (3, "limits: {factor: ^1.2 to 2}", ["factor: '1.2 to 2' is out of bounds: limits hold the factor 1"]),
    (3, "limits: {factor: ^0.5-2}", ["factor: '0.5-2': write a range with 'to'"]),
    (3, "limits: {^factr: 0.5 to 2}", ["unknown key 'factr': did you mean 'factor'?"]),
    (3, "limits: ^{}", ["'factor' is missing here"]),
    # a stage
    (5, "  - ^stag: dry", ["unknown key 'stag': did you mean 'stage'?"]),
    (9, "  - stage: ^Dry", ["a stage 'Dry' stands in line 5 already", "no stage 'creamed' here"]),
    (10, "    late: ^perhaps", ["late: 'perhaps' is neither yes nor no"]),
    (10, "    vessel: ^a bowl", ["vessel: 'a bowl' is not known: did you mean 'one bowl'?"]),
    # what is weighed
    (7, "      - ^wheat flour 240 g", ["an entry of 'additions' must be a mapping"]),
    (7, "      - {ingredient: wheat flour, weight: ^240}", ["weight: '240' has no unit: write 240 g"]),
    (7, "      - {ingredient: wheat flour, weight: ^-240 g}", ["weight: '-240 g' is negative"]),
    (7, "      - {ingredient: wheat flour, weight: ^0 g}", ["weight: '0 g' is less than a milligram"]),
    (7, "      - {ingredient: wheat flour, weight: ^2400 kg}", ["weight: '2400 kg' is more than a tonne"]),
    (7, "      - {ingredient: wheat flour, weight: ^0,24 kg}", ["weight: '0,24' has a decimal comma: write 0.24"]),
    (7, "      - {ingredient: wheat flour, weight: ^'0,24 kg'}", ["weight: '0,24' has a decimal comma: write 0.24"]),
    (7, "      - {ingredient: wheat flour, weight: ^240 gr}", ["weight: 'gr' is no unit of mass: write g, kg"]),
    (7, "      - {ingredient: wheat flour, weight: ^two cups}", ["weight: 'two cups' has no number"]),
    (7, "      - {ingredient: spelt flour, weight: ^240 ml}", ["weight: '240 ml' is a volume, and its density is not"]),
    (
        7,
        "      - {ingredient: weat flour, weight: ^2 cups}",
        ["known: give the weight, or did you mean 'wheat flour'?"],
    ),
    (7, "      - {ingredient: wheat flour, weight: ^[240 g]}", ["'weight' must be a single value, not a list"]),
    (7, "      - {ingredient: wheat flour, weight: ^}", ["'weight' has no value"]),
    (7, "      - ^{ingredient: wheat flour}", ["no amount: give 'weight', 'percent', 'by feel', 'count', 'to taste'"]),
    (7, "      - {ingredient: wheat flour, ^wieght: 240 g}", ["unknown key 'wieght': did you mean 'weight'?"]),
    (7, "      - {^ingrediant: wheat flour, weight: 240 g}", ["unknown key 'ingrediant': did you mean 'ingredient'?"]),
    (7, "      - ^{weight: 240 g}", ["'ingredient' is missing here"]),
    (
        7,
        "      - {ingredient: flour, weight: 1 g, ^weight: 2 g}",
        ["'weight' stands twice (first in line 7): delete one"],
    ),
    (8, "      - {ingredient: ^Wheat Flour, weight: 3 g}", ["'Wheat Flour' stands in this stage already (line 7)"]),
    (7, "      - {ingredient: flour, weight: 240 g, ^percent: 3}", ["'percent' cannot stand beside 'weight'"]),
    (7, "      - {ingredient: flour, percent: 3, ^weight: 240 g}", ["'weight' cannot stand beside 'percent'"]),
    (7, "      - {ingredient: flour, weight: 240 g, ^to taste: yes}", ["'to taste' cannot stand beside 'weight'"]),
    (7, "      - {ingredient: flour, count: 1, about: 9 g, ^weight: 240 g}", ["'weight' cannot stand beside 'count'"]),
    (7, "      - {ingredient: flour, weight: 2 g, ^count: 1, by feel: 1 g}", ["'count' cannot stand beside 'weight'"]),
    # tolerances
    (
        7,
        "      - {ingredient: flour, weight: 9 g, tolerance: ^1 %}",
        ["tolerance: '1 %' is no tolerance: write it like"],
    ),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^±1}", ["tolerance: '1' has no unit: write 1 % or 1 g"]),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^±-1 %}", ["tolerance: '-1 %' has a sign too many"]),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^+2 g}", ["tolerance: '+2 g' says one side only"]),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^'±0,5 g'}", ["tolerance: '0,5' has a decimal comma"]),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^±0,5 g}", ["tolerance: '0,5' has a decimal comma"]),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^+1 g / +2 g}", ["is no tolerance: write it like"]),
    (
        7,
        "      - {ingredient: flour, weight: 9 g, ^toleranse: ±1 %}",
        ["unknown key 'toleranse': did you mean 'tolerance'?"],
    ),
    # traits
    (7, "      - {ingredient: flour, weight: 9 g, flour: ^maybe}", ["flour: 'maybe' is neither yes nor no"]),
    (7, "      - {ingredient: flour, weight: 9 g, comes out: ^off}", ["comes out: 'off' is neither yes nor no"]),
    (7, "      - {ingredient: flour, weight: 9 g, egg: ^hole}", ["egg: 'hole' is not known: did you mean 'whole'?"]),
    (7, "      - {ingredient: flour, weight: 9 g, piece: ^50}", ["piece: '50' has no unit: write 50 g"]),
    (7, "      - {ingredient: flour, weight: 9 g, weigh: ^last}", ["weigh: 'last' is not known: write 'weigh: first'"]),
    (7, "      - {ingredient: flour, weight: 9 g, role: ^flor}", ["role: 'flor' is not known: did you mean 'flour'?"]),
    (7, "      - {ingredient: flour, weight: 9 g, form: ^lump}", ["form: 'lump' is not known: did you mean 'lumps'?"]),
    (
        7,
        "      - {ingredient: flour, weight: 9 g, allergens: [^wheet]}",
        ["allergens: 'wheet' is not known: did you mean"],
    ),
    (7, "      - {ingredient: flour, weight: 9 g, price: ^cheap}", ["price: 'cheap' is no number"]),
    (7, "      - {ingredient: flour, weight: 9 g, density: ^1.03}", ["density: '1.03' is no density: write it like"]),
    (
        7,
        "      - {ingredient: flour, weight: 9 g, ^density range: 1 to 2 g/ml}",
        ["needs the usual 'density' beside it"],
    ),
    (
        7,
        "      - {ingredient: flour, weight: 9 g, composition: ^{water: 10}}",
        ["'fat' is missing here", "'sugars' is missing"],
    ),
    (
        7,
        "      - {ingredient: flour, weight: 9 g, composition: ^{water: 50, fat: 50, sugars: 1}}",
        ["water, fat and sugars come to more than 100 g in 100 g"],
    ),
    # told, and by feel
    (
        7,
        "      - {ingredient: flour, count: 1, ^tolerance: ±1 %}",
        ["'tolerance' means nothing on a line that is told"],
    ),
    (7, "      - {ingredient: flour, to taste: ^no}", ["'to taste: no' means nothing: delete it"]),
    (7, "      - {ingredient: flour, for: dusting, about: ^15}", ["about: '15' has no unit: write 15 g"]),
    (7, "      - {ingredient: flour, by feel: ^260 to 200 g}", ["by feel: '260 to 200 g' runs backwards"]),
    (7, "      - {ingredient: flour, by feel: ^200 to 260}", ["by feel: '200' has no unit"]),
    (7, "      - {ingredient: flour, by feel: ^0 g}", ["by feel: nothing at all: give a range"]),
    (
        7,
        "      - {ingredient: flour, by feel: 2 to 3 g, ^tolerance: ±1 %}",
        ["'tolerance' cannot stand beside 'by feel'"],
    ),
    # percentages
    (8, "      - {ingredient: salt, percent: ^0}", ["percent: '0' is out of bounds"]),
    (8, "      - {ingredient: salt, percent: ^1,5}", ["percent: '1,5' has a decimal comma: write 1.5"]),
    (12, "      - {ingredient: flour, percent: ^100, flour: yes}", ["the flours given in per cent leave nothing for"]),
    # formulas within
    (7, "      - {formula: ^crud, weight: 100 g}", ["no formula 'crud' here: did you mean 'curd'?"]),
    (
        7,
        "      - {formula: ^wrong, weight: 100 g}",
        ["formula 'wrong' cannot be used: wrong.yaml:5:38: weight: '9' has no"],
    ),
    (7, "      - {ingredient: x, ^formula: curd, weight: 100 g}", ["'ingredient' and 'formula' exclude each other"]),
    (7, "      - {formula: curd, weight: ^100 ml}", ["weight: '100 ml' is a volume, and its density is not known"]),
    # volumes: where the density is what is wrong, it alone is told
    (7, "      - {ingredient: moon dust, weight: 240 ml, density: ^0.6}", ["density: '0.6' is no density"]),
    (7, "      - {ingredient: moon dust, weight: 240 ml, density: ^-1 g/ml}", ["density: '-1 g/ml' is out of bounds"]),
    (
        7,
        "      - {ingredient: moon dust, weight: 9 ml, ^densty: 0.6 g/ml, density range: 0.5 to 0.7 g/ml}",
        ["unknown key 'densty': did you mean 'density'?"],
    ),
    # keys that are taken for others
    (7, "      - {^formul: curd, weight: 9 g}", ["unknown key 'formul': did you mean 'formula'?"]),
    (
        7,
        "      - {ingredient: flour, weigh: ^240 g}",
        ["'240 g' is not known: write 'weigh: first', or 'weight: 240 g'"],
    ),
    # units that a library reads otherwise than a kitchen
    (7, "      - {ingredient: water, weight: ^2 bag}", ["weight: 'bag' is no unit of mass"]),
    (7, "      - {ingredient: water, weight: ^2 ct}", ["weight: 'ct' is no unit of mass"]),
    (7, "      - {ingredient: flour, weight: 9 g, tolerance: ^±1 pct}", ["tolerance: 'pct' is no unit of mass"]),
    # steps
    (15, "  - {after: ^cream, do: rest}", ["no stage 'cream' here: did you mean 'creamed'?"]),
    (15, "  - ^{after: creamed}", ["'do' is missing here"]),
    (15, "  - {do: rest, for: ^a while}", ["for: 'a while' is no time"]),
    (15, "  - {do: rest, for: ^2 to 1 h}", ["for: '2 to 1 h' runs backwards"]),
    (15, "  - {do: bake, at: ^170}", ["at: '170' has no unit of temperature: write degC or degF"]),
    (15, "  - {do: bake, at: ^1700 degC}", ["at: '1700 degC' is out of bounds"]),
    (15, "  - {after: creamed, ^od: rest}", ["unknown key 'od': did you mean 'do'?"]),
    (15, "  - {do: bake, ^untill: golden}", ["unknown key 'untill': known here are after, do, for, at"]),
]


def mistakes(read, lines):
    with pytest.raises(Mistakes) as caught:
        read("\n".join(lines), {"curd": CURD, "wrong": WRONG})
    return str(caught.value).splitlines()


def test_the_dough_that_the_cases_change_has_no_mistake(read):
    assert read("\n".join(DOUGH)).noticed == ()


@pytest.mark.parametrize(("number", "line", "messages"), CASES, ids=[case[1].strip() for case in CASES])
def test_a_mistake_is_told_where_it_is(read, number, line, messages):
    lines = list(DOUGH)
    lines[number - 1] = line.replace("^", "")
    found = mistakes(read, lines)
    assert len(found) == len(messages)
    assert found[0].startswith(f"dough.yaml:{number}:{line.index('^') + 1}: ")
    for told, message in zip(found, messages, strict=True):
        assert message in told


IN_PERCENT = [
    "formula: Test dough",
    "mass: 900 g",
    "stages:",
    "  - stage: dry",
    "    additions:",
    "      - {ingredient: wheat flour, percent: 70, flour: yes}",
    "      - {ingredient: oat flour, percent: 30, flour: yes}",
    "      - {ingredient: butter, percent: 50}",
]


@pytest.mark.parametrize(
    "line",
    [
        "      - {ingredient: oat flour, weight: ^240, flour: yes}",
        "      - {ingredient: oat flour, percent: ^30 g, flour: yes}",
        "      - {ingredient: oat flour, percent: ^1,5, flour: yes}",
        "      - {ingredient: oat flour, ^percnt: 30, flour: yes}",
        "      - {ingredient: oat flour, percent: 30, ^fluor: yes}",
        "      - {ingredient: oat flour, percent: 30, flour: ^true}",
        "      - {^ingrediant: oat flour, percent: 30, flour: yes}",
        "      - ^{ingredient: oat flour, flour: yes}",
        "      - {formula: ^crud, percent: 30, flour: yes}",
    ],
)
@pytest.mark.parametrize("others", ["percent: 70", "weight: 700 g", "for: dusting"])
def test_a_mistake_in_a_flour_is_told_alone_where_others_are_percentages_of_it(read, line, others):
    lines = [each.replace("percent: 70", others) for each in IN_PERCENT]
    lines[6] = line.replace("^", "")
    if others == "for: dusting":
        lines[5] = lines[5].replace(", flour: yes", "")
    (found,) = mistakes(read, lines)
    assert found.startswith(f"dough.yaml:7:{line.index('^') + 1}: ")


def test_a_wrong_mass_is_told_as_such_and_not_as_missing(read):
    lines = [each.replace("900 g", "900") for each in IN_PERCENT]
    assert mistakes(read, lines) == ["dough.yaml:2:7: mass: '900' has no unit: write 900 g, if grams are meant"]


def test_all_mistakes_of_a_file_are_told_in_their_order(read):
    lines = list(DOUGH)
    lines[1] = "pieces: -8"
    lines[6] = "      - {ingredient: wheat flour, wieght: 240 g, tolerance: 1 %, flour: true}"
    lines[11] = "      - {ingredient: butter, weight: 220, tolerance: ±1}"
    lines[14] = "  - {after: cremed, do: rest, at: cold}"
    found = mistakes(read, lines)
    assert [told.split(": ")[0] for told in found] == [
        "dough.yaml:2:9",
        "dough.yaml:7:35",
        "dough.yaml:7:61",
        "dough.yaml:7:73",
        "dough.yaml:12:38",
        "dough.yaml:12:54",
        "dough.yaml:15:13",
        "dough.yaml:15:35",
    ]


@pytest.mark.parametrize(
    ("content", "line"),
    [
        ("formula: X\n", "1:1: 'stages' is missing here: add it"),
        (
            "formula: X\nstages: []\nsteps:\n  - {after: dry, do: rest}\n",
            "2:9: 'stages' is empty: at least one is needed",
        ),
        ("formula: X\nstages: []\n", "2:9: 'stages' is empty: at least one is needed"),
        ("formula: X\nstages: {a: 1}\n", "2:9: 'stages' must be a list (lines that begin with -), not a mapping"),
        ("formula: X\nstages:\n  - stage: a\n", "3:5: 'additions' is missing here: add it"),
        ("formula: X\nstages:\n  - {stage: a, additions: []}\n", "3:27: 'additions' is empty: at least one is needed"),
        (
            "formula: X\nstages:\n  - stage: a\n    additions: [{ingredient: salt, to taste: yes}]\n",
            "3:3: nothing is weighed here: a formula weighs at least one ingredient",
        ),
    ],
)
def test_a_formula_weighs_something(read, content, line):
    with pytest.raises(Mistakes) as caught:
        read(content)
    assert str(caught.value) == f"dough.yaml:{line}"


@settings(max_examples=300)
@given(st.data())
def test_whatever_is_done_to_a_file_it_is_read_or_told(read, data):
    content = "\n".join(DOUGH)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content)))
        cut = data.draw(st.integers(0, 12))
        put = data.draw(
            st.sampled_from(["", "0", "-", "{", "}", "[", ":", ", ", "\n", "±", "%", " g", "yes", "1e9", "by feel: "])
        )
        content = content[:at] + put + content[at + cut :]
    try:
        read(content)
    except ScaledError as error:
        assert all(line.startswith("dough.yaml:") for line in str(error).splitlines())
