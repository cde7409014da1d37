"""What the cook hears, in each language, and that no language falls behind the others."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.batch import telling
from scaled.batch.events import Doubt
from scaled.batch.snapshot import BatchState
from scaled.cues.voice import QUESTIONS, URGENT
from scaled.errors import Mistakes
from scaled.phrases import Language, language, language_from_text, languages, phrase

NUMBERS = {"grams": "12.5", "percent": "25", "pieces": "9"}
TEXTS = {"ingredient", "title", "amount"}


def kind(name: str) -> str:
    return name.rpartition("_")[2]


def differences(one: Language, other: Language) -> list[str]:
    """What one language says and the other does not, or says with other values."""
    keys = [f"only one has '{key}'" for key in one.templates.keys() ^ other.templates.keys()]
    both = one.templates.keys() & other.templates.keys()
    return sorted(keys + [f"'{key}' takes other values" for key in both if one.names(key) != other.names(key)])


def values_for(tongue: Language, key: str) -> dict[str, str]:
    """Something for each value that a phrase takes."""
    values = {name: NUMBERS.get(kind(name), "rye flour") for name in tongue.names(key)}
    if "advice" in values:
        values |= {"advice": "advise pieces", "new_pieces": "9", "old_pieces": "9"}
    return values


def test_english_german_and_french_are_there() -> None:
    names = {code: language(code).name for code in languages()}
    assert names | {"de": "Deutsch", "en": "English", "fr": "Français"} == names


@pytest.mark.parametrize("code", languages())
def test_every_language_has_every_phrase_with_the_same_values(code: str) -> None:
    assert differences(language("en"), language(code)) == []


def test_a_phrase_that_one_language_lacks_or_fills_otherwise_is_noticed() -> None:
    head = 'language: X\nnumbers: {decimal: ".", gram: g, grams: g, one is: "1", percent: p}\nphrases:\n'
    one = language_from_text(head + '  stop: Stop.\n  next: "{ingredient}, {grams}."\n', "one.yaml")
    other = language_from_text(head + '  next: "{ingredient}."\n', "other.yaml")
    assert differences(one, other) == ["'next' takes other values", "only one has 'stop'"]


def untold(keys: Iterable[str], teller: str) -> list[str]:
    """The phrases that this source does not name; a batch's state and a doubt are told by their own names."""
    named = {node.value for node in ast.walk(ast.parse(teller)) if isinstance(node, ast.Constant)}
    return sorted(set(keys) - named - set(get_args(BatchState)) - set(get_args(Doubt)))


def test_there_is_no_phrase_that_nobody_tells() -> None:
    teller = Path(telling.__file__).read_text(encoding="utf-8")
    assert untold(language("en").templates, teller) == []
    assert untold(["stop", "held", "good morning"], teller) == ["good morning"]


def test_what_the_voice_hurries_with_and_asks_are_phrases() -> None:
    assert language("en").templates.keys() >= URGENT | QUESTIONS


@pytest.mark.parametrize("code", languages())
def test_every_phrase_can_be_said_and_says_all_it_was_given(code: str) -> None:
    tongue = language(code)
    for key in tongue.templates:
        values = values_for(tongue, key)
        said = phrase(code, key, **values)
        assert said[0] == said[0].upper()
        assert said.endswith(".") or key.startswith("advise")
        assert not re.search(r"[{}]|\s\s", said)
        for name, value in values.items():
            shown = value.replace(".", tongue.numbers.decimal)
            assert name == "advice" or shown.casefold() in said.casefold(), (key, name)


@pytest.mark.parametrize("code", languages())
def test_a_value_is_a_number_an_advice_or_one_of_the_known_texts(code: str) -> None:
    names = {name for key in language(code).templates for name in language(code).names(key)}
    assert {name for name in names if kind(name) not in (*NUMBERS, "advice", "ingredient")} <= TEXTS


def test_the_overpoured_egg_in_three_languages() -> None:
    values = {"ingredient": "whole egg", "grams": "7", "advice": "advise more", "percent": "200/17"}
    assert [phrase(code, "over", **values) for code in ("en", "de", "fr")] == [
        "Whole egg: 7 grams too much. Make 12 percent more. Press for yes.",
        "Whole egg: 7 Gramm zu viel. 12 Prozent mehr machen. Für Ja drücken.",
        "Whole egg : 7 grammes de trop. Faites 12 pour cent de plus. Appuyez pour dire oui.",
    ]


def test_pieces_are_offered_by_their_number() -> None:
    egg = {"ingredient": "whole egg", "grams": "7", "old_pieces": "8"}
    said = phrase("en", "over", **egg, advice="advise pieces", new_pieces="9")
    assert said == "Whole egg: 7 grams too much. Make 9 pieces instead of 8. Press for yes."
    assert phrase("de", "over", **egg, advice="advise fewer", new_pieces="13/2") == (
        "Whole egg: 7 Gramm zu viel. 6,5 Stück statt 8 machen. Für Ja drücken."
    )


@pytest.mark.parametrize(
    ("grams", "en", "de", "fr"),
    [
        ("268.235", "268 grams", "268 Gramm", "268 grammes"),
        ("20", "20 grams", "20 Gramm", "20 grammes"),
        ("20.4", "20 grams", "20 Gramm", "20 grammes"),
        ("19.96", "20 grams", "20 Gramm", "20 grammes"),
        ("19.94", "19.9 grams", "19,9 Gramm", "19,9 grammes"),
        ("3.353", "3.4 grams", "3,4 Gramm", "3,4 grammes"),
        ("3", "3 grams", "3 Gramm", "3 grammes"),
        ("1.5", "1.5 grams", "1,5 Gramm", "1,5 gramme"),  # French counts in the singular below 2
        ("1", "1 gram", "1 Gramm", "1 gramme"),
        ("1147/1000", "1.1 grams", "1,1 Gramm", "1,1 gramme"),
        ("0.25", "0.25 grams", "0,25 Gramm", "0,25 gramme"),
        ("0", "0 grams", "0 Gramm", "0 gramme"),
        ("2400", "2400 grams", "2400 Gramm", "2400 grammes"),
    ],
)
def test_grams_are_whole_from_20_up_and_finer_below(grams: str, en: str, de: str, fr: str) -> None:
    numbers = [language(code).numbers.mass(Fraction(grams)) for code in ("en", "de", "fr")]
    assert numbers == [en, de, fr]


@pytest.mark.parametrize(
    ("percent", "said"), [("200/17", "12 percent"), ("9.96", "10 percent"), ("4.25", "4.2 percent")]
)
def test_a_percentage_is_whole_from_10_up(percent: str, said: str) -> None:
    assert language("en").numbers.share(Fraction(percent)) == said


@given(mg=st.integers(0, 50_000_000))
def test_what_is_said_is_never_further_off_than_its_rounding(mg: int) -> None:
    grams = Fraction(mg, 1000)
    said = Fraction(language("en").numbers.mass(grams).split(" ")[0])
    allowed = Fraction(1, 2) if grams >= 20 else Fraction(1, 20) if grams >= 1 else Fraction(1, 200)
    assert abs(said - grams) <= allowed


def test_a_value_is_put_in_once_and_never_read_again() -> None:
    assert phrase("en", "put a tub on", ingredient="{title}  of\nthe house") == "Put a tub on for {title} of the house."


@pytest.mark.parametrize(
    ("key", "values", "message"),
    [
        ("nxet", {}, "no phrase 'nxet'"),
        ("next", {"ingredient": "flour"}, "needs grams"),
        ("stop", {"grams": "3"}, "takes no grams"),
        ("next", {"ingredient": "flour", "grams": "a lot"}, "'a lot' is no number"),
        ("next", {"ingredient": "flour", "grams": "-7"}, "'-7' is no number"),
        ("next", {"ingredient": "flour", "grams": "1e999999999"}, "is no number"),
        ("over", {"ingredient": "egg", "grams": "7", "advice": "advise more"}, "needs percent"),
        ("over", {"ingredient": "egg", "grams": "7", "advice": "advise nothing"}, "no phrase 'advise nothing'"),
        ("over", {"ingredient": "egg", "grams": "7", "advice": "advise keep", "percent": "3"}, "takes no percent"),
    ],
)
def test_a_wrong_call_is_told(key: str, values: dict[str, str], message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        phrase("en", key, **values)


def test_a_language_that_is_not_there_is_told_with_those_that_are() -> None:
    with pytest.raises(ValueError, match="no language 'xx': known here are de, en, fr"):
        phrase("xx", "stop")
    with pytest.raises(ValueError, match="no language"):
        phrase("../en", "stop")


@pytest.mark.parametrize(
    ("yaml", "where"),
    [
        ("language: X\nphrases: {stop: Stop.}\n", "x.yaml:1:1: 'numbers' is missing here"),
        ('language: X\nnumbers: {decimal: "."}\nphrases: {stop: Stop.}\n', "x.yaml:2:10: 'gram' is missing here"),
        ("phrases: {stop: '{'}\n", "a brace that is no {name}"),
        ("phrases: {stop: '{Grams}'}\n", "a brace that is no {name}"),
        ("phrases: {stop: }\n", "'stop' has no value"),
        ("phrases: {stop: Stop., stop: Halt.}\n", "stands twice"),
        ("frases: {stop: Stop.}\n", "did you mean 'phrases'?"),
    ],
)
def test_a_damaged_language_file_is_told_with_its_place(yaml: str, where: str) -> None:
    with pytest.raises(Mistakes) as caught:
        language_from_text(yaml, "x.yaml")
    assert where in str(caught.value)
    assert str(caught.value).startswith("x.yaml:")
