"""Names that a cook types: case is ignored and a word is enough if it fits only one."""

from fractions import Fraction

import pytest

from scaled.errors import WrongUsage
from scaled.formula.names import find_key, named_masses

KEYS = ("wheat flour", "oat flour", "sea salt", "butter (creamed)", "butter (melted)", "brown butter", "Whole egg")


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("wheat flour", "wheat flour"),
        ("Wheat  FLOUR", "wheat flour"),
        ("flour wheat", "wheat flour"),
        ("oat", "oat flour"),
        ("salt", "sea salt"),
        ("egg", "Whole egg"),
        ("whole", "Whole egg"),
        ("butter (melted)", "butter (melted)"),
        ("melted", "butter (melted)"),
        ("brown butter", "brown butter"),
        ("brown", "brown butter"),
        ("crea", "butter (creamed)"),
    ],
)
def test_a_word_is_enough_if_it_fits_only_one(name, key):
    assert find_key(name, KEYS) == key


def test_the_whole_name_wins_over_a_word_of_another():
    assert find_key("butter", ("brown butter", "butter")) == "butter"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("flour", "'flour' fits more than one: say which of wheat flour, oat flour"),
        ("butter", "'butter' fits more than one: say which of butter (creamed), butter (melted)"),
        ("sugar", "'sugar' fits none: the names here are wheat flour, oat flour, sea salt"),
        ("", "'' fits none"),
        ("utter", "'utter' fits none"),
    ],
)
def test_else_the_names_are_told(name, message):
    with pytest.raises(WrongUsage) as caught:
        find_key(name, KEYS)
    assert message in str(caught.value)
    assert caught.value.exit_code == 2


def test_masses_by_name():
    assert named_masses(["egg=57 g", "salt=3.5 g"], KEYS) == {
        "Whole egg": Fraction(57_000),
        "sea salt": Fraction(3_500),
    }


@pytest.mark.parametrize(
    ("texts", "message"),
    [
        (["egg 57 g"], "no NAME=MASS"),
        (["egg=57"], "Whole egg: '57' has no unit"),
        (["egg=-1 g"], "Whole egg: '-1 g' is negative"),
        (["egg=57 g", "whole egg=1 g"], "'Whole egg' is named twice"),
        (["=57 g"], "fits none"),
    ],
)
def test_what_is_no_mass_of_a_name_is_wrong_usage(texts, message):
    with pytest.raises(WrongUsage) as caught:
        named_masses(texts, KEYS)
    assert message in str(caught.value)
