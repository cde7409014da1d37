"""Odd and hostile files and words, as they reach `scaled formula`: what is refused, in one line, with which code."""

import json
import subprocess
import sys
from fractions import Fraction

import pytest

from scaled.errors import Mistakes

DOUGH = """\
formula: Test dough
pieces: 8
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 240 g, tolerance: ±1 %, flour: yes}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g}
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
  - stage: late
    additions:
      - {ingredient: wheat flour, weight: 60 g, tolerance: ±1 %, flour: yes}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %}
"""
HIDDEN = ("\\0", "\\n", "\\t", "\\a", "\\u200b", "\\u200f", "\\u202e", "\\u2066", "\\u2028", "\\u00ad", "\\ufeff")


@pytest.fixture
def scaled(tmp_path):
    """Run `scaled formula ...` as it is installed, in a folder of its own; exit code, stdout and stderr."""
    (tmp_path / "dough.yaml").write_text(DOUGH, encoding="utf-8")

    def run(*arguments):
        done = subprocess.run(
            [sys.executable, "-m", "scaled", "formula", *arguments],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert "Traceback" not in done.stderr
        return done.returncode, done.stdout, done.stderr

    return run


def test_a_caution_and_a_step_do_not_steer_the_terminal(scaled, tmp_path):
    """OSC 0, which names the window, and CSI as one character (ECMA-48, 5.4 and 8.3.89)."""
    steered = DOUGH.replace("220 g, tolerance: ±1 %", '220 g, tolerance: ±1 %, caution: "cold\\e]0;mine\\a"')
    steps = 'steps: [{do: "chill\\x9b2J"}, {do: "bake \\u202e52"}]\n'
    (tmp_path / "steering.yaml").write_text(steered + steps, encoding="utf-8")
    code, out, err = scaled("plan", "steering.yaml")
    assert (code, err) == (0, "")
    assert "cold?]0;mine?" in out
    assert "chill?2J" in out
    assert "bake ?52" in out
    assert all(character.isprintable() for character in out.replace("\n", ""))


class TestNames:
    @pytest.mark.parametrize("hidden", HIDDEN)
    @pytest.mark.parametrize(
        ("before", "line", "column"),
        [("formula: Test", 1, 10), ("stage: late", 9, 12), ("ingredient: sea salt", 7, 22)],
    )
    def test_what_cannot_be_seen_stands_in_no_name(self, read, before, line, column, hidden):
        key, _, called = before.partition(": ")
        wrong = DOUGH.replace(before, f'{key}: "{called[:2]}{hidden}{called[2:]}"').replace('" dough', ' dough"')
        with pytest.raises(Mistakes) as caught:
            read(wrong)
        places = {(told.place.line, told.place.column) for told in caught.value.mistakes}
        assert (line, column) in places, str(caught.value)
        assert "U+" in str(caught.value)

    @pytest.mark.parametrize("called", ["crème fraîche", "می\u200cخواهم", "Grieß 405", "egg 🥚", "sucre\u00a0glace"])
    def test_what_people_write_does(self, read, called):
        assert " ".join(called.split()) in {
            addition.ingredient for addition in read(DOUGH.replace("butter", called)).formula.weighed
        }

    @pytest.mark.parametrize("called", ["crème fraîche", "می\u200cخواهم", "Grieß 405", "egg 🥚"])
    def test_they_are_shown_as_they_were_written(self, scaled, tmp_path, called):
        (tmp_path / "other.yaml").write_text(DOUGH.replace("butter", called), encoding="utf-8")
        code, out, err = scaled("plan", "other.yaml")
        assert (code, err) == (0, "")
        assert f"  {called}  " in out

    def test_a_name_with_its_stage_is_taken_by_every_option(self, scaled):
        for words, factor in [
            ("wheat flour (dry)=430 g", "43/24"),
            ("Wheat  Flour (LATE)=30 g", "1/2"),
            ("flour (dry)=480 g", "2"),
            ("butter (dry)=430 g", "43/22"),
            ("wheat flour=300 g", "1"),
            ("flour=300 g", "1"),
        ]:
            code, out, err = scaled("plan", "dough.yaml", "--json", "--have", words)
            assert (code, err) == (0, "")
            assert json.loads(out)["factor_exact"] == factor
        for inside, stock in [("wheat flour (late)=66 g", "butter (dry)=0 g"), ("flour (late)=66 g", "butter=0 g")]:
            code, out, err = scaled("correct", "dough.yaml", "--json", "--in", inside, "--stock", stock)
            assert (code, err) == (0, "")
            bowl = json.loads(out)["offers"][-1]["bowl"]
            assert list(bowl) == ["wheat flour (dry)", "sea salt", "butter", "wheat flour (late)", "whole egg"]
        code, out, err = scaled("correct", "dough.yaml", "--in", "wheat flour=66 g")
        assert (code, out, len(err.splitlines())) == (2, "", 1)
        assert "say which of wheat flour (dry), wheat flour (late)" in err


class TestTolerances:
    @pytest.mark.parametrize(
        "text", ["±100 %", "±101 %", "+2 % / -100 %", "±3 g", "±3.1 g", "+1 g / -4 g", "+101 % / -1 %"]
    )
    def test_a_band_that_reaches_nothing_is_none(self, read, text):
        with pytest.raises(Mistakes) as caught:
            read(DOUGH.replace("±0.3 g", text))
        assert str(caught.value).startswith("dough.yaml:7:56: tolerance: ")
        assert len(caught.value.mistakes) == 1

    @pytest.mark.parametrize("text", ["±99 %", "+100 % / -0 %", "±2.999 g", "+10 g / -1 g"])
    def test_a_wide_one_is_one(self, read, text):
        addition = read(DOUGH.replace("±0.3 g", text)).formula.weighed[1]
        assert addition.band_mg(Fraction(1))[0] >= 1


class TestFactors:
    @pytest.mark.parametrize(
        "wish",
        [
            ("--factor", "0"), ("--factor", "1e400"), ("--factor", "nan"), ("--factor", "1000.1"), ("--factor", "1/0"),
            ("--factor", "0.0009"), ("--factor", "9" * 5000), ("--pieces", "0"), ("--pieces", "-3"),
            ("--pieces", "0.007"), ("--pieces", "8001"), ("--pieces", "8,5"), ("--mass", "1 mg"), ("--mass", "0 g"),
            ("--mass", "\N{MINUS SIGN}2 kg"), ("--mass", "574 kg"), ("--mass", "2.4"), ("--have", "butter=0.1 g"),
            ("--have", "butter=900 kg"), ("--have", "butter=0 g"), ("--have", "butter=1,2 kg"),
        ],
    )  # fmt: skip
    def test_what_makes_no_batch_is_wrong_usage(self, scaled, wish):
        code, out, err = scaled("plan", "dough.yaml", *wish)
        assert (code, out, len(err.splitlines())) == (2, "", 1)

    @pytest.mark.parametrize("wish", [("--factor", "0.001"), ("--factor", "1000"), ("--pieces", "8000")])
    def test_the_ends_are_within_the_bounds(self, scaled, wish):
        assert scaled("plan", "dough.yaml", "--json", *wish)[0] == 0

    @pytest.mark.parametrize("limits", ["0.0009 to 2", "0.5 to 1001", "0 to 2", "1.1 to 2"])
    def test_limits_have_the_same_bounds(self, read, limits):
        with pytest.raises(Mistakes, match=r"^dough\.yaml:2:18: factor: "):
            read(DOUGH.replace("pieces: 8", f"limits: {{factor: {limits}}}"))


PLAIN = DOUGH.encode()
FILES = [
    ("empty", b"", 1, "1:1: "),
    ("only a mark", b"\xef\xbb\xbf", 1, "1:1: "),
    ("with a mark", b"\xef\xbb\xbf" + PLAIN, 0, ""),
    ("lines end with CR and LF", PLAIN.replace(b"\n", b"\r\n"), 0, ""),
    ("tabs", PLAIN.replace(b"      - {ingredient: sea", b"\t- {ingredient: sea"), 1, "7:1: "),
    ("a minus that is a dash", PLAIN.replace(b"240 g", b"\xe2\x88\x92240 g"), 1, "6:43: "),
    ("a decimal comma", PLAIN.replace(b"240 g", b"'0,24 kg'"), 1, "6:43: "),
    ("an anchor", PLAIN.replace(b"weight: 240 g", b"weight: &w 240 g"), 1, "6:43: "),
    ("an alias", PLAIN.replace(b"weight: 240 g", b"weight: *w"), 1, "6:43: "),
    ("a tag", PLAIN.replace(b"pieces: 8", b"pieces: !!python/object:os.system 8"), 1, "2:9: "),
    ("a key twice", PLAIN.replace(b"pieces: 8", b"pieces: 8\npieces: 9"), 1, "3:1: "),
    ("two documents", PLAIN + b"---\n" + PLAIN, 1, "13:1: "),
    ("a control character", PLAIN.replace(b"Test", b"Te\x00st"), 1, "1:12: "),
    ("UTF-16", DOUGH.encode("utf-16"), 1, "1:1: "),
    ("Latin-1", DOUGH.encode("latin-1"), 1, "6:61: "),
    ("too long", b"# " + b"x" * 1_000_001, 1, "1:1: "),
    ("nested deep", b"formula: " + b"[" * 100_000, 1, "1:"),
    ("a huge number", PLAIN.replace(b"240 g", b"1" + b"0" * 9_000 + b" g"), 1, "6:43: "),
    ("an exponent", PLAIN.replace(b"240 g", b"1e99999999 g"), 1, "6:43: "),
]


COMMANDS = (("check",), ("plan", "--json"), ("correct", "--in", "egg=57 g", "--json"))


@pytest.mark.parametrize("number", range(len(FILES)), ids=[name for name, *_ in FILES])
def test_odd_files(scaled, tmp_path, number):
    """Each by one of the three commands, which read files in one way."""
    _, content, code, place = FILES[number]
    (tmp_path / "odd.yaml").write_bytes(content)
    command = COMMANDS[number % len(COMMANDS)]
    found, out, err = scaled(*command, "odd.yaml")
    assert found == code, err
    if code:
        assert out == ""
        assert len(err.splitlines()) == 1, err
        assert err.startswith(f"odd.yaml:{place}")
    else:
        assert err == ""
        assert out.replace("odd", "dough") == scaled(*command, "dough.yaml")[1]


@pytest.mark.parametrize("command", [("check",), ("plan",), ("correct", "--in", "egg=57 g")])
def test_what_is_no_file_is_wrong_usage(scaled, tmp_path, command):
    (tmp_path / "folder.yaml").mkdir()
    (tmp_path / "dangling.yaml").symlink_to("nowhere.yaml")
    (tmp_path / "loop.yaml").symlink_to("loop.yaml")
    for name in ("missing.yaml", "folder.yaml", "dangling.yaml", "loop.yaml", "dough.yaml/x", "", "x\0.yaml"[:1] * 300):
        code, out, err = scaled(*command, name)
        assert (code, out, len(err.splitlines())) == (2, "", 1), name
    (tmp_path / "link.yaml").symlink_to("dough.yaml")
    assert scaled(*command, "link.yaml")[0] == 0


@pytest.mark.parametrize(
    "words",
    [
        (), ("--in", "egg"), ("--in", "egg=57"), ("--in", "egg=57,5 g"), ("--in", "=57 g"), ("--in", "egg=57 ml"),
        ("--in", "egg=1e9 kg"), ("--in", "egg=57 g", "--in", "whole egg=1 g"), ("--in", "lard=57 g"),
        ("--in", "egg=57 g", "--closed", "nowhere"), ("--in", "egg=57 g", "--capacity", "-1 g"),
        ("--in", "egg=57 g", "--stock", "egg"), ("--in", "egg=57 g", "--tubs", "--mixed"),
        ("--in", "egg=57 g", "--factor", "1/0"), ("--in", "egg=57 g", "extra"), ("--frobnicate",),
    ],
)  # fmt: skip
def test_wrong_words_for_a_correction(scaled, words):
    code, out, err = scaled("correct", "dough.yaml", *words)
    assert (code, out, len(err.splitlines())) == (2, "", 1)
