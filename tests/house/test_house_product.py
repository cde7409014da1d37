"""The product alone: installed as a user installs it, into an environment that holds nothing else."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from scaled.cli import COMMANDS

ROOT = Path(__file__).parents[2]
PRODUCT = ROOT / ".venv-product"


def call(*arguments: str, where: Path, timeout_s: float = 60) -> str:
    done = subprocess.run(
        [str(PRODUCT / "bin" / "scaled"), *arguments],
        cwd=where,
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout_s,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed() -> Path:
    """The installed package; where it is missing, the test fails: `bash tests/all.sh` makes it."""
    (package,) = PRODUCT.glob("lib/python3.*/site-packages/scaled")
    return package


def test_it_brings_what_the_program_needs_and_no_more(installed: Path) -> None:
    there = {path.name.partition("-")[0].lower() for path in installed.parent.glob("*.dist-info")}
    assert {"click", "flask", "gpiozero", "pint", "pyserial", "pyyaml", "waitress", "scaled"} <= there
    assert not there & {"numpy", "scipy", "lgpio", "pytest", "hypothesis", "mypy", "ruff", "playwright"}


def test_the_wheel_holds_everything_that_ships(installed: Path) -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "scaled", "recipes", "systemd"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    files = [name.removeprefix("scaled/") for name in listed if name and (ROOT / name).is_file()]
    assert len(files) > 50
    assert [name for name in files if not (installed / name).is_file()] == []


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(installed: Path, name: str, tmp_path: Path) -> None:
    assert installed.is_dir()
    assert f"scaled {name}" in call(name, "--help", where=tmp_path)


def test_its_recipes_are_sound_and_found_from_anywhere(installed: Path, tmp_path: Path) -> None:
    recipes = sorted(str(path) for path in (installed / "recipes").glob("*.yaml") if path.stem != "ingredients")
    assert len(recipes) >= 6
    call("formula", "check", *recipes, where=tmp_path)
    assert json.loads(call("formula", "plan", recipes[0], "--json", where=tmp_path))["additions"]


def test_it_plays_a_batch(installed: Path, tmp_path: Path) -> None:
    assert installed.is_dir()
    record = json.loads(call("demo", "--no-page", "--json", "--speed", "20", where=tmp_path, timeout_s=120))
    assert record["state"] == "complete"
    weighed = [addition for addition in record["additions"] if addition["target_g"] is not None]
    assert len(weighed) == 7
    assert all(addition["in_tolerance"] for addition in weighed)
