"""The temperature of the water and the ice: worked examples as published, in either scale; what stands against them.

Published: SFBI notes on dough temperature: 75 F x 3 - 65 - 65 - 8 = 87 F. Pizza Today, June 2018: 80 F x 3 - 65 - 75 -
35 = 65 F. Both were read in quotation.
"""

import json
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.cli import main
from scaled.formula.water import Mixing, cautions, ice_mg
from scaled.units import celsius, warming_k


def fahrenheit(dough, flour, room, friction, preferment=None):
    """A mixing in degrees Fahrenheit, the friction in degrees of warming."""
    return Mixing(
        celsius(f"{dough} degF"),
        celsius(f"{flour} degF"),
        celsius(f"{room} degF"),
        warming_k(f"{friction} degF"),
        None if preferment is None else celsius(f"{preferment} degF"),
    )


class TestWater:
    @pytest.mark.parametrize(
        ("mixing", "water"),
        [
            (fahrenheit(75, 65, 65, 8), 87),  # SFBI notes
            (fahrenheit(80, 65, 75, 35), 65),  # Pizza Today, June 2018
            # By hand after the rule with a preferment, times 4 (common practice): 76 x 4 - 68 - 72 - 70 - 24 = 70.
            (fahrenheit(76, 68, 72, 24, preferment=70), 70),
        ],
    )
    def test_worked_examples(self, mixing, water):
        assert mixing.water == celsius(f"{water} degF")

    @given(*[st.integers(40, 100)] * 3, st.integers(0, 40), st.none() | st.integers(40, 100))
    def test_both_scales_give_the_same_water(self, dough, flour, room, friction, preferment):
        """The sum done in Fahrenheit throughout, as an American bakery does it."""
        count = 3 if preferment is None else 4
        water = count * dough - flour - room - (preferment or 0) - friction
        assert fahrenheit(dough, flour, room, friction, preferment).water * 9 / 5 + 32 == water

    def test_friction_is_no_reading_of_a_thermometer(self):
        """8 degF of friction are 4.4 K; a thermometer at 8 degF shows -13.3 degC, which would warm the water by 18."""
        right = fahrenheit(75, 65, 65, 8)
        wrong = [right.dough * 3, -right.flour, -right.room, -celsius("8 degF")]
        assert sum(wrong) - right.water == Fraction(160, 9)

    def test_the_dough_comes_to_what_was_wanted(self):
        mixing = Mixing(Fraction(24), Fraction(20), Fraction(22), Fraction(8), Fraction(21))
        assert mixing.water == 24 * 4 - 20 - 22 - 8 - 21
        assert mixing.comes_to(mixing.water) == 24
        assert mixing.comes_to(mixing.water + 4) == 25

    @pytest.mark.parametrize("name", ["dough", "flour", "room", "preferment"])
    def test_temperatures_of_no_kitchen_are_refused(self, name):
        fine = {"dough": 24, "flour": 20, "room": 22, "friction_k": 4, "preferment": 20}
        with pytest.raises(ValueError, match=rf"{name}: 75 degC \(167 degF\) is out of bounds"):
            Mixing(**{key: Fraction(value) for key, value in (fine | {name: 75}).items()})

    def test_friction_does_not_cool(self):
        with pytest.raises(ValueError, match="friction"):
            Mixing(Fraction(24), Fraction(20), Fraction(22), Fraction(-1))


class TestIce:
    def test_the_heat_that_the_ice_takes_is_what_the_tap_water_gives_off(self):
        """334 J/g to melt, 4.18 J/(g K) for water: their ratio is 79.9 K, taken as 80."""
        ice, wanted, tap = float(ice_mg(Fraction(1_000_000), Fraction(20), Fraction(8))) / 1_000, 8, 20
        taken = ice * (334 + 4.18 * wanted)
        given_off = (1_000 - ice) * 4.18 * (tap - wanted)
        assert taken == pytest.approx(given_off, rel=2e-3)
        assert ice == pytest.approx(120)

    @given(st.integers(33, 140), st.integers(32, 140))
    def test_the_rule_in_fahrenheit_is_the_same(self, tap, wanted):
        """water x (tap - wanted) / (tap + 112) in Fahrenheit: common practice, from memory."""
        expected = Fraction(640_000) * max(0, tap - wanted) / (tap + 112)
        assert ice_mg(Fraction(640_000), celsius(f"{tap} degF"), celsius(f"{wanted} degF")) == expected

    @pytest.mark.parametrize(
        ("tap", "wanted", "share"),
        [
            (20, 20, 0),
            (20, 30, 0),
            (20, 0, Fraction(1, 5)),
            (20, -40, Fraction(3, 5)),
            (20, -80, 1),
            (20, -99, 1),
            (0, 0, 0),
        ],
    )
    def test_from_none_to_all_of_it(self, tap, wanted, share):
        assert ice_mg(Fraction(1_000), Fraction(tap), Fraction(wanted)) == 1_000 * share

    @pytest.mark.parametrize("tap", [-1, 61])
    def test_what_comes_from_no_tap_is_refused(self, tap):
        with pytest.raises(ValueError, match=r"tap: .* out of bounds"):
            ice_mg(Fraction(1_000), Fraction(tap), Fraction(5))


class TestCautions:
    """Water from 0 to 50 degC needs none; what kills yeast and where water freezes is common practice."""

    @pytest.mark.parametrize("friction", [0, 50])
    def test_none_between_freezing_and_what_kills_yeast(self, friction):
        mixing = Mixing(Fraction(30), Fraction(20), Fraction(20), Fraction(friction))
        assert mixing.water == 50 - friction
        assert list(cautions(mixing)) == []

    def test_too_hot_for_yeast(self):
        mixing = Mixing(Fraction(30), Fraction(11), Fraction(20), Fraction(5))
        assert list(cautions(mixing)) == [
            "hotter than 50 degC (122 degF) kills yeast: with water of that the dough comes to 29 degC (84 degF)",
            "to reach what is wanted, use flour that is 4 degC (8 degF) warmer",
        ]

    def test_too_cold_to_be_water(self):
        mixing = Mixing(Fraction(24), Fraction(30), Fraction(30), Fraction(20))
        assert list(cautions(mixing)) == [
            "water freezes at 0 degC (32 degF): with water of that the dough comes to 27 degC (80 degF)",
            "to reach what is wanted, use flour that is 8 degC (15 degF) colder, or some of the water as crushed ice, "
            "which melts in the dough",
        ]

    def test_too_cold_for_ice(self):
        mixing = Mixing(Fraction(5), Fraction(40), Fraction(40), Fraction(30))
        assert mixing.water == -95
        assert list(cautions(mixing))[-1] == (
            "ice alone does not reach it: with all the water as ice the dough comes to 10 degC (50 degF)"
        )


FINE = {"--dough": "24 degC", "--flour": "24 degC", "--room": "26 degC", "--friction": "12 degC"}


def run(capsys, *more, **changed):
    options = FINE | {f"--{name}": value for name, value in changed.items()}
    code = main(["formula", "water", *[word for pair in options.items() for word in pair], *more])
    return code, *capsys.readouterr()


class TestCommand:
    def test_the_published_example(self, capsys):
        code, out, err = run(capsys, dough="75 degF", flour="65 degF", room="65 degF", friction="8 degF")
        assert (code, err) == (0, "")
        assert out.splitlines() == [
            "water: 31 degC (87 degF), for a dough of 24 degC (75 degF)",
            "measure the mixed dough: for each degree too warm, add 3 to the friction next time",
        ]

    def test_the_ice(self, capsys):
        """640 g x (18 - 10) / (18 + 80) = 52.2 g."""
        code, out, _ = run(capsys, water="640 g", tap="18 degC")
        assert code == 0
        assert out.splitlines()[1] == "ice: 52.2 g, and 587.8 g from the tap at 18 degC (64 degF)"

    def test_no_ice(self, capsys):
        _, out, _ = run(capsys, water="640 g", tap="10 degC")
        assert out.splitlines()[1] == "ice: none, the tap at 10 degC (50 degF) is no warmer than that"

    def test_a_caution_and_the_preferment(self, capsys):
        _, out, _ = run(capsys, friction="24 degC", preferment="30 degC")
        assert out.splitlines()[1].startswith("caution: water freezes at 0 degC")
        assert out.splitlines()[-1].endswith("add 4 to the friction next time")

    def test_as_json(self, capsys):
        code, out, err = run(capsys, "--json", water="640 g", tap="18 degC")
        assert (code, err) == (0, "")
        assert json.loads(out) == {
            "water_celsius": 10.0,
            "water_fahrenheit": 50.0,
            "ice_g": 52.245,
            "tap_g": 587.755,
            "cautions": [],
        }
        assert json.loads(run(capsys, "--json")[1])["ice_g"] is None

    @pytest.mark.parametrize(
        ("changed", "message"),
        [
            ({"dough": "75"}, "--dough: '75' has no unit of temperature: write degC or degF"),
            ({"dough": "75 degC"}, "dough: 75 degC (167 degF) is out of bounds: it lies in 0 to 50 degC"),
            ({"friction": "-3 degC"}, "--friction: '-3 degC' is out of bounds: a warming is 0 to 100 degC"),
            ({"flour": "cold"}, "--flour: 'cold' has no number: write it like 170 degC"),
            ({"tap": "18 degC"}, "--water and --tap belong together"),
            ({"water": "640 g"}, "--water and --tap belong together"),
            ({"water": "640", "tap": "18 degC"}, "--water: '640' has no unit: write 640 g"),
            ({"water": "640 g", "tap": "90 degC"}, "tap: 90 degC (194 degF) is out of bounds"),
        ],
    )
    def test_what_cannot_be_is_said_in_a_line(self, capsys, changed, message):
        code, out, err = run(capsys, **changed)
        assert (code, out, len(err.splitlines())) == (2, "", 1)
        assert message in err

    def test_what_is_missing_is_said(self, capsys):
        assert main(["formula", "water"]) == 2
        out, err = capsys.readouterr()
        assert (out, len(err.splitlines())) == ("", 1)
        assert "--dough" in err
