"""`scaled formula check` and `plan` as they are called: exit codes, what goes where, JSON and text."""

import json
import re
import subprocess
import sys

import pytest

from scaled.cli import main
from scaled.shipped import shipped

RECIPES = shipped("recipes")
OAT = str(RECIPES / "oat-and-honey-short-dough.yaml")

DOUGH = """\
formula: Test dough
pieces: 8
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %, flour: yes}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g}
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %}
"""
SETTINGS = """\
scales:
  - {name: bench, port: /dev/null, line: header, capacity: 6 kg, division: 1 g}
  - {name: fine, port: socket://127.0.0.1:4001, line: plain, capacity: 500 g, division: 0.01 g}
formulas: recipes
records: records.db
allergens: us
"""


@pytest.fixture
def scaled(capsys, monkeypatch, tmp_path):
    """Run a command in an empty folder without settings; gives exit code, stdout and stderr."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SCALED_CONFIG", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "none"))
    (tmp_path / "dough.yaml").write_text(DOUGH)

    def run(*arguments):
        code = main(["formula", *arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return run


def test_a_right_formula_is_told_in_a_line(scaled):
    assert scaled("check", "dough.yaml") == (0, "dough.yaml: ok: Test dough, 8 pieces, 513.0 g\n", "")


def test_each_mistake_is_a_line_on_stderr_and_the_exit_code_is_1(scaled, tmp_path):
    (tmp_path / "wrong.yaml").write_text(DOUGH.replace("240 g", "240").replace("220 g", "2,2 kg"))
    code, out, err = scaled("check", "wrong.yaml", "dough.yaml")
    assert code == 1
    assert out == "dough.yaml: ok: Test dough, 8 pieces, 513.0 g\n"
    assert err.splitlines() == [
        "wrong.yaml:6:41: weight: '240' has no unit: write 240 g, if grams are meant",
        "wrong.yaml:8:38: weight: '2,2' has a decimal comma: write 2.2",
    ]


def test_what_is_noticed_is_told_and_is_no_mistake(scaled, tmp_path):
    (tmp_path / "odd.yaml").write_text(DOUGH.replace("oat flour", "oat flower"))
    code, out, err = scaled("check", "odd.yaml")
    assert (code, err) == (0, "")
    assert "odd.yaml:6:22: note: 'oat flower' is not in the ingredient table" in out


def test_check_as_json_is_one_document_with_every_file(scaled, tmp_path):
    (tmp_path / "wrong.yaml").write_text(DOUGH.replace("240 g", "240"))
    code, out, err = scaled("check", "dough.yaml", "wrong.yaml", "--json")
    assert (code, len(err.splitlines())) == (1, 1)
    found = json.loads(out)
    assert found["ok"] is False
    assert [(file["file"], file["ok"]) for file in found["files"]] == [("dough.yaml", True), ("wrong.yaml", False)]
    assert found["files"][1]["mistakes"] == [
        {
            "file": "wrong.yaml",
            "line": 6,
            "column": 41,
            "message": "weight: '240' has no unit: write 240 g, if grams are meant",
        }
    ]
    assert (found["files"][0]["title"], found["files"][0]["mass_g"]) == ("Test dough", 513.0)


@pytest.mark.parametrize("extra", [[], ["dough.yaml"], ["--json"]])
def test_a_file_that_cannot_be_read_is_wrong_usage(scaled, extra):
    code, _, err = scaled("check", "none.yaml", *extra)
    assert code == 2
    assert err == "none.yaml: cannot be read (No such file or directory); check the name and the permissions\n"
    code, out, err = scaled("plan", "none.yaml", "--json")
    assert (code, out) == (2, "")
    assert err.startswith("none.yaml: cannot be read")


def test_percentages_without_a_mass_are_checked_and_told(scaled, tmp_path):
    (tmp_path / "bread.yaml").write_text(
        "formula: Bread\nstages:\n  - stage: all\n    additions:\n"
        "      - {ingredient: flour, percent: 100, flour: yes}\n"
    )
    code, out, err = scaled("check", "bread.yaml")
    assert (code, err) == (0, "")
    assert "bread.yaml:5:38: note: percentages only" in out
    code, out, err = scaled("plan", "bread.yaml", "--json")
    assert (code, out) == (2, "")
    assert err.startswith("bread.yaml:5:38: percentages only: say of which mass")
    code, out, err = scaled("plan", "bread.yaml", "--json", "--mass", "2.4 kg")
    assert (code, json.loads(out)["additions"][0]["weight_g"], json.loads(out)["factor"]) == (0, 2_400, 1)


def test_an_ingredient_table_is_checked_too(scaled, tmp_path):
    (tmp_path / "ingredients.yaml").write_text("ingredients:\n  - {ingredient: butter, prize: 1}\n")
    code, _, err = scaled("check", "ingredients.yaml")
    assert (code, err) == (1, "ingredients.yaml:2:26: unknown key 'prize': did you mean 'price'?\n")


@pytest.mark.parametrize(
    ("options", "factor", "pieces", "mass"),
    [
        ([], "1", 8, 513),
        (["--factor", "1.5"], "3/2", 12, 769.5),
        (["--factor", "9/8"], "9/8", 9, 577.125),
        (["--pieces", "6"], "3/4", 6, 384.75),
        (["--mass", "1.026 kg"], "2", 16, 1026),
        (["--have", "butter=430 g"], "43/22", 8 * 43 / 22, 1002.682),
        (["--have", "butter=430 g", "--have", "egg=60 g"], "6/5", 9.6, 615.6),
    ],
)
def test_a_plan_follows_what_is_wished(scaled, options, factor, pieces, mass):
    code, out, err = scaled("plan", "dough.yaml", "--json", *options)
    made = json.loads(out)
    assert (code, err) == (0, "")
    assert (made["factor_exact"], made["mass_g"]) == (factor, mass)
    assert made["pieces"] == pytest.approx(pieces)


def test_what_is_scarcest_is_named(scaled):
    _, out, _ = scaled("plan", "dough.yaml", "--json", "--have", "butter=430 g", "--have", "salt=3 g")
    assert json.loads(out)["cautions"][0] == "sea salt is the scarcest: it sets the factor"


def test_whole_eggs_give_two_plans(scaled):
    code, out, _ = scaled("plan", "dough.yaml", "--json", "--whole-eggs")
    made = json.loads(out)
    assert code == 0
    assert list(made) == ["below", "above"]
    assert (made["below"]["factor"], made["above"]["factor"]) == (1, 2)
    code, out, _ = scaled("plan", "dough.yaml", "--whole-eggs")
    assert "Just below: Test dough: factor 1" in out
    assert "Just above: Test dough: factor 2" in out


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--factor", "2", "--pieces", "3"], "--factor and --pieces exclude each other"),
        (["--factor", "0"], "a factor of 0 cannot be"),
        (["--factor", "1,5"], "decimal point"),
        (["--factor", "two"], "is no factor"),
        (["--pieces", "many"], "--pieces: 'many' is no number"),
        (["--pieces", "0"], "--pieces: '0' makes nothing"),
        (["--pieces", "-3"], "--pieces: '-3' makes nothing"),
        (["--pieces", "99999"], "makes no batch"),
        (["--mass", "2.4"], "--mass: '2.4' has no unit"),
        (["--have", "sugar=3 g"], "'sugar' fits none: the names here are oat flour, sea salt, butter, whole egg"),
        (["--have", "butter"], "no NAME=MASS"),
        (["--have", "butter=0 g"], "no butter at all"),
        (["--sheet", "--json"], "--sheet prints one plan"),
        (["--unknown"], "--unknown"),
    ],
)
def test_wrong_usage_is_one_line_on_stderr_and_exit_code_2(scaled, options, message):
    code, out, err = scaled("plan", "dough.yaml", *options)
    assert (code, out, len(err.splitlines())) == (2, "", 1)
    assert message in err


IN_PERCENT = """\
formula: In percent
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, percent: 100, flour: yes}
      - {ingredient: butter, percent: 50}
"""


@pytest.mark.parametrize(
    ("change", "code", "message"),
    [
        (("", ""), 2, "p.yaml:5:42: percentages only: say of which mass"),
        (("formula: In percent\n", "formula: In percent\nmass: 900\n"), 1, "p.yaml:2:7: mass: '900' has no unit"),
        (("percent: 50", "percent: 50 g"), 1, "p.yaml:6:39: percent: '50 g' is no number"),
        (("butter, percent", "oat flour, percent"), 1, "p.yaml:6:22: 'oat flour' stands in this stage already"),
    ],
)
def test_a_formula_with_mistakes_is_wrong_also_where_its_mass_is_missing(scaled, tmp_path, change, code, message):
    (tmp_path / "p.yaml").write_text(IN_PERCENT.replace(*change))
    for options in ([], ["--factor", "2"], ["--whole-eggs"], ["--have", "butter=9 g"]):
        exit_code, out, err = scaled("plan", "p.yaml", "--json", *options)
        assert (exit_code, out, len(err.splitlines())) == (code, "", 1)
        assert err.startswith(message)


def test_wrong_settings_are_told_once_and_are_no_mistake_of_the_formulas(scaled, tmp_path):
    (tmp_path / "scaled.yaml").write_text(SETTINGS.replace("formulas", "formula"))
    for options in (["check", "dough.yaml", "dough.yaml", "none.yaml"], ["check", "dough.yaml", "--json"]):
        code, out, err = scaled(*options, "--config", "scaled.yaml")
        assert (code, out) == (78, "")
        (line,) = err.splitlines()
        assert re.match(r"scaled\.yaml:\d+:1: unknown key 'formula': did you mean 'formulas'\?", line)


def test_a_wrong_formula_is_not_planned(scaled, tmp_path):
    (tmp_path / "wrong.yaml").write_text(DOUGH.replace("240 g", "240"))
    code, out, err = scaled("plan", "wrong.yaml", "--json")
    assert (code, out) == (1, "")
    assert err.startswith("wrong.yaml:6:41: ")


def test_the_settings_give_scales_other_formulas_and_the_list_of_allergens(scaled, tmp_path):
    (tmp_path / "scaled.yaml").write_text(SETTINGS)
    (tmp_path / "recipes").mkdir()
    (tmp_path / "recipes" / "curd.yaml").write_text(DOUGH.replace("Test dough", "Curd"))
    (tmp_path / "tart.yaml").write_text(DOUGH + "      - {formula: curd, weight: 100 g}\n")
    code, out, err = scaled("plan", "tart.yaml", "--json", "--config", "scaled.yaml")
    assert (code, err) == (0, "")
    made = json.loads(out)
    assert [line["scale"] for line in made["additions"]] == ["bench", "fine", "bench", "fine", "bench"]
    assert made["allergens"] == ["milk", "eggs"]  # oats are none of the nine
    assert made["within"][0]["title"] == "Curd"
    code, _, err = scaled("plan", "tart.yaml", "--config", "none.yaml")
    assert code == 78


def test_the_plan_for_reading_has_a_table_and_the_steps(scaled):
    code, out, err = scaled("plan", OAT, "--factor", "2")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Oat and honey short dough: factor 2, 8 pieces, 1506.0 g"
    assert lines[2].split() == ["stage", "ingredient", "g", "band", "g", "%", "of", "flour"]
    assert lines[3].split() == ["dry", "wheat", "flour", "600.0", "594.0", "to", "606.0", "75.0"]
    assert "6. bake blind, 18 to 25 min, 170 degC (338 degF)" in out
    assert "allergens: gluten (wheat), gluten (oats), milk, eggs" in out


def test_the_sheet_is_a_page_that_needs_nothing_else_and_runs_nothing(scaled, tmp_path):
    (tmp_path / "sly.yaml").write_text(
        DOUGH.replace("Test dough", "<script>alert(1)</script>").replace("oat flour", "oat & <b>flour</b>")
        + "      - {ingredient: wheat flour, for: dusting}\n"
    )
    code, out, err = scaled("plan", "sly.yaml", "--sheet")
    assert (code, err) == (0, "")
    assert "<script" not in out
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in out
    assert "oat &amp; &lt;b&gt;flour&lt;/b&gt;" in out
    assert "http" not in out
    assert out.count('<span class="box">') == 5
    assert "gluten (wheat)" in out  # of what is only dusted
    assert ">220.0<" in out


def test_the_command_runs_as_a_program(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "scaled", "formula", "check", OAT],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
    )
    assert (done.returncode, done.stderr) == (0, "")
