"""Line formats: what single lines say, and that only whole lines say anything."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from scaled.errors import Mistakes
from scaled.instruments.formats import formats_from_text, installed_formats, mapping_from_format
from scaled.instruments.line_format import LONGEST_LINE, LineGrammar, Sample

# Lines as recordings of real scales show them, typed from a description of those recordings, not from our writer:
# (format, line, mg, in motion, net)
RECORDED = [
    ("header", "ST,GS    85.5g  ", 85_500, False, False),
    ("header", "ST,GS,   245.5 g", 245_500, False, False),
    ("plain", "-  1.640 kg    N", -1_640_000, False, True),
    ("plain", "-  1.695 kg   ?N", -1_695_000, True, True),
    ("plain", "   0.000 kg    G", 0, False, False),
    ("plain", "   0.360 kg   ?G", 360_000, True, False),
    ("plain", "     N       0.3749 g   ", 375, None, True),
    ("plain", "     0.0 kg    G", 0, False, False),
    ("plain", "   123.4 g", 123_400, None, None),
    ("header", "ST,GS,+00123.4 g", 123_400, False, False),
]

# The exact factors: the pound is 453.59237 g, the ounce a sixteenth of it (UCUM [lb_av], [oz_av])
UNITS = [
    ("1.00 oz", 28_350),
    ("16.0 oz", 453_592),
    ("1.000 lb", 453_592),
    ("1000.000 lb", 453_592_370),
    ("0.001 kg", 1_000),
    ("1 mg", 1),
    ("0.1 g", 100),
    ("0.0005 g", 0),
    ("0.0015 g", 2),
]


@pytest.mark.parametrize(("name", "line", "mg", "in_motion", "is_net"), RECORDED)
def test_a_line_as_recorded_is_read(
    name: str, line: str, mg: int, *, in_motion: bool | None, is_net: bool | None
) -> None:
    telling = LineGrammar(installed_formats()[name]).read(line.encode())
    assert telling is not None
    assert (telling.value_mg, telling.in_motion, telling.is_net, telling.state) == (mg, in_motion, is_net, "ready")


@pytest.mark.parametrize(("line", "mg"), UNITS)
def test_units_are_exact_to_the_nearest_milligram(line: str, mg: int) -> None:
    telling = LineGrammar(installed_formats()["plain"]).read(line.encode())
    assert telling is not None
    assert telling.value_mg == mg
    number, unit = line.split()
    factor = {"oz": Fraction(45_359_237, 1600), "lb": Fraction(45_359_237, 100), "kg": 10**6, "g": 1000, "mg": 1}[unit]
    assert telling.value_mg == round(Fraction(number) * factor)


@pytest.mark.parametrize("name", sorted(installed_formats()))
def test_every_format_has_samples_and_reads_them(name: str) -> None:
    line_format = installed_formats()[name]
    grammar = LineGrammar(line_format)
    assert len(line_format.samples) >= 5
    for sample in line_format.samples:
        telling = grammar.read(sample.line.encode())
        assert telling is not None, sample
        assert Sample(sample.line, *telling[:4]) == sample


@pytest.mark.parametrize("name", sorted(installed_formats()))
def test_a_line_that_fits_in_part_says_nothing(name: str) -> None:
    """Each sample with its unit cut away, with a digit turned into a letter, or with junk in front or behind."""
    line_format = installed_formats()[name]
    grammar = LineGrammar(line_format)
    for sample in line_format.samples:
        if sample.value_mg is None:
            continue
        line = sample.line.encode()
        without_unit = re.sub(rb"(?<=[0-9 ])(kg|mg|g|oz|lb)(?![a-z]).*$", b"", line)
        assert (without_unit == line) == (line_format.unit is not None)
        without_unit = without_unit if line_format.unit is None else b""
        for broken in (without_unit, re.sub(rb"[0-9]", b"o", line, count=1), b"x" + line, line + b"x", b"\0" + line):
            assert grammar.read(broken) is None, broken


@pytest.mark.parametrize("text", [b"", b" ", b"g", b"+ g", b"-- g-- g", b"ST,GS", b"ST,GS, g", b"12.34.5 g", b"1 2 g"])
def test_what_is_no_line_says_nothing(text: bytes) -> None:
    assert all(LineGrammar(line_format).read(text) is None for line_format in installed_formats().values())


def test_over_capacity_shows_no_weight_even_where_digits_are_sent() -> None:
    telling = LineGrammar(installed_formats()["header"]).read(b"OL,GS,+99999.9 g")
    assert telling is not None
    assert telling.value_mg is None
    assert telling.state == "over capacity"


def test_the_last_digit_is_a_hint_of_the_division() -> None:
    grammar = LineGrammar(installed_formats()["header"])
    shown = [grammar.read(line) for line in (b"ST,GS,+00123.4 g", b"ST,GS,+00123.45 g", b"ST,GS,+001.234 kg")]
    assert [telling and telling.shown_division_mg for telling in shown] == [100, 10, 1_000]


def test_a_long_line_of_blanks_does_not_take_long() -> None:
    """A template with several runs of blanks must not try every way to share them out: linear, not cubic, in length."""
    grammar = LineGrammar(installed_formats()["plain"])
    assert grammar.read(b" " * LONGEST_LINE) is None
    assert grammar.read(b" " * 200_000 + b"x") is None


OWN = """
tap:
  says: a weight with a comma, the unit not told
  shape: plain
  unit: g
  decimal: ","
  lines: ["#{sign} {number}{rest}", "#{full}"]
  flags:
    rest: {"!": settled, "": in motion}
    full: {MAX: over capacity}
  samples:
    - {line: "#- 12,50!", weight: -12.5 g, motion: settled}
    - {line: "#12,50", weight: 12.5 g, motion: in motion}
    - {line: "#MAX", weight: none, range: over capacity}
"""


def test_a_new_format_is_a_mapping_and_no_code() -> None:
    own = formats_from_text(OWN, "own.yaml")["tap"]
    telling = LineGrammar(own).read(b"#  7,25!")
    assert telling is not None
    assert (telling.value_mg, telling.in_motion, telling.shown_division_mg) == (7_250, False, 10)
    assert mapping_from_format(own)["decimal"] == ","
    assert mapping_from_format(own)["unit"] == "g"


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ("{number}{rest}", "{number}{test}", "own.yaml:3:3", "{test}"),
        ("{number}{rest}", "{number}[x", "own.yaml:3:3", "bracket"),
        ("  unit: g\n", "", "own.yaml:3:3", "{unit}"),
        ("weight: 12.5 g", "weight: 12.4 g", "own.yaml:3:3", "12500"),
        ("weight: 12.5 g", "weight: 12.5 ml", "own.yaml:13:32", "no mass"),
        ("over capacity}\n  samples", "too much}\n  samples", "own.yaml:10:17", "too much"),
        ("shape: plain", "shape: plane", "own.yaml:4:10", "plain"),
        ("unit: g", "unit: st", "own.yaml:5:9", "st"),
        ("says:", "tells:", "own.yaml:3:3", "unknown key"),
        ('"#{full}"', '"#{sign}"', "own.yaml:3:3", "{number}"),
    ],
)
def test_a_mistake_in_a_format_has_its_place(old: str, new: str, place: str, says: str) -> None:
    assert old in OWN
    with pytest.raises(Mistakes) as mistakes:
        formats_from_text(OWN.replace(old, new, 1), "own.yaml")
    assert any(str(one).startswith(place) and says in str(one) for one in mistakes.value.mistakes), str(mistakes.value)
