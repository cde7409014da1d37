"""A folder of formulas: by stem, within each other, with a table beside them; nothing from outside becomes a path."""

import os
import subprocess
import sys
import threading
from fractions import Fraction
from pathlib import Path

import pytest

from scaled.catalogue import FolderCatalogue, load_formula
from scaled.errors import Invalid, Mistakes, WrongUsage
from scaled.formula.percent import MassMissing
from scaled.shipped import shipped


def text(title, *lines, top=""):
    body = "".join(f"      - {{{line}}}\n" for line in lines)
    return f"formula: {title}\n{top}stages:\n  - stage: all\n    additions:\n{body}"


@pytest.fixture
def kitchen(tmp_path):
    (tmp_path / "curd.yaml").write_text(text("Curd", "ingredient: butter, weight: 100 g"))
    (tmp_path / "tart.yml").write_text(text("Tart", "ingredient: flour, weight: 200 g", "formula: curd, weight: 50 g"))
    (tmp_path / "notes.txt").write_text("no formula")
    (tmp_path / ".hidden.yaml").write_text("no formula")
    (tmp_path / "folder.yaml").mkdir()
    return FolderCatalogue(tmp_path)


def test_formulas_are_called_by_their_stems(kitchen):
    assert kitchen.stems() == ("curd", "tart")
    assert kitchen.formula("tart").title == "Tart"
    assert kitchen.formula("tart").additions[1].allergens == ("milk",)
    assert kitchen.plan_json("tart", Fraction(2))["within"][0]["mass_g"] == 100


@pytest.mark.parametrize(
    "stem",
    [
        "",
        ".",
        "..",
        "../curd",
        "curd.yaml",
        "/etc/passwd",
        "notes",
        ".hidden",
        "folder",
        "ingredients",
        "curd\0",
        "CURD",
    ],
)
def test_nothing_but_a_stem_of_the_folder_is_found(kitchen, stem):
    with pytest.raises(KeyError):
        kitchen.formula(stem)


def test_a_file_is_read_again_when_it_or_what_it_uses_has_changed(kitchen, tmp_path):
    before = kitchen.formula("tart")
    assert kitchen.formula("tart") is before
    (tmp_path / "curd.yaml").write_text(text("Curd", "ingredient: ground almonds, weight: 100 g"))
    assert kitchen.formula("tart").additions[1].allergens == ("nuts (almonds)",)
    (tmp_path / "ingredients.yaml").write_text("ingredients:\n  - {ingredient: ground almonds, price: 12}\n")
    assert kitchen.formula("curd").additions[0].price_per_kg == 12
    (tmp_path / "tart.yml").unlink()
    assert kitchen.stems() == ("curd",)


def test_mistakes_are_kept_and_told_again_until_the_file_is_right(kitchen, tmp_path):
    (tmp_path / "curd.yaml").write_text(text("Curd", "ingredient: butter, weight: 100"))
    for _ in range(2):
        with pytest.raises(Mistakes, match=r"curd\.yaml:5:38: weight: '100' has no unit"):
            kitchen.formula("curd")
        with pytest.raises(Mistakes, match=r"tart\.yml:6:19: formula 'curd' cannot be used: .*curd\.yaml:5:38"):
            kitchen.formula("tart")
    (tmp_path / "curd.yaml").write_text(text("Curd", "ingredient: butter, weight: 100 g"))
    assert kitchen.formula("tart").title == "Tart"


def test_a_table_beside_the_formulas_that_is_wrong_is_told_with_its_place(kitchen, tmp_path):
    (tmp_path / "ingredients.yaml").write_text("ingredients:\n  - {ingredient: butter, prize: 12}\n")
    with pytest.raises(Mistakes, match=r"ingredients\.yaml:2:26: unknown key 'prize'"):
        kitchen.formula("curd")


def test_a_formula_cannot_be_made_of_itself(tmp_path):
    for stem, used in {"a": "b", "b": "c", "c": "a", "own": "own"}.items():
        (tmp_path / f"{stem}.yaml").write_text(text(stem, f"formula: {used}, weight: 50 g"))
    kitchen = FolderCatalogue(tmp_path)
    with pytest.raises(Mistakes, match="made of itself: own uses own"):
        kitchen.formula("own")
    for stem in "abc":
        with pytest.raises(Mistakes, match=r"made of itself: .* uses .* uses .* uses"):
            kitchen.formula(stem)
    (tmp_path / "c.yaml").write_text(text("c", "ingredient: butter, weight: 50 g"))
    assert kitchen.formula("a").additions[0].allergens == ("milk",)


def test_formulas_within_formulas_have_a_depth(tmp_path):
    for depth in range(12):
        line = f"formula: f{depth + 1}, weight: 50 g" if depth < 11 else "ingredient: butter, weight: 50 g"
        (tmp_path / f"f{depth}.yaml").write_text(text("x", line))
    kitchen = FolderCatalogue(tmp_path)
    assert kitchen.formula("f4").mass_mg == 50_000
    with pytest.raises(Invalid, match="more than 8 deep"):
        FolderCatalogue(tmp_path).formula("f0")


def test_percentages_alone_are_enough_within_another(tmp_path):
    (tmp_path / "dough.yaml").write_text(
        text("Dough", "ingredient: flour, percent: 100, flour: yes", "ingredient: water, percent: 60")
    )
    (tmp_path / "tart.yaml").write_text(text("Tart", "formula: dough, weight: 320 g"))
    kitchen = FolderCatalogue(tmp_path)
    with pytest.raises(MassMissing):
        kitchen.formula("dough")
    made = kitchen.plan_json("tart", Fraction(1))
    assert made["totals"] == {"flour": 200, "water": 120}
    assert load_formula(tmp_path / "dough.yaml", Fraction(800_000)).additions[0].weight_mg == 500_000


def test_the_first_folder_wins_and_the_second_adds(tmp_path):
    here, there = tmp_path / "here", tmp_path / "there"
    for folder, title in ((here, "Here"), (there, "There")):
        folder.mkdir()
        (folder / "curd.yaml").write_text(text(title, "ingredient: butter, weight: 100 g"))
    (there / "jam.yaml").write_text(text("Jam", "ingredient: sugar, weight: 100 g"))
    kitchen = FolderCatalogue(here, there, tmp_path / "nowhere")
    assert kitchen.stems() == ("curd", "jam")
    assert kitchen.formula("curd").title == "Here"


def test_a_file_that_cannot_be_read_is_wrong_usage(tmp_path):
    with pytest.raises(WrongUsage, match="cannot be read"):
        load_formula(tmp_path / "none.yaml")


def test_many_threads_may_ask_at_once(kitchen, tmp_path):
    wrong = []

    def ask():
        read = [kitchen.formula("tart").additions[1].uses for _ in range(50)]
        wrong.extend(uses for uses in read if uses != "curd")

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for number in range(20):
        (tmp_path / "more.yaml").write_text(text(f"More {number}", "ingredient: butter, weight: 1 g"))
    for thread in threads:
        thread.join(timeout=60)
    assert wrong == []
    assert not any(thread.is_alive() for thread in threads)


# The recipes of the house


RECIPES = shipped("recipes")


def test_a_folder_that_cannot_be_looked_into_holds_nothing_and_a_file_there_cannot_be_read(tmp_path):
    folder = tmp_path / ("x" * 300)
    assert FolderCatalogue(folder).stems() == ()
    with pytest.raises(WrongUsage, match=r"dough\.yaml: cannot be read"):
        load_formula(folder / "dough.yaml")


def test_of_many_formulas_some_are_named_where_one_is_not_found(tmp_path):
    for number in range(30):
        (tmp_path / f"dough-{number:02}.yaml").write_text(text("Dough", "ingredient: butter, weight: 9 g"))
    (tmp_path / "a.yaml").write_text(text("A", "formula: zzz, weight: 9 g"))
    with pytest.raises(Mistakes, match=r"no formula 'zzz' here: there are a, dough-00, .*, dough-10 and 19 more$"):
        FolderCatalogue(tmp_path).formula("a")


def test_the_house_has_its_six_recipes():
    assert FolderCatalogue(RECIPES).stems() == (
        "bay-mousseline-cream",
        "buckwheat-almond-short-dough",
        "choux",
        "lemon-curd",
        "oat-and-honey-short-dough",
        "poppy-seed-sponge",
    )


@pytest.mark.parametrize("stem", FolderCatalogue(RECIPES).stems())
def test_a_recipe_has_no_mistake_and_nothing_to_be_noticed(stem):
    kitchen = FolderCatalogue(RECIPES)
    assert kitchen.file(stem).noticed == ()
    assert kitchen.plan_json(stem, Fraction(1))["formula"] == stem


@pytest.mark.parametrize(
    ("stem", "parts", "lo", "hi"),
    [
        # common practice: a short dough has half to two thirds as much fat as flour
        ("oat-and-honey-short-dough", ("butter",), 0.45, 0.70),
        ("buckwheat-almond-short-dough", ("butter",), 0.45, 0.70),
        # a choux has one and a half to two times as much egg as flour, by feel
        ("choux", ("whole egg",), 1.4, 2.0),
        # a whisked sponge has about as much sugar as flour and starch, and up to twice as much egg
        ("poppy-seed-sponge", ("whole egg",), 1.5, 2.2),
    ],
)
def test_a_recipe_keeps_to_the_ratios_of_the_trade(stem, parts, lo, hi):
    formula = FolderCatalogue(RECIPES).formula(stem)
    flour = sum(a.weight_mg for a in formula.weighed if a.is_flour)
    part = sum(a.weight_mg for a in formula.weighed if a.ingredient in parts)
    assert lo <= float(part / flour) <= hi


def test_a_dough_that_is_rolled_out_is_enough_for_its_pieces_with_the_trimmings():
    kitchen = FolderCatalogue(RECIPES)
    rolled = [kitchen.formula(stem) for stem in kitchen.stems() if kitchen.formula(stem).rolled is not None]
    assert len(rolled) == 2
    for formula in rolled:
        made = kitchen.plan_json(formula.stem, Fraction(1))
        assert 0.95 * made["mass_g"] <= made["geometry"]["rolled_g"] <= made["mass_g"]


def test_a_syrup_of_equal_parts_boils_and_is_not_boiled_down():
    """Half sugar, half water boils at 101 to 102 degC; 105 degC is a syrup of seven parts in ten (common practice)."""
    sponge = FolderCatalogue(RECIPES).formula("poppy-seed-sponge")
    water, sugar = (sponge.addition(key).nominal_mg for key in ("water", "granulated sugar (syrup)"))
    (boiled,) = (step for step in sponge.steps if step.after == "syrup")
    assert water == sugar
    assert boiled.at_celsius is not None
    assert 100 <= boiled.at_celsius[0] <= boiled.at_celsius[1] <= 102


def test_a_sweet_cream_holds_a_pinch_of_salt():
    """Some 2 g a kilogram; from 4 g on it is tasted as salt (common practice)."""
    cream = FolderCatalogue(RECIPES).formula("bay-mousseline-cream")
    assert cream.addition("fine salt").nominal_mg * 1_000 <= 3 * cream.mass_mg


LOOKS = "from scaled.catalogue import *; print(FolderCatalogue(Path(__import__('sys').argv[1])).stems())"


@pytest.mark.parametrize(("mode", "seen"), [(0o555, "('curd',)"), (0o444, "()"), (0o000, "()"), (0o111, "()")])
def test_a_folder_that_may_not_be_looked_into_holds_nothing(tmp_path, mode, seen):
    folder = tmp_path / "recipes"
    folder.mkdir()
    (folder / "curd.yaml").write_text(text("Curd", "ingredient: butter, weight: 100 g"))
    for parent in (tmp_path, *tmp_path.parents[:2]):
        if parent != Path("/tmp"):
            parent.chmod(0o755)
    folder.chmod(mode)
    as_nobody = ["setpriv", "--reuid=65534", "--clear-groups"] if os.geteuid() == 0 else []
    command = [*as_nobody, sys.executable, "-c", LOOKS, folder]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    folder.chmod(0o755)
    assert (done.stdout.strip(), done.returncode) == (seen, 0), done.stderr
