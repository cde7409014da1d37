"""`tests/all.sh` itself: whatever fails or is missing makes it fail, and never stops it from telling the rest."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOL = """#!/bin/sh
# Stands in for a tool of an environment: says how it was called, fails where it is told to.
echo "$(basename "$0") $*" >>"$LOG"
case "$(basename "$0") $*" in *"$FAIL"*) exit 1 ;; esac
"""
PYTHON = """#!/bin/sh
case "$1 $2" in
-c*) exit 0 ;;
-VV*) echo "Python 3.11.0" ;;
"-m venv")
    mkdir -p "$4/bin"
    for tool in pip ruff mypy python; do cp "$TOOL" "$4/bin/$tool"; chmod +x "$4/bin/$tool"; done ;;
esac
"""
COMPUTES = "tests/batch tests/correction tests/formula tests/marks tests/phrases tests/simulator tests/weighing"
STEPS = [
    "ruff check .",
    "ruff format --check .",
    "mypy --strict",
    "python tests/performance/run.py",
    "python -m pytest -q -W error tests/with_scipy",
    f"python -m pytest -q -W error --durations=10 -p no:cacheprovider {COMPUTES}",
    f"python -m pytest -q -W error --durations=10 {COMPUTES.replace('tests/', '--ignore=tests/')}",
]


def run(folder: Path, fail: str = "nothing", packages: str = "bash\n") -> tuple[int, list[str], str]:
    """Exit code, what was called and what was said, with stand-ins for all that the script calls."""
    tests, tools = folder / "tests", folder / "tools"
    tests.mkdir()
    tools.mkdir()
    (folder / "pyproject.toml").write_text("[project]\n")
    (tests / "all.sh").write_text((ROOT / "tests" / "all.sh").read_text())
    (tests / "debian-packages.txt").write_text(packages)
    (folder / "tool").write_text(TOOL)
    for name, text in {"python3": PYTHON, "apt-get": TOOL}.items():
        (tools / name).write_text(text)
        (tools / name).chmod(0o755)
    (tools / "sudo").write_text('#!/bin/sh\nexec "$@"\n')
    (tools / "sudo").chmod(0o755)
    environment = {
        "PATH": f"{tools}:/usr/bin:/bin",
        "LOG": str(folder / "log"),
        "TOOL": str(folder / "tool"),
        "FAIL": fail,
    }
    call = ["bash", str(tests / "all.sh")]
    done = subprocess.run(call, env=environment, capture_output=True, text=True, check=False, timeout=60)
    log = folder / "log"
    return done.returncode, log.read_text().splitlines() if log.exists() else [], done.stdout + done.stderr


def steps(calls: list[str]) -> list[str]:
    """In no order: some run beside others."""
    return sorted(line for line in calls if not line.startswith("pip"))


def test_every_step_is_run(tmp_path: Path) -> None:
    code, calls, _ = run(tmp_path)
    assert code == 0
    assert steps(calls) == sorted(STEPS)
    assert sum("scipy" in line for line in calls if line.startswith("pip")) == 1


def test_the_folders_that_only_compute_are_there() -> None:
    """Those that only compute are named, and all others are the rest."""
    named = {Path(name).name for name in COMPUTES.split()}
    assert named < {folder.name for folder in (ROOT / "tests").iterdir() if folder.is_dir()}


@pytest.mark.parametrize("step", STEPS)
def test_a_step_that_fails_makes_the_whole_fail_and_the_rest_still_runs(tmp_path: Path, step: str) -> None:
    code, calls, said = run(tmp_path, fail=step)
    assert code == 1
    assert steps(calls) == sorted(STEPS)
    assert "\nfailed: " in said
    computes = COMPUTES in step.split("pytest -q -W error --durations=10 -p no:cacheprovider ") or "with_scipy" in step
    assert ("what computes" in said.splitlines()[-1]) == computes


def test_an_environment_that_cannot_be_made_is_an_error(tmp_path: Path) -> None:
    code, calls, said = run(tmp_path, fail="pip install")
    assert (code, len(calls)) == (1, 1)
    assert "could not make .venv-test" in said


def test_a_missing_package_is_installed_and_one_that_is_there_is_not(tmp_path: Path) -> None:
    code, calls, _ = run(tmp_path, packages="# for the tests\nbash  # there\nno-such-package  # not there\n")
    assert code == 0
    asked = [line.split()[-1] for line in calls if line.startswith("apt-get")]
    assert asked == ["update", "no-such-package"]


def test_a_package_that_cannot_be_installed_is_an_error(tmp_path: Path) -> None:
    code, calls, said = run(tmp_path, fail="apt-get -qy install", packages="no-such-package\n")
    assert code == 1
    assert not any("pytest" in line for line in calls)
    assert "could not install: no-such-package" in said
