"""The two lines of the README: each one command, which works as it stands."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PYTHON = """#!/bin/sh
# Debian's python3 where python3-venv is missing: a half-made folder and an error, until the package is there.
echo "python3 $*" >>"$LOG"
mkdir -p .venv/bin
[ -e "$INSTALLED" ] || { echo "ensurepip is not available"; exit 1; }
for tool in pip scaled; do
    printf '#!/bin/sh\\necho "%s $*" >>"$LOG"\\n' $tool >.venv/bin/$tool
    chmod +x .venv/bin/$tool
done
"""
APT = """#!/bin/sh
echo "apt-get $*" >>"$LOG"
case "$*" in *install*python3-venv*) : >"$INSTALLED" ;; esac
"""
SUDO = '#!/bin/sh\necho "sudo" >>"$LOG"\nexec "$@"\n'


def command(section: str) -> str:
    """The one line in the one fenced block of a section."""
    text = (ROOT / "README.md").read_text()
    (body,) = re.findall(rf"^## {section}\n(.*?)(?=^## |\Z)", text, flags=re.M | re.S)
    (block,) = re.findall(r"^```sh\n(.*?)^```$", body, flags=re.M | re.S)
    assert body.count("```") == 2
    assert block.count("\n") == 1
    return block.strip()


def first_command(folder: Path, *, venv_there: bool, user: int) -> tuple[int, list[str]]:
    """Run the line beside stand-ins for python3, apt-get, sudo and id; what was called, in order."""
    tools, log, installed = folder / "tools", folder / "log", folder / "installed"
    tools.mkdir()
    stand_ins = {"python3": PYTHON, "apt-get": APT, "sudo": SUDO, "id": f"#!/bin/sh\necho {user}\n"}
    for name, text in stand_ins.items():
        (tools / name).write_text(text)
        (tools / name).chmod(0o755)
    if venv_there:
        installed.touch()
    environment = {"PATH": f"{tools}:/usr/bin:/bin", "LOG": str(log), "INSTALLED": str(installed)}
    done = subprocess.run(["sh", "-c", command("Run it")], cwd=folder, env=environment, check=False, timeout=30)
    return done.returncode, log.read_text().splitlines()


def test_run_it_makes_an_environment_installs_and_plays_the_demo(tmp_path: Path) -> None:
    code, calls = first_command(tmp_path, venv_there=True, user=1000)
    assert code == 0
    assert [line.split()[0] for line in calls] == ["python3", "pip", "scaled"]
    assert calls[-1] == "scaled demo"


@pytest.mark.parametrize("user", [0, 1000])
def test_run_it_installs_python3_venv_where_it_is_missing(tmp_path: Path, user: int) -> None:
    code, calls = first_command(tmp_path, venv_there=False, user=user)
    asked = ["sudo"] if user else []
    assert code == 0
    names = [line.split()[0] for line in calls]
    assert names == ["python3", *asked, "apt-get", *asked, "apt-get", "python3", "pip", "scaled"]
    assert [line.split()[-1] for line in calls if line.startswith("apt-get")] == ["update", "python3-venv"]


def test_what_the_lines_make_is_ignored_by_git() -> None:
    made = [".venv", ".venv-test", ".venv-scipy", ".venv-product", "tests/performance/output", "tests/output"]
    ignored = subprocess.run(
        ["git", "check-ignore", *(f"{name}/x" for name in made)], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split()
    assert ignored == [f"{name}/x" for name in made]


def test_the_first_command_works_on_a_clean_clone(tmp_path: Path) -> None:
    clone = tmp_path / "clone"
    subprocess.run(["git", "clone", "-q", str(ROOT), str(clone)], check=True)
    environment = {name: value for name, value in os.environ.items() if name not in ("VIRTUAL_ENV", "PYTHONPATH")}
    done = subprocess.run(
        ["sh", "-c", command("Run it")],
        cwd=clone,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout.count("\n") > 10
    status = ["git", "status", "--porcelain"]
    assert subprocess.run(status, cwd=clone, capture_output=True, text=True, check=True).stdout == ""


def test_ci_runs_the_line_of_the_readme(tmp_path: Path) -> None:
    planted = tmp_path / "clone"
    (planted / ".ci").mkdir(parents=True)
    (planted / ".ci" / "run").write_text((ROOT / ".ci" / "run").read_text())
    readme = planted / "README.md"
    call = ["bash", str(planted / ".ci" / "run")]
    for line, code in [("echo it && exit 7", 7), ("true", 0)]:
        readme.write_text(
            f"## Run it\n\n```sh\nfalse\n```\n\n## Test it\n\n```sh\n{line}\n```\n\n## More\n\n```sh\nfalse\n```\n"
        )
        assert subprocess.run(call, check=False, stdin=subprocess.DEVNULL).returncode == code
    readme.write_text("## Test it\n\nsome day\n")
    assert subprocess.run(call, check=False, capture_output=True).returncode == 1


def test_test_it_runs_the_script_that_tests_everything() -> None:
    assert command("Test it") == "bash tests/all.sh"
