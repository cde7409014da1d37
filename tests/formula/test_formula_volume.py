"""What a batch takes up in a bowl, and which bowls take it at most two thirds full (common practice)."""

import json
import re
import subprocess
import sys
from fractions import Fraction

import pytest

from scaled.catalogue import FolderCatalogue
from scaled.formula.plan import plan
from scaled.formula.volume import Vessel, in_the_bowl, mg_per_ml, volume_ml
from scaled.shipped import shipped

SMALL, LARGE = Vessel("bowl 1", Fraction(1_500)), Vessel("mixer bowl", Fraction(3_000))
DENSE = "{ingredient: one, weight: 600 g, density: 0.6 g/ml, allergens: []}"
WHERE = (
    "scales:\n  - {name: bench, port: /dev/null, line: header, capacity: 6 kg, division: 1 g}\n"
    "vessels:\n  - {name: bowl 1, empty: 812 g, holds: 1.5 l}\n  - {name: jar, empty: 90 g}\n"
    "formulas: .\nrecords: records.db\n"
)


def planned(formula, factor, vessels):
    return plan(formula, Fraction(factor), {}.__getitem__, (), vessels)


def cautions_of(formula, factor, vessels):
    return [caution for caution in planned(formula, factor, vessels).cautions if "largest bowl" in caution]


class TestVolumes:
    def test_each_ingredient_takes_up_its_own_volume(self, one):
        formula = one(DENSE[1:-1], "ingredient: two, weight: 500 g, density: 1 g/ml, allergens: []")
        assert volume_ml(formula, Fraction(1)) == 1_500
        assert volume_ml(formula, Fraction(1, 3)) == 500

    def test_a_twentieth_of_unknown_density_is_taken_to_be_like_the_rest(self, one):
        known = "ingredient: one, weight: 950 g, density: 1 g/ml, allergens: []"
        assert volume_ml(one(known, "ingredient: x, weight: 50 g, allergens: []"), Fraction(1)) == 1_000
        assert volume_ml(one(known, "ingredient: x, weight: 51 g, allergens: []"), Fraction(1)) is None

    def test_what_stands_in_tubs_fills_no_bowl(self, one):
        formula = one(DENSE[1:-1], top="vessel: separate tubs\n")
        assert in_the_bowl(formula) == ()
        assert mg_per_ml(()) is None
        assert planned(formula, 100, (SMALL,)).bowls is None
        assert cautions_of(formula, 100, (SMALL,)) == []

    def test_a_bowl_that_holds_nothing_is_none(self):
        with pytest.raises(ValueError, match="holds something"):
            Vessel("bowl", Fraction(0))


class TestPlans:
    @pytest.mark.parametrize(
        ("factor", "bowls"),
        [("1", "bowl 1, mixer bowl"), ("1.001", "mixer bowl"), ("2", "mixer bowl"), ("2.001", None)],
    )
    def test_a_bowl_takes_it_up_to_two_thirds_of_its_volume(self, one, factor, bowls):
        made = planned(one(DENSE[1:-1]), factor, (SMALL, LARGE))
        assert (made.bowls and made.bowls.rpartition(": ")[2]) == bowls
        assert bool(cautions_of(one(DENSE[1:-1]), factor, (SMALL, LARGE))) == (bowls is None)

    def test_where_none_takes_it_the_caution_says_in_how_many_parts(self, one):
        assert cautions_of(one(DENSE[1:-1]), "4.1", (SMALL, LARGE)) == [
            "about 4.1 l before it is mixed, and mixer bowl, the largest bowl here, takes 2 l at two thirds full: "
            "make it in 3 parts, or less of it"
        ]

    def test_without_bowls_nothing_is_said(self, one):
        assert planned(one(DENSE[1:-1]), 1000, ()).bowls is None
        assert cautions_of(one(DENSE[1:-1]), 1000, ()) == []

    def test_a_formula_within_is_looked_at_too(self, shelf):
        within = f"formula: Within\nstages:\n  - stage: all\n    additions:\n      - {DENSE}\n"
        outer = "formula: Outer\nstages:\n  - stage: all\n    additions:\n      - {formula: within, weight: 2 kg}\n"
        kitchen = shelf({"within": within, "outer": outer})
        made = plan(kitchen.formula("outer"), Fraction(1), kitchen.formula, (), (SMALL,))
        assert any("largest bowl" in caution for caution in made.within[0].cautions)


class TestCommand:
    @pytest.fixture
    def scaled(self, tmp_path):
        (tmp_path / "dough.yaml").write_text(
            f"formula: Dough\nstages:\n  - stage: all\n    additions:\n      - {DENSE}\n"
        )
        (tmp_path / "kitchen.yaml").write_text(WHERE)

        def run(*arguments):
            line = [sys.executable, "-m", "scaled", "formula", "plan", "dough.yaml", *arguments]
            done = subprocess.run(line, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60)
            assert (done.returncode, done.stderr) == (0, "")
            return done.stdout

        return run

    def test_the_settings_bowls_are_named(self, scaled):
        said = scaled("--config", "kitchen.yaml")
        assert "bowls: about 1 l before it is mixed; at most two thirds full: bowl 1\n" in said
        assert "bowl" not in scaled()

    def test_json_carries_the_caution_alone(self, scaled):
        fits = json.loads(scaled("--config", "kitchen.yaml", "--json"))
        full = json.loads(scaled("--config", "kitchen.yaml", "--json", "--factor", "2"))
        plain = json.loads(scaled("--json", "--factor", "2"))
        assert full.keys() == fits.keys() == plain.keys()
        assert not re.search("bowl", json.dumps(fits) + json.dumps(plain))
        assert any("bowl 1, the largest bowl here" in caution for caution in full["cautions"])

    def test_the_sheet_says_it_too(self, scaled):
        assert "the largest bowl here" in scaled("--config", "kitchen.yaml", "--factor", "2", "--sheet")


def test_every_shipped_recipe_has_a_volume_that_can_be():
    """Doughs, creams and sponges weigh 0.4 to 1.3 g/ml before they are mixed (from the densities of the table)."""
    folder = FolderCatalogue(shipped("recipes"))
    for stem in folder.stems():
        formula = folder.formula(stem)
        volume = volume_ml(formula, Fraction(1))
        if volume is not None:
            mass = sum(addition.weight_mg for addition in in_the_bowl(formula))
            assert 0.4 <= mass / 1000 / volume <= 1.3, stem
