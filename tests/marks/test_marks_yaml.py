"""Strict YAML: what is told of a file that is not as it should be, and where."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.errors import Mistakes, Place, ScaledError, WrongUsage
from scaled.marks import MOST_BYTES, decoded, nearest, one_of, read_file, read_mapping, text, truth


def told(content: str, known: tuple[str, ...] | None = None) -> list[str]:
    """The lines of all mistakes in a text, without the file's name."""
    with pytest.raises(Mistakes) as caught:
        read_mapping(content, "f.yaml", known).raise_mistakes()
    return [line.removeprefix("f.yaml:") for line in str(caught.value).splitlines()]


@pytest.mark.parametrize(
    ("content", "line"),
    [
        ("", "1:1: the file is empty: write into it, or name another"),
        ("# only a comment\n", "1:1: the file is empty: write into it, or name another"),
        ("- a\n", "1:1: the file must be a mapping (key: value) at the top, not a list"),
        ("flour\n", "1:1: the file must be a mapping (key: value) at the top, not 'flour'"),
        ("a: &x 1\nb: *x\n", "1:4: anchors (&) and aliases (*) are not used here: write it out"),
        ("a: 1\nb: *x\n", "2:4: anchors (&) and aliases (*) are not used here: write it out"),
        ("a: !!int 3\n", "1:4: tags (tag:yaml.org,2002:int) are not used here: delete it"),
        ("a: !mine 3\n", "1:4: tags (!mine) are not used here: delete it"),
        ("a: 1\n---\nb: 2\n", "2:1: a second document (---): one file holds one"),
        ("a: 1\nb: 2\na: 3\n", "3:1: 'a' stands twice (first in line 1): delete one"),
        ("? [a]\n: b\n", "1:3: a key must be text, not a list"),
        ("a:\n\tb: 1\n", "2:1: a tab in the indentation: use spaces"),
        ("a: x\x07\n", "1:5: control character U+0007: delete it"),
        ("a: 1\nb: {c: 2\n", "2:4: no YAML: a { is not closed, or a comma is missing"),
        ("a: 1\nb: [c, 2\n", "2:4: no YAML: a [ is not closed, or a comma is missing"),
        ('a: 1\nb: "c\nd: 2\n', "2:4: no YAML: a quote is not closed"),
        ("a: 1\nb: 'c\nd: 2\n", "2:4: no YAML: a quote is not closed"),
        ("a: b: c\n", "1:5: no YAML: a second ': ' in one line: put the text in quotes, or mind the indentation"),
        ("a: @b\n", "1:4: no YAML: a character that a text cannot begin with: put the text in quotes"),
    ],
)
def test_what_is_no_plain_yaml_is_told_with_its_place(content, line):
    assert told(content) == [line]


@pytest.mark.parametrize(
    ("content", "place"),
    [("[" * 30, "1:21"), ("{" * 30, "1:21"), ("- " * 5_000, "1:41"), ("- " * 200_000, "1:41"), ("[" * 100_000, "1:")],
)
def test_no_depth_of_nesting_breaks_the_reader(content, place):
    (line,) = told(content)
    assert line.startswith(place)


def test_all_mistakes_of_a_file_are_told_in_their_order():
    root = read_mapping("weigth: 3\nnumber: x\nsure: true\n", "f.yaml", ("weight", "number", "sure"))
    assert root.get("sure", truth) is None
    assert root.get("number", int_like) is None
    assert root.required("weight", text) is None
    assert root.required("name", text) is None
    with pytest.raises(Mistakes) as caught:
        root.raise_mistakes()
    assert str(caught.value).splitlines() == [
        "f.yaml:1:1: unknown key 'weigth': did you mean 'weight'?",
        "f.yaml:1:1: 'name' is missing here: add it",
        "f.yaml:2:9: number: 'x' is no number",
        "f.yaml:3:7: sure: 'true' is neither yes nor no: write one of the two",
    ]


def int_like(value: str) -> int:
    if not value.isdigit():
        raise ValueError(f"'{value}' is no number")
    return int(value)


def test_a_misspelt_key_is_not_reported_as_missing_as_well():
    root = read_mapping("weigth: 3\n", "f.yaml", ("weight",))
    root.required("weight", text)
    assert len(root.report.mistakes) == 1


@pytest.mark.parametrize(
    "value", ["no", "1e3", "0x10", "12:30", "~", "null", "2026-11-24", "1_000", ".5", "007", "True"]
)
def test_every_scalar_stays_the_text_that_was_typed(value):
    assert read_mapping(f"a: {value}\n", "f").get("a", str) == value


@pytest.mark.parametrize(("value", "expected"), [("yes", True), ("no", False)])
def test_yes_and_no_are_the_truth_values(value, expected):
    assert truth(value) is expected


@pytest.mark.parametrize("value", ["Yes", "NO", "true", "false", "on", "off", "1", "y", ""])
def test_nothing_else_is_one(value):
    with pytest.raises(ValueError, match="neither yes nor no"):
        truth(value)


def test_a_decimal_comma_in_braces_is_put_together_again():
    root = read_mapping("a: {weight: 1,5 kg, next: 2}\n", "f")
    inner = root.mapping("a", ("weight", "next"))
    assert inner is not None
    assert inner.get("weight", str) == "1,5 kg"
    assert inner.get("next", str) == "2"


@pytest.mark.parametrize(
    ("content", "line"),
    [
        ("a: x\n", "1:4: 'a' must be a list (lines that begin with -), not 'x'"),
        ("a: [x]\n", "1:5: an entry of 'a' must be a mapping (key: value), not 'x'"),
        ("a: []\n", "1:4: 'a' is empty: at least one is needed"),
        ("b: 1\n", "1:1: 'a' is missing here: add it"),
    ],
)
def test_a_list_of_mappings_is_held_to_its_form(content, line):
    root = read_mapping(content, "f.yaml")
    assert root.mappings("a", is_required=True) == ()
    assert [str(mistake) for mistake in root.report.mistakes] == [f"f.yaml:{line}"]


def test_a_list_or_a_mapping_where_one_value_belongs_is_told():
    root = read_mapping("a: [1]\nb: {c: 1}\nd:\n", "f.yaml")
    for key in "abd":
        assert root.get(key, str) is None
    assert [str(mistake) for mistake in root.report.mistakes] == [
        "f.yaml:1:4: 'a' must be a single value, not a list",
        "f.yaml:2:4: 'b' must be a single value, not a mapping",
        "f.yaml:3:3: 'd' has no value: give one",
    ]


def test_bytes_that_are_no_utf8_are_told_with_their_place():
    with pytest.raises(Mistakes) as caught:
        decoded(b"a: 1\nb: cr" + b"\xe8me\n", "f.yaml")
    assert str(caught.value) == "f.yaml:2:6: byte 0xe8 is no UTF-8: save the file as UTF-8"
    assert caught.value.place == Place("f.yaml", 2, 6)


def test_a_byte_order_mark_is_no_part_of_the_text():
    assert decoded(b"\xef\xbb\xbfa: 1\n", "f") == "a: 1\n"


def test_columns_count_characters_not_bytes():
    assert told("crème: 1\nœufs: 2\nœufs: 3\n") == ["3:1: 'œufs' stands twice (first in line 2): delete one"]
    assert told("crème: [1\n") == ["1:8: no YAML: a [ is not closed, or a comma is missing"]


def test_a_file_that_cannot_be_read_is_wrong_usage(tmp_path):
    for path in (tmp_path / "none.yaml", tmp_path):
        with pytest.raises(WrongUsage, match="cannot be read") as caught:
            read_file(path)
        assert str(caught.value).startswith(str(path))
    with pytest.raises(WrongUsage, match="cannot be read"):
        read_file(Path("nul\0byte"))


def test_a_file_that_is_far_too_long_is_not_read(tmp_path):
    long = tmp_path / "long.yaml"
    long.write_text("a: " + "x" * MOST_BYTES)
    for path in (long, Path("/dev/zero")):
        with pytest.raises(Mistakes, match="longer than 1000000 bytes"):
            read_file(path)


def test_the_nearest_name_is_found_whatever_the_case():
    assert nearest("Toleranse", ("tolerance", "weight")) == "tolerance"
    assert nearest("zzz", ("tolerance", "weight")) is None
    with pytest.raises(ValueError, match="did you mean 'whole'"):
        one_of("whole", "yolk")("hole")


def test_the_same_is_told_where_libyaml_is_missing():
    code = """if True:
        import yaml
        del yaml.CSafeLoader
        from scaled.errors import Mistakes
        from scaled.marks import read_mapping
        assert read_mapping("a: {b: 1,5 g}\\nc: no\\n", "f").get("c", str) == "no"
        for content, line in {
            "a: &x 1": "f:1:4: anchors (&) and aliases (*) are not used here: write it out",
            "a:\\n\\tb: 1": "f:2:1: a tab in the indentation: use spaces",
            "a: 1\\na: 2": "f:2:1: 'a' stands twice (first in line 1): delete one",
            "- " * 5000: "f:1:41: nested more than 20 deep",
            "a: [1": "f:1:4: no YAML: a [ is not closed, or a comma is missing",
        }.items():
            try:
                read_mapping(content, "f").raise_mistakes()
            except Mistakes as error:
                assert str(error) == line, str(error)
            else:
                raise AssertionError(content)
    """
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


@given(st.text(st.characters(codec="utf-8"), max_size=200))
def test_any_text_is_read_or_told_and_nothing_else(content):
    try:
        read_mapping(content, "f.yaml").raise_mistakes()
    except ScaledError as error:
        assert all(line.startswith("f.yaml:") for line in str(error).split("\nf.yaml")[:1])


@given(st.text("ab:-[]{}&*!?|>'\"#%@, \n\t~", max_size=60))
def test_any_text_of_yaml_signs_is_read_or_told_and_nothing_else(content):
    try:
        read_mapping(content, "f.yaml").raise_mistakes()
    except Mistakes as error:
        assert all(mistake.place is not None and mistake.place.line >= 1 for mistake in error.mistakes)
