"""The worked cases of the contract, to the milligram, from a formula file to the document that is printed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from scaled.commands.formula_correct import correct

DOUGH = """\
formula: Oat short dough
pieces: 8
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    late: LATE
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %}
      - {ingredient: salt, weight: 3 g, tolerance: ±0.3 g}
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
  - stage: creamed
    additions:
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, comes out: OUT}
"""


def answer(folder: Path, *words: str, late: str = "yes", out: str = "no") -> dict[str, Any]:
    """The JSON document for the dough with what is said to be in."""
    file = folder / "oat-dough.yaml"
    file.write_text(DOUGH.replace("LATE", late).replace("OUT", out), encoding="utf-8")
    result = CliRunner().invoke(correct, [str(file), *words, "--json"], catch_exceptions=False)
    assert result.exit_code == 0
    document: dict[str, Any] = json.loads(result.stdout)
    return document


def names(document: dict[str, Any]) -> list[str]:
    return [offer["offer"] for offer in document["offers"]]


def bowl(offer: dict[str, Any]) -> list[float]:
    return list(offer["bowl"].values())


def test_an_egg_of_57_g_in_a_mixed_bowl_is_offered_three_ways_up(tmp_path: Path) -> None:
    document = answer(tmp_path, "--in", "egg=57 g", "--mixed")
    assert (document["formula"], document["title"]) == ("oat-dough", "Oat short dough")
    assert document["factor_range"] == [19 / 17, 2.0]
    least, pieces, exact, keep = document["offers"]
    assert names(document) == ["scale up, least", "whole pieces", "scale up, exact", "keep"]
    assert least == {
        "offer": "scale up, least",
        "factor": 19 / 17,
        "factor_exact": "19/17",
        "bowl": {"oat flour": 268.235, "salt": 3.353, "butter": 245.882, "whole egg": 57.0},
        "changes": [
            {"ingredient": "oat flour", "from_g": 240.0, "to_g": 268.235},
            {"ingredient": "salt", "from_g": 3.0, "to_g": 3.353},
            {"ingredient": "butter", "from_g": 220.0, "to_g": 245.882},
        ],
        "extra_mass_g": 61.47,
        "extra_weighings": 3,
        "taken_out_g": 0.0,
        "worst_deviation_pct": 2.0,
        "makes": 8 * 19 / 17,
        "cost": None,
    }
    assert bowl(pieces) == [270.0, 3.375, 247.5, 57.0]
    assert (pieces["factor_exact"], pieces["extra_mass_g"], pieces["extra_weighings"]) == ("9/8", 64.875, 3)
    assert (pieces["worst_deviation_pct"], pieces["makes"]) == (1.33, 9.0)
    assert (exact["factor_exact"], exact["extra_mass_g"], exact["extra_weighings"]) == ("57/50", 71.82, 3)
    assert exact["worst_deviation_pct"] == 0.0
    assert (keep["factor_exact"], keep["extra_mass_g"], keep["extra_weighings"]) == ("1", 7.0, 0)
    assert keep["worst_deviation_pct"] == 14.0


def test_what_can_be_taken_out_comes_first_and_drives_nobody_away(tmp_path: Path) -> None:
    document = answer(tmp_path, "--in", "egg=57 g", out="yes")
    assert names(document) == ["take out", "scale up, least", "whole pieces", "keep"]
    assert document["offers"][0]["taken_out_g"] == 7.0
    assert bowl(document["offers"][0]) == [240.0, 3.0, 220.0, 50.0]


def test_a_closed_stage_that_takes_no_late_additions_leaves_only_keep(tmp_path: Path) -> None:
    document = answer(tmp_path, "--in", "egg=57 g", "--mixed", "--closed", "dry", late="no")
    assert document["factor_range"] is None
    assert names(document) == ["keep"]


def test_butter_that_ran_out_in_a_bowl_leaves_only_keep(tmp_path: Path) -> None:
    document = answer(tmp_path, "--in", "butter=180 g", "--stock", "butter=0 g")
    assert document["factor_range"] is None
    assert names(document) == ["keep"]


def test_butter_that_ran_out_in_tubs_makes_less(tmp_path: Path) -> None:
    document = answer(tmp_path, "--in", "butter=180 g", "--stock", "butter=0 g", "--tubs")
    assert document["factor_range"] == [0.5, 100 / 121]
    assert names(document) == ["scale down", "keep"]
    down = document["offers"][0]
    assert down["factor_exact"] == "100/121"
    assert bowl(down) == [198.347, 2.479, 180.0, 41.322]
    assert (down["extra_mass_g"], down["extra_weighings"], down["taken_out_g"]) == (-90.852, 2, 42.174)
    assert down["worst_deviation_pct"] == 1.0
    assert [change["ingredient"] for change in down["changes"]] == ["oat flour", "salt", "whole egg"]
    assert down["changes"][2] == {"ingredient": "whole egg", "from_g": 50.0, "to_g": 41.322}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--in", "lard=3 g"], "the names here are oat flour, salt, butter, whole egg"),
        (["--in", "t=3 g"], "fits none"),
        (["--in", "egg"], "no NAME=MASS"),
        (["--in", "egg=57"], "has no unit"),
        (["--in", "egg=-5 g"], "-5"),
        (["--in", "egg=57 g", "--in", "whole egg=3 g"], "twice"),
        (["--in", "egg=57 g", "--closed", "baked"], "the names here are dry, creamed"),
        (["--in", "egg=57 g", "--stock", "egg=a g"], "a g"),
        (["--in", "egg=57 g", "--capacity", "3"], "has no unit"),
        (["--in", "egg=57 g", "--factor", "0"], "factor"),
        (["--in", "egg=57 g", "--factor", "1,2"], "decimal point"),
        (["--in", "egg=57 g", "--tubs", "--mixed"], "exclude each other"),
        ([], "--in"),
    ],
)
def test_wrong_words_end_with_2_and_one_line(
    tmp_path: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    from scaled.cli import main

    file = tmp_path / "dough.yaml"
    file.write_text(DOUGH.replace("LATE", "yes").replace("OUT", "no"), encoding="utf-8")
    assert main(["formula", "correct", str(file), *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert told in err


def test_percentages_without_a_mass_name_what_this_command_can_be_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A correction takes no --mass: the mass must stand in the file."""
    from scaled.cli import main

    file = tmp_path / "dough.yaml"
    lines = "{ingredient: oat flour, percent: 100, flour: yes}\n      - {ingredient: butter, percent: 50}"
    file.write_text(f"formula: Dough\nstages:\n  - stage: dry\n    additions:\n      - {lines}\n", encoding="utf-8")
    assert main(["formula", "correct", str(file), "--in", "butter=57 g"]) == 1
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert "'mass: 2.4 kg' in the file (a plan takes --mass too)" in err


def test_the_text_speaks_as_a_cook_does(tmp_path: Path) -> None:
    file = tmp_path / "dough.yaml"
    file.write_text(DOUGH.replace("LATE", "yes").replace("OUT", "no"), encoding="utf-8")
    result = CliRunner().invoke(correct, [str(file), "--in", "egg=57 g", "--mixed"], catch_exceptions=False)
    assert result.exit_code == 0
    text = result.stdout
    assert "whole egg: 57 g in, 50 g wanted, 14 % over" in text
    assert "1. scale up, least: 12 % more: 8.9 pieces instead of 8" in text
    assert "2. whole pieces: 9 pieces instead of 8" in text
    assert "top up oat flour by 28 g, to 268 g" in text
    assert "61 g more in all, 3 weighings, up to 2 % off target" in text
    assert text.rstrip().splitlines()[-1].strip() == "7 g more in all, up to 14 % off target"


def test_one_piece_is_one(tmp_path: Path) -> None:
    file = tmp_path / "dough.yaml"
    dough = DOUGH.replace("LATE", "yes").replace("OUT", "no").replace("pieces: 8", "pieces: 1")
    file.write_text(dough, encoding="utf-8")
    text = CliRunner().invoke(correct, [str(file), "--in", "egg=57 g", "--mixed"], catch_exceptions=False).stdout
    assert text.splitlines()[0].endswith(", 1 piece.")
    assert "12 % more: 1.1 pieces instead of 1" in text


def test_the_text_says_nothing_of_what_whole_milligrams_leave(tmp_path: Path) -> None:
    """At 57.01/50 the salt is 3.421 g for 3.4206 g: a deviation in the document, none that a cook could see."""
    file = tmp_path / "dough.yaml"
    file.write_text(DOUGH.replace("LATE", "yes").replace("OUT", "no"), encoding="utf-8")
    words = [str(file), "--in", "egg=57.01 g", "--mixed"]
    document = json.loads(CliRunner().invoke(correct, [*words, "--json"], catch_exceptions=False).stdout)
    assert [offer["worst_deviation_pct"] for offer in document["offers"]] == [2.0, 1.35, 0.01, 14.02]
    text = CliRunner().invoke(correct, words, catch_exceptions=False).stdout
    costs = [line.strip() for line in text.splitlines() if "in all" in line]
    assert [cost.rpartition(", ")[2] for cost in costs] == [
        "up to 2 % off target",
        "up to 1.4 % off target",
        "3 weighings",
        "up to 14 % off target",
    ]


def test_the_correction_needs_nothing_beyond_python() -> None:
    """Neither the file format nor a library of numbers is loaded for it: it runs in the bench's loop."""
    code = "import sys, scaled.formula.correct, scaled.formula.correction_json; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.partition(".")[0] for name in run.stdout.split()}
    assert loaded.isdisjoint({"yaml", "pint", "click", "numpy", "scipy"})
    assert "scaled" in loaded
