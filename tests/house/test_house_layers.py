"""Which room may import which: the design's table, held by reading every import there is."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CORE = {"formula", "weighing", "batch"}
BASE = {"errors": "", "clock": "", "units": "errors", "marks": "errors", "shipped": "", "notify": "errors clock"}
ROOMS = BASE | {
    "formula": "errors units marks",
    "weighing": "errors",
    "batch": "formula weighing errors",
    "catalogue": "errors marks formula",
    "phrases": "errors marks formula",
    "instruments": "weighing errors clock units marks",
    "cues": "batch errors clock phrases",
    "records": "batch formula weighing errors clock timeline",
    "page": "batch errors clock phrases timeline",
    "simulator": "weighing batch clock errors",
    "timeline": "batch",
    "board": "batch",
    "trace": "weighing errors",
    "replay": "trace weighing batch formula errors",
}
WIRING = {"__init__", "__main__", "commands", "cli", "config", "daemon", "doctor", "demo"}
NO_SIMULATOR = {"daemon", "doctor"}
OUTSIDE = {
    "units": "pint",
    "marks": "yaml",
    "instruments": "serial",
    "cues": "gpiozero",
    "records": "segno",
    "page": "flask waitress werkzeug",
    "cli": "click",
    "commands": "click",
}
IMPURE = {"asyncio", "io", "logging", "os", "pathlib", "queue", "random", "secrets", "shutil", "socket"} | {
    "sqlite3", "subprocess", "sys", "tempfile", "threading", "time", "uuid"
}  # fmt: skip


def imports(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and dotted name of everything that is imported, wherever in the file; names in `scaled` in full."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            yield from ((node.lineno, f"{module}.{name.name}" if module == "scaled" else module) for name in node.names)


def breach(room: str, name: str) -> str | None:
    """What is wrong with this room importing that name, or None."""
    first, _, rest = name.partition(".")
    target = rest.partition(".")[0]
    if first == "":
        return "imports are absolute"
    if first == "scaled" and target != room:
        if room in WIRING:
            return "only the demo and the commands know the simulator" if _simulated(room, target) else None
        return None if target in ROOMS.get(room, "").split() else f"{room} may not import {target}"
    if first in sys.stdlib_module_names or first == "_typeshed":
        return f"{first} is no business of the core" if room in CORE and first in IMPURE else None
    return None if first in ("scaled", *OUTSIDE.get(room, "").split()) else f"{room} may not import {first}"


def _simulated(room: str, target: str) -> bool:
    return room in NO_SIMULATOR and target == "simulator"


def breaches(package: Path) -> list[str]:
    """Every import below `package` that the table forbids, as `file:line: why`."""
    found = []
    for file in sorted(package.rglob("*.py")):
        room = file.relative_to(package).parts[0].removesuffix(".py")
        if room not in ROOMS.keys() | WIRING:
            found.append(f"{file.relative_to(package)}:1: {room} is no room of the house")
            continue
        for line, name in imports(ast.parse(file.read_text())):
            if why := breach(room, name):
                found.append(f"{file.relative_to(package)}:{line}: {why}")
    return found


def test_the_rooms_keep_to_the_table() -> None:
    assert len(list((ROOT / "scaled").rglob("*.py"))) > 20
    assert breaches(ROOT / "scaled") == []


def test_recipes_hold_no_code() -> None:
    assert list((ROOT / "recipes").rglob("*.py")) == []


@pytest.mark.parametrize(
    ("file", "line", "why"),
    [
        ("weighing/filter.py", "import time", "time is no business of the core"),
        ("batch/decide.py", "from pathlib import Path", "pathlib is no business of the core"),
        ("formula/plan.py", "def f():\n    from scaled.clock import RealClock", "formula may not import clock"),
        ("page/app.py", "from scaled import records", "page may not import records"),
        ("cues/lights.py", "import scaled.instruments.port", "cues may not import instruments"),
        ("records/journal.py", "from flask import Flask", "records may not import flask"),
        ("instruments/port.py", "from ..batch import inputs", "imports are absolute"),
        ("weighing/filter.py", "import numpy", "weighing may not import numpy"),
        ("daemon.py", "from scaled.simulator import scale", "only the demo and the commands know the simulator"),
        ("records/pour.py", "from scaled.simulator.scale import PtyScale", "records may not import simulator"),
        ("helpers/text.py", "", "helpers is no room of the house"),
    ],
)
def test_a_planted_import_is_found(tmp_path: Path, file: str, line: str, why: str) -> None:
    planted = tmp_path / file
    planted.parent.mkdir(exist_ok=True)
    planted.write_text(f'"""Planted."""\n{line}\n')
    assert [found.split(": ", 1)[1] for found in breaches(tmp_path)] == [why]


@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("batch/decide.py", "from scaled.formula.values import Formula"),
        ("weighing/filter.py", "from scaled.weighing import values; import math"),
        ("demo.py", "from scaled.simulator.scale import PtyScale"),
        ("daemon.py", "from scaled.records import journal; from scaled.page.app import create_app"),
        ("page/app.py", "import flask; import waitress"),
    ],
)
def test_what_the_table_allows_passes(tmp_path: Path, file: str, line: str) -> None:
    planted = tmp_path / file
    planted.parent.mkdir(exist_ok=True)
    planted.write_text(line)
    assert breaches(tmp_path) == []
