"""The rules of the house that a linter does not know, each shown to catch a planted fault."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE"} | {
    "scaled", "firmware_notes", "tests", "recipes", "systemd", ".ci", ".gitignore"
}  # fmt: skip
LONGEST_FILE = 400
LONGEST_FUNCTION = 60
ROOMS = ("batch", "config", "cues", "daemon", "demo", "formula", "instruments", "page", "records", "simulator")
VAGUE = {"util", "utils", "helper", "helpers", "manager", "handler", "handlers", "data", "misc", "common"}
NOT_OURS = [
    r"/(?:root|home)/\w",  # somebody's machine
    r"/wor" + r"k/(?:main|shared|\.)",
    r"\.\./shar" + r"ed\b",
    r"(?:py" + r"pi\.|pythonhosted|deb\.debian|npmjs\.)[\w.]*(?:org|com)",  # a registry's host
]
Gate = Callable[[str, Path], Iterator[str]]


def dotted(node: ast.AST) -> str:
    """`a.b.c` of a chain of attributes, as it is written."""
    return ast.unparse(node) if isinstance(node, ast.Attribute | ast.Name) else ""


def clocks(text: str, file: Path) -> Iterator[str]:
    """The wall clock and the machine's timers are asked in clock.py only."""
    if file.name == "clock.py":
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Attribute) and re.search(r"\bdate(time)?\.(now|utcnow|today)$", dotted(node)):
            yield f"{file}:{node.lineno}: {dotted(node)}"
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        if "time" in names or (isinstance(node, ast.ImportFrom) and node.module == "time"):
            yield f"{file}:{node.lineno}: imports time"


def mocks(text: str, file: Path) -> Iterator[str]:
    """Nothing is patched: fakes are real back ends that ship."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import) and any(
            alias.name.startswith(("unittest.mock", "mock")) for alias in node.names
        ):
            yield f"{file}:{node.lineno}: imports a mock"
        if isinstance(node, ast.ImportFrom):
            whole = [f"{node.module}.{alias.name}" for alias in node.names]
            if any(re.match(r"(unittest\.)?mock\b|pytest_mock", name) for name in whole):
                yield f"{file}:{node.lineno}: imports a mock"
        if isinstance(node, ast.Attribute) and dotted(node) in ("monkeypatch.setattr", "monkeypatch.setitem"):
            yield f"{file}:{node.lineno}: {dotted(node)}"


def sleeps(text: str, file: Path) -> Iterator[str]:
    """A test waits on a condition with a deadline, never for a time."""
    waits = re.compile(r"\b(time|asyncio|trio)\.sleep$|^sleep$|\.wait_for_timeout$")
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call) and waits.search(ast.unparse(node.func)):
            yield f"{file}:{node.lineno}: sleeps"


def sizes(text: str, file: Path) -> Iterator[str]:
    """Small files with one subject, small functions, and names that say which."""
    if (lines := text.count("\n")) > LONGEST_FILE:
        yield f"{file}: {lines} lines"
    if VAGUE & set(file.stem.split("_")):
        yield f"{file}: a name that says nothing"
    for node in ast.walk(ast.parse(text)) if file.suffix == ".py" else ():
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if (lines := (node.end_lineno or 0) - node.lineno + 1) > LONGEST_FUNCTION:
            yield f"{file}:{node.lineno}: {node.name} has {lines} lines"


def fronts(text: str, file: Path) -> Iterator[str]:
    """A module opens with what it is for."""
    if not ast.get_docstring(ast.parse(text)):
        yield f"{file}: does not say what it is for"


def printers(text: str, file: Path) -> Iterator[str]:
    """Commands print by printing.py, so that nothing that came from outside steers a terminal."""
    prints = re.compile(r"\bs?echo(_via_pager)?$|\.stdout\.write$|^print$")
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call) and prints.search(dotted(node.func)):
            yield f"{file}:{node.lineno}: prints by itself"


def strangers(text: str, file: Path) -> Iterator[str]:
    """Nothing names a machine's folders, a neighbouring folder or a registry's host."""
    for pattern in NOT_OURS:
        for match in re.finditer(pattern, text):
            yield f"{file}: {match.group()}"


def tracked() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [Path(name) for name in listed.split("\0") if name and (ROOT / name).is_file()]


def found(gate: Gate, pattern: str, but: tuple[str, ...] = ()) -> list[str]:
    """What the gate finds in the tracked files whose path matches."""
    files = [file for file in tracked() if re.fullmatch(pattern, str(file)) and not str(file).startswith(but)]
    assert files, f"no file matches {pattern}"
    return [line for file in files for line in gate((ROOT / file).read_text(), file)]


def test_the_clock_is_asked_in_one_place() -> None:
    assert found(clocks, r"scaled/.*\.py") == []


def test_nothing_is_mocked() -> None:
    assert found(mocks, r"(tests|scaled)/.*\.py") == []


def test_no_test_sleeps() -> None:
    assert found(sleeps, r"tests/.*\.py", but=("tests/performance/",)) == []


def test_files_and_functions_are_small() -> None:
    assert found(sizes, r"scaled/.*\.(py|js|css|html|sql)") == []
    assert found(sizes, r"tests/.*\.py") == []


def test_every_module_says_what_it_is_for() -> None:
    assert found(fronts, r"(scaled|tests)/.*\.py") == []


def test_commands_print_by_one_module() -> None:
    assert found(printers, r"scaled/commands/.*\.py", but=("scaled/commands/printing.py",)) == []


def unnamed(room: Path) -> list[str]:
    """The modules of a room that its front does not name."""
    named = set(re.findall(r"`(\w+)`", (room / "__init__.py").read_text()))
    return sorted(file.stem for file in room.glob("*.py") if file.stem not in named | {"__init__"})


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_names_all_that_is_in_it(room: str, tmp_path: Path) -> None:
    assert unnamed(ROOT / "scaled" / room) == []
    (tmp_path / "__init__.py").write_text((ROOT / "scaled" / room / "__init__.py").read_text())
    (tmp_path / "planted.py").touch()
    assert unnamed(tmp_path) == ["planted"]


def test_the_project_stands_alone() -> None:
    assert found(strangers, r".*\.(py|md|toml|ya?ml|sh|txt|html|js|css|sql|service|conf|rules|csv)|\.ci/run") == []


def test_the_top_of_the_repository_is_tidy() -> None:
    assert {file.parts[0] for file in tracked()} <= TOP


@pytest.mark.parametrize(
    ("gate", "text", "line"),
    [
        (clocks, "import time\n", "x.py:1: imports time"),
        (clocks, "def f():\n    from time import monotonic\n", "x.py:2: imports time"),
        (clocks, "import datetime\nt = datetime.datetime.now()\n", "x.py:2: datetime.datetime.now"),
        (clocks, "from datetime import date\nt = date.today()\n", "x.py:2: date.today"),
        (mocks, "from unittest import mock\n", "x.py:1: imports a mock"),
        (mocks, "import unittest.mock\n", "x.py:1: imports a mock"),
        (mocks, "from unittest.mock import patch\n", "x.py:1: imports a mock"),
        (mocks, "def test(monkeypatch):\n    monkeypatch.setattr(a, 'b', 1)\n", "x.py:2: monkeypatch.setattr"),
        (sleeps, "import time\ntime.sleep(1)\n", "x.py:2: sleeps"),
        (sleeps, "from time import sleep\nsleep(0.1)\n", "x.py:2: sleeps"),
        (sleeps, "page.wait_for_timeout(100)\n", "x.py:1: sleeps"),
        (sizes, "\n" * 401, "x.py: 401 lines"),
        (sizes, "def f():\n" + "    pass\n" * 60, "x.py:1: f has 61 lines"),
        (fronts, "import ast\n", "x.py: does not say what it is for"),
        (fronts, "", "x.py: does not say what it is for"),
        (printers, "import click\nclick.echo('ready')\n", "x.py:2: prints by itself"),
        (printers, "print('ready')\n", "x.py:1: prints by itself"),
        (printers, "sys.stdout.write('ready')\n", "x.py:1: prints by itself"),
        (strangers, "see /wor" + "k/main/x", "x.py: /wor" + "k/main"),
        (strangers, "../shar" + "ed/reference", "x.py: ../shar" + "ed"),
        (strangers, "https://py" + "pi.org/simple", "x.py: py" + "pi.org"),
    ],
)
def test_each_gate_finds_its_planted_fault(gate: Gate, text: str, line: str) -> None:
    assert list(gate(text, Path("x.py"))) == [line]


@pytest.mark.parametrize("name", ["utils.py", "page_helpers.py", "data.py"])
def test_a_name_that_says_nothing_is_found(name: str) -> None:
    assert list(sizes("", Path(name))) == [f"{name}: a name that says nothing"]


@pytest.mark.parametrize("gate", [clocks, mocks, sleeps, sizes, fronts, printers, strangers])
def test_each_gate_lets_pass_what_is_right(gate: Gate) -> None:
    right = '"""What is right."""\nfrom datetime import datetime\n\n\n'
    right += "def f(clock):\n    clock.sleep(1)\n    return datetime(2031, 2, 3)\n"
    assert list(gate(right, Path("scaled/weighing/rest.py"))) == []
