"""The lines that the notes for scale builders show are read as they stand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from scaled.instruments.formats import installed_formats
from scaled.instruments.line_format import LineGrammar

NOTES = sorted((Path(__file__).parents[2] / "firmware_notes").glob("*.md"))
BLOCK = re.compile(r"^```(header|plain)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(note: Path) -> list[tuple[str, list[str]]]:
    return [(kind, text.splitlines()) for kind, text in BLOCK.findall(note.read_text(encoding="utf-8"))]


@pytest.mark.parametrize("note", NOTES, ids=lambda note: note.name)
def test_the_lines_of_a_note_are_read(note: Path) -> None:
    for kind, lines in blocks(note):
        grammar = LineGrammar(installed_formats()[kind])
        for line in lines:
            assert grammar.read(line.encode()) is not None, line


def test_there_are_lines_to_read() -> None:
    assert sum(len(lines) for note in NOTES for _, lines in blocks(note)) >= 10


def test_what_the_c_line_prints_is_the_header_format() -> None:
    """`%+08.1f` means the same in C and in Python: sign, zeros up to eight characters, one decimal."""
    (form,) = re.findall(r'printf\("(.*?)\\r\\n"', (NOTES[0].parent / "converter.md").read_text(encoding="utf-8"))
    lines = [form % ("US", grams) for grams in (0.0, -12.0, 123.45, 99999.9)]
    tellings = [LineGrammar(installed_formats()["header"]).read(line.encode()) for line in lines]
    assert [telling and telling.value_mg for telling in tellings] == [0, -12_000, 123_500, 99_999_900]
    assert len({len(line) for line in lines}) == 1
