"""The page's words: a sentence and a shape for every cue that the bench can give."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

from scaled.batch.cue import CueWord
from scaled.page import assets

ASSETS = Path(assets.__file__).parent / "assets"


def cues_of(words: str) -> dict[str, tuple[str, str]]:
    """The table `CUES`: for each cue its sentence and the name of its shape."""
    (table,) = re.findall(r"^export const CUES = \{\n(.*?)^\};", words, flags=re.M | re.S)
    rows = re.findall(r'^  "?([^":]+)"?: \["([^"]*)", "(\w+)"\],$', table, flags=re.M)
    assert len(rows) == table.count("\n")
    return {word: (sentence, shape) for word, sentence, shape in rows}


def wordless(words: str, shapes: str) -> list[str]:
    """What is wrong with the table: cues without words, words without a cue, shapes that are not drawn."""
    (paths,) = re.findall(r"^const PATHS = \{\n(.*?)^\};", shapes, flags=re.M | re.S)
    drawn = set(re.findall(r"^  (\w+): ", paths, flags=re.M))
    cues, known = cues_of(words), set(get_args(CueWord))
    return [
        *(f"'{word}' has no words" for word in sorted(known - cues.keys())),
        *(f"'{word}' is no cue" for word in sorted(cues.keys() - known)),
        *(f"'{word}' says nothing" for word, (sentence, _) in cues.items() if not sentence and word != "idle"),
        *(f"no shape '{shape}'" for _, shape in cues.values() if shape not in drawn),
    ]


def test_every_cue_has_its_words_and_its_shape() -> None:
    words, shapes = (ASSETS / "words.js").read_text(), (ASSETS / "shapes.js").read_text()
    assert wordless(words, shapes) == []


def test_a_cue_without_words_is_found() -> None:
    words, shapes = (ASSETS / "words.js").read_text(), (ASSETS / "shapes.js").read_text()
    planted = words.replace('  stop: ["Stop", "stop"],', '  halt: ["", "halt"],')
    assert wordless(planted, shapes) == [
        "'stop' has no words",
        "'halt' is no cue",
        "'halt' says nothing",
        "no shape 'halt'",
    ]
