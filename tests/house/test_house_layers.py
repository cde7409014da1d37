"""Which room may import which: a table, held by reading every import there is, and held to be no wider than it must.

No two modules import each other either, not even through others or for the types alone.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CORE = {"formula", "weighing", "batch"}
BASE = {"errors": "", "clock": "", "units": "", "marks": "errors", "shipped": "", "notify": ""}
ROOMS = BASE | {
    "formula": "errors units marks",
    "weighing": "",
    "batch": "formula weighing errors",
    "catalogue": "errors marks formula",
    "phrases": "marks",
    "texts": "formula",
    "instruments": "weighing errors clock units marks",
    "cues": "batch errors clock phrases",
    "records": "batch errors clock",
    "page": "batch errors clock phrases",
    "simulator": "weighing batch clock",
    "board": "batch",
    "trace": "weighing errors",
    "replay": "trace weighing batch formula",
}
WIRING = {"__init__", "__main__", "commands", "cli", "config", "daemon", "doctor", "demo"}
NO_SIMULATOR = {"daemon", "doctor"}
OUTSIDE = {
    "units": "pint",
    "marks": "yaml",
    "instruments": "serial",
    "cues": "gpiozero",
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
            yield from ((node.lineno, f"{module}.{name.name}") for name in node.names)


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


def unneeded(package: Path, rooms: dict[str, str], outside: dict[str, str]) -> list[str]:
    """What the tables allow and nobody does: rooms that are not there, and imports of rooms and of libraries."""
    used: dict[str, set[str]] = {}
    for file in sorted(package.rglob("*.py")):
        room = file.relative_to(package).parts[0].removesuffix(".py")
        for _, name in imports(ast.parse(file.read_text())):
            first, _, rest = name.partition(".")
            used.setdefault(room, set()).add(rest.partition(".")[0] if first == "scaled" else first)
    return [
        *(f"{room} is not there" for room in rooms if room not in used and not (package / room).exists()),
        *(f"{room} does not import {name}" for room, names in (*rooms.items(), *outside.items())
          for name in names.split() if name not in used.get(room, set())),
    ]  # fmt: skip


def circle(package: Path, parts: int | None = None) -> list[str]:
    """The modules of the first circle of imports, those for types alone included; [] where there is none.

    With `parts` names are cut to that many: 2 for rooms.
    """
    names = {".".join(file.relative_to(package.parent).with_suffix("").parts): file for file in package.rglob("*.py")}
    modules = {name.removesuffix(".__init__"): file for name, file in names.items()}
    graph: dict[str, set[str]] = {}
    for module, file in modules.items():
        needs = {
            name if name in modules else name.rpartition(".")[0] for _, name in imports(ast.parse(file.read_text()))
        }
        cut = ".".join(module.split(".")[:parts])
        found = {".".join(need.split(".")[:parts]) for need in needs & modules.keys()}
        graph.setdefault(cut, set()).update(found - {cut, package.name})
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_the_rooms_keep_to_the_table() -> None:
    assert len(list((ROOT / "scaled").rglob("*.py"))) > 20
    assert breaches(ROOT / "scaled") == []


def test_the_table_allows_nothing_that_nobody_does() -> None:
    assert unneeded(ROOT / "scaled", ROOMS, OUTSIDE) == []


def test_no_modules_import_each_other() -> None:
    assert circle(ROOT / "scaled") == []


def test_no_rooms_import_each_other() -> None:
    assert circle(ROOT / "scaled", 2) == []


def test_a_permission_that_nobody_needs_is_found(tmp_path: Path) -> None:
    (tmp_path / "page.py").write_text("from scaled.batch import inputs\nimport flask\n")
    found = unneeded(tmp_path, {"page": "batch clock", "timeline": ""}, {"page": "flask waitress"})
    assert found == ["timeline is not there", "page does not import clock", "page does not import waitress"]


@pytest.mark.parametrize(
    "line", ["from scaled.page import app", "from scaled.page.app import create_app", "import scaled.page.app"]
)
def test_a_planted_circle_is_found(tmp_path: Path, line: str) -> None:
    page = tmp_path / "scaled" / "page"
    page.mkdir(parents=True)
    (page / "__init__.py").write_text("")
    (page / "app.py").write_text("from scaled.page.views import views\n")
    (page / "views.py").write_text("from scaled.page import guard\n")
    (page / "guard.py").write_text(f"if TYPE_CHECKING:\n    {line}\n")
    assert set(circle(tmp_path / "scaled")) == {"scaled.page.app", "scaled.page.views", "scaled.page.guard"}
    (page / "guard.py").write_text("from scaled import demo\n")
    (tmp_path / "scaled" / "demo.py").write_text("from scaled.page import app\n")
    (page / "app.py").write_text("")
    assert circle(tmp_path / "scaled") == []
    assert set(circle(tmp_path / "scaled", 2)) == {"scaled.page", "scaled.demo"}


def unmapped(text: str) -> list[str]:
    """The rooms that no row of the map names."""
    rows = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `")]
    named = {name.strip("`/ ") for row in rows for name in row.split(",")}
    return sorted((ROOMS.keys() | WIRING) - named - {"__init__", "__main__"})


def test_the_map_names_every_room() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert unmapped(text) == []
    assert unmapped(text.replace("`page/`", "`paper/`")) == ["page"]


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
