"""Mistakes, seen from outside: the exit code, one line an error with its place, no traceback, nothing on stdout."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from contract_command import Answer, called, scaled

LINE = "formula: A\nstages:\n  - stage: a\n    additions:\n      - {%s}\n"

# The text of a file, and where its first mistake is.
FILES: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "1:1"),
    "not UTF-8": ("formula: Crème\n".encode("latin-1"), "1:12"),
    "control character": (b"formula: A\0B\n", "1:11"),
    "aliases": (b"a: &a [x]\nb: [*a]\n", "1:4"),
    "deep": (b"formula: " + b"[" * 5000 + b"]" * 5000, "1:"),
    "two documents": (b"formula: A\n---\nformula: B\n", "2:1"),
    "a tag": (b"formula: !!python/object/apply:os.system ['true']\n", "1:10"),
    "a list": (b"- a\n", "1:1"),
    "a tab": (b"formula: A\n\tstages: x\n", "2:1"),
    "backwards limits": (
        b"formula: A\nlimits: {factor: 1.25 to 0.8}\n" + LINE.encode()[11:] % b"ingredient: x, weight: 5 g",
        "2:18",
    ),
    "no pieces": (b"formula: A\npieces: 0\n" + LINE.encode()[11:] % b"ingredient: x, weight: 5 g", "2:9"),
}

# One addition, and the column of its mistake in line 5.
ADDITIONS: dict[str, tuple[str, int]] = {
    "decimal comma": ('ingredient: flour, weight: "1,5 g"', 37),
    "no unit": ("ingredient: flour, weight: 300", 37),
    "negative": ("ingredient: flour, weight: -3 g", 37),
    "nothing": ("ingredient: flour, weight: 0 g", 37),
    "absurd": ("ingredient: flour, weight: 100000 kg", 37),
    "a volume without density": ("ingredient: zzz, weight: 100 ml", 35),
    "not a number": ("ingredient: flour, weight: nan g", 37),
    "unknown key": ("ingredient: flour, wieght: 1 g", 29),
    "twice": ("ingredient: flour, weight: 1 g, weight: 2 g", 42),
    "tolerance without sign": ("ingredient: flour, weight: 1 g, tolerance: 1 %", 53),
    "true for yes": ("ingredient: flour, weight: 1 g, flour: true", 49),
    "by feel backwards": ("ingredient: water, by feel: 260 to 200 g", 38),
}


def is_clean(answer: Answer) -> bool:
    return "Traceback" not in answer.err and answer.err.endswith("\n") and "\n\n" not in answer.err


@pytest.mark.parametrize("name", FILES)
def test_a_bad_file_is_named_with_its_place(name: str, tmp_path: Path) -> None:
    text, place = FILES[name]
    file = tmp_path / "bad.yaml"
    file.write_bytes(text)
    for said in (("plan", file, "--json"), ("correct", file, "--in", "x=1 g", "--json")):
        answer = called("formula", *said)
        assert (answer.code, answer.out) == (1, "")
        assert is_clean(answer)
        assert any(line.startswith(f"{file}:{place}") for line in answer.errors), answer.errors


@pytest.mark.parametrize("name", ADDITIONS)
def test_a_bad_addition_is_named_with_its_column(name: str, tmp_path: Path) -> None:
    addition, column = ADDITIONS[name]
    file = tmp_path / "bad.yaml"
    file.write_text(LINE % addition, encoding="utf-8")
    answer = called("formula", "check", file)
    assert answer.code == 1
    assert [line.split(": ")[0] for line in answer.errors] == [f"{file}:5:{column}"]


def test_every_mistake_of_a_file_is_told(tmp_path: Path) -> None:
    file = tmp_path / "bad.yaml"
    file.write_text(
        LINE % "ingredient: flour, weight: -3 g" + "      - {ingredient: salt, wieght: 3 g}\n", encoding="utf-8"
    )
    places = [line.split(": ")[0].removeprefix(f"{file}:") for line in called("formula", "check", file).errors]
    assert places[0] == "5:37"
    assert "6:28" in places


@pytest.mark.parametrize(
    ("said", "code"),
    [
        (("formula", "plan", "{folder}"), 2),
        (("formula", "check", "{folder}/none.yaml"), 2),
        (("formula", "plan", "{good}", "--factor", "1,5"), 2),
        (("formula", "plan", "{good}", "--factor", "nan"), 2),
        (("formula", "plan", "{good}", "--factor", "1/0"), 2),
        (("formula", "plan", "{good}", "--factor", "1", "--pieces", "3"), 2),
        (("formula", "plan", "{good}", "--have", "nope=1 g"), 2),
        (("formula", "correct", "{good}", "--in", "nope=1 g"), 2),
        (("formula", "correct", "{good}", "--in", "flour=1 g"), 2),
        (("formula", "correct", "{good}", "--in", "oat=1 g", "--tubs", "--mixed"), 2),
        (("formula", "correct", "{good}", "--in", "oat=1 g", "--closed", "nope"), 2),
        (("replay", "{good}", "--signal"), 2),
        (("replay", "{folder}/none.csv", "--formula", "{good}"), 2),
        (("demo", "--case", "nope"), 2),
        (("demo", "--speed", "nan"), 2),
        (("scale", "listen", "{folder}/none"), 69),
        (("batch", "list", "--config", "{folder}/none.yaml"), 78),
        (("batch", "list", "--json"), 78),
        (("run",), 78),
        (("formula",), 2),
        (("nope",), 2),
        ((), 2),
    ],
)
def test_wrong_usage_is_one_line_and_its_code(
    said: tuple[str, ...], code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = tmp_path / "good.yaml"
    good.write_text(
        LINE % "ingredient: oat flour, weight: 5 g" + "      - {ingredient: rye flour, weight: 5 g}\n", encoding="utf-8"
    )
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv("SCALED_CONFIG", raising=False)
    answer = called(*(part.format(folder=tmp_path, good=good) for part in said))
    assert (answer.code, answer.out) == (code, "")
    assert is_clean(answer)
    assert len(answer.errors) == 1


def test_names_ignore_case_and_a_word_is_enough(tmp_path: Path) -> None:
    good = tmp_path / "good.yaml"
    good.write_text(
        LINE % "ingredient: oat flour, weight: 5 g" + "      - {ingredient: rye flour, weight: 5 g}\n", encoding="utf-8"
    )
    whole = called("formula", "correct", good, "--in", "rye flour=6 g", "--json")
    assert whole.code == 0
    assert called("formula", "correct", good, "--in", "RYE=6 g", "--json").out == whole.out
    many = called("formula", "correct", good, "--in", "flour=6 g")
    assert (many.code, "oat flour" in many.err, "rye flour" in many.err) == (2, True, True)


def test_the_program_itself_tells_a_mistake_in_one_line(tmp_path: Path) -> None:
    file = tmp_path / "bad.yaml"
    file.write_text(LINE % 'ingredient: flour, weight: "1,5 g"', encoding="utf-8")
    answer = scaled("formula", "plan", file, "--json")
    assert (answer.code, answer.out, len(answer.errors)) == (1, "", 1)
    assert answer.err.startswith(f"{file}:5:37: ")


def test_the_settings_are_found_in_the_order_that_is_promised(tmp_path: Path) -> None:
    """`--config` before `SCALED_CONFIG` before the user's own folder; a mistake has its place and ends with 78."""
    for name in ("told", "named"):
        (tmp_path / f"{name}.yaml").write_text(f"{name}: 1\n", encoding="utf-8")
    (tmp_path / "scaled").mkdir()
    (tmp_path / "scaled" / "scaled.yaml").write_text("\nown: 1\n", encoding="utf-8")
    env = {"PATH": os.environ["PATH"], "HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path)}
    named = {**env, "SCALED_CONFIG": str(tmp_path / "named.yaml")}
    told = scaled("batch", "list", "--config", tmp_path / "told.yaml", env=named)
    assert (told.code, f"{tmp_path}/told.yaml:1:1: unknown key 'told'" in told.err) == (78, True)
    by_name = scaled("batch", "list", env=named)
    assert (by_name.code, f"{tmp_path}/named.yaml:1:1: unknown key 'named'" in by_name.err) == (78, True)
    own = scaled("batch", "list", env=env)
    assert (own.code, f"{tmp_path}/scaled/scaled.yaml:2:1: unknown key 'own'" in own.err) == (78, True)
