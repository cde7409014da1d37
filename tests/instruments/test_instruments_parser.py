"""From bytes in any pieces to readings: nothing lost, nothing invented, nothing kept for ever."""

from __future__ import annotations

import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaled.instruments.formats import installed_formats
from scaled.instruments.line_format import LONGEST_LINE, LineFormat, Sample
from scaled.instruments.parser import FIRST_LINES, LINES_TO_RELEARN, LineParser
from scaled.weighing.values import Reading

# An item put down by hand on a 0.1 g bench scale, each value as often as it was sent (typed from the recording).
BY_HAND = [85.5] * 5 + [92.6, 88.8, 88.7, 93.1, 96.3] + [96.9] * 12 + [97.7, 100.8, 104.8, 106.8] + [106.2] * 5
BY_HAND_LINES = b"".join(b"%s,GS%8.1fg  \r\n" % (b"US" if g not in (85.5, 106.2) else b"ST", g) for g in BY_HAND)


def values(parser: LineParser, data: bytes) -> list[int | None]:
    return [reading.value_mg for reading in parser.feed(data, 1.0)]


def taught(line_format: LineFormat, line: bytes, **options: bool) -> LineParser:
    """A parser that has seen enough of this line to believe it."""
    parser = LineParser(line_format, **options)
    parser.feed((line + b"\r\n") * (FIRST_LINES + 1), 0.0)
    return parser


def expected() -> list[int]:
    """All but the first line, which may be cut, and two more that teach the form."""
    return [round(grams * 1000) for grams in BY_HAND][FIRST_LINES:]


def test_an_addition_by_hand_is_read_whole(header: LineFormat) -> None:
    parser = LineParser(header)
    assert values(parser, BY_HAND_LINES) == expected()
    assert (parser.counts.frames_ok, parser.counts.frames_bad) == (len(expected()), 0)


def test_it_is_read_the_same_byte_by_byte(header: LineFormat) -> None:
    parser = LineParser(header)
    found = [value for byte in BY_HAND_LINES for value in values(parser, bytes([byte]))]
    assert found == expected()


@settings(max_examples=60)
@given(st.lists(st.integers(1, 70), min_size=1, max_size=60))
def test_it_is_read_the_same_in_any_pieces(sizes: list[int]) -> None:
    parser = LineParser(installed_formats()["header"])
    found, rest = [], BY_HAND_LINES
    while rest:
        size = sizes[len(found) % len(sizes)]
        found += values(parser, rest[:size]) if size else []
        rest = rest[size:]
    assert found == expected()


def read(name: str, pieces: list[bytes]) -> list[Reading]:
    """What a new parser of the format of that name makes of bytes in these pieces."""
    parser = LineParser(installed_formats()[name])
    return [reading for piece in pieces for reading in parser.feed(piece, 1.0)]


SAMPLES = [(name, sample) for name, known in installed_formats().items() for sample in known.samples]


@pytest.mark.parametrize(("name", "sample"), SAMPLES)
def test_each_sample_is_read_whole_byte_by_byte_and_with_junk_around(name: str, sample: Sample) -> None:
    line = sample.line.encode("latin-1") + b"\r\n"
    lines = line * (FIRST_LINES + 4)
    whole = read(name, [lines])
    said = (sample.value_mg, sample.in_motion, sample.is_net, sample.state)
    assert {(reading.value_mg, reading.in_motion, reading.is_net, reading.state) for reading in whole} == {said}
    assert len(whole) >= 4
    assert read(name, [bytes([byte]) for byte in lines]) == whole
    around = read(name, [b"\x00\xff\x7f", lines, b"\xfe!" + line, lines, b"?\r\n", line[: len(line) // 2]])
    assert set(around) == set(whole)
    assert len(around) > len(whole)


@pytest.mark.parametrize(
    "junk", [b"\x00\x00\x7f\x7f", b"\xff" * 40, b"Booting...\r\nv1.2\r\n", b"\r\n\r\n\n\r", b"ST,GS,+0"]
)
def test_junk_before_and_after_changes_nothing(header: LineFormat, junk: bytes) -> None:
    parser = LineParser(header)
    line = b"ST,GS,+00123.4 g\r\n"
    found = values(parser, junk + line * 10 + junk)
    assert set(found) == {123_400}
    assert len(found) >= 10 - FIRST_LINES


@pytest.mark.parametrize("end", [b"\r\n", b"\r", b"\n", b"\n\r", b"\r\r\n"])
def test_any_end_of_line_will_do(header: LineFormat, end: bytes) -> None:
    parser = LineParser(header)
    data = (b"ST,GS,+00123.4 g" + end) * 6
    assert [value for byte in data for value in values(parser, bytes([byte]))] == [123_400] * (6 - FIRST_LINES)


def test_the_first_line_after_opening_is_never_trusted(plain: LineFormat) -> None:
    """`1123.4 g` of which the first digit was sent before the port was open reads as 123.4 g."""
    parser = LineParser(plain)
    found = values(parser, b"123.4 g\r\n" + b"   1123.4 g\r\n" * 5)
    assert set(found) == {1_123_400}


def test_after_a_reset_the_first_line_is_not_trusted_again(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00123.4 g")
    assert values(parser, b"ST,GS,+00123.5 g\r\n") == [123_500]
    parser.reset()
    assert values(parser, b"ST,GS,+00999.9 g\r\n") == []


def test_a_line_made_of_two_halves_is_no_line(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00123.4 g")
    assert values(parser, b"ST,GS,+0012ST,GS,+00123.4 g\r\n") == []
    assert values(parser, b"ST,GS,+00456.7\r\n g\r\n") == []
    assert values(parser, b"ST,GS,+0023.4 g\r\n") == [], "a digit lost: the line is shorter than this scale's are"
    assert parser.counts.frames_bad == 4


def test_a_scale_that_pads_is_held_to_its_length(plain: LineFormat) -> None:
    """` 23.4 g`, cut from a header or a longer number, fits `plain`: only the length tells."""
    parser = taught(plain, b"   123.4 g")
    assert values(parser, b"23.4 g\r\n" * (LINES_TO_RELEARN - 1)) == []
    assert values(parser, b"   123.4 g\r\n") == [123_400]
    assert values(parser, b"23.4 g\r\n" * LINES_TO_RELEARN) == [23_400], "eight in a row: the scale was changed"


def test_a_scale_that_does_not_pad_is_followed_from_the_second_line(plain: LineFormat) -> None:
    parser = taught(plain, b"99.8 g")
    assert values(parser, b"99.9 g\r\n100.0 g\r\n100.1 g\r\n100.2 g\r\n99.9 g\r\n99.8 g\r\n") == [
        99_900,
        100_100,
        100_200,
        99_800,
    ]


def test_more_decimals_or_another_unit_are_another_form(plain: LineFormat) -> None:
    parser = taught(plain, b"   123.4 g")
    assert values(parser, b"   12.34 g\r\n   123.4mg\r\n") == []
    assert values(parser, b"   0.500kg\r\n" * (LINES_TO_RELEARN + 1)) == [500_000, 500_000], "the unit key was pressed"


def test_over_capacity_needs_no_length(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00123.4 g")
    readings = parser.feed(b"OL\r\n", 2.0)
    assert [(reading.value_mg, reading.state) for reading in readings] == [(None, "over capacity")]


def test_a_result_that_must_come_twice_is_not_believed_once(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00305.0 g", each_twice=True)
    wild = b"ST,GS,+00052.0 g\r\n"
    good = b"ST,GS,+00305.0 g\r\n"
    assert values(parser, good + wild + good * 2 + b"ST,GS,+00306.0 g\r\n" * 2) == [305_000, 305_000, 306_000]


def test_a_line_without_end_is_not_kept(header: LineFormat) -> None:
    """Ten megabytes of noise with no end of a line: the parser holds one line at most, and counts the rest."""
    parser = taught(header, b"ST,GS,+00123.4 g")
    before = parser.counts.bytes_discarded
    for _ in range(100):
        assert values(parser, b"\xaa" * 100_000) == []
        assert len(parser._rest) <= LONGEST_LINE
    assert sys.getsizeof(parser._rest) < 1_000
    assert parser.counts.bytes_discarded - before == 10_000_000
    assert values(parser, b"tail\r\nST,GS,+00200.0 g\r\n") == [200_000], "what ends the noise is thrown away, no more"


def test_each_line_is_read_anew(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00000.0 g")
    for count in range(3_000):
        assert values(parser, b"ST,GS,+%07.1f g\r\n" % (count / 10)) == [count * 100]


def test_readings_carry_the_time_they_were_handed_in(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00123.4 g")
    readings = parser.feed(b"US,NT,+00001.0 g\r\n", 42.5)
    assert [(r.at, r.in_motion, r.is_net, r.shown_division_mg) for r in readings] == [(42.5, True, True, 100)]


def test_no_bytes_are_no_line(header: LineFormat) -> None:
    parser = taught(header, b"ST,GS,+00123.4 g")
    assert values(parser, b"ST,GS,+00123.4 g") == []
    assert values(parser, b"") == [], "the line has no end yet"
    assert values(parser, b"\r\n") == [123_400]
