"""What the unit's filter of system calls refuses, against the calls that a whole batch makes (seen by strace)."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from scaled.shipped import shipped

UNIT = shipped("systemd") / "scaled.service"
AS_ROOT_ONLY = {"fchown"}  # SQLite gives its files to the owner of the database, and asks first whether it is root
OPENING = "from scaled.cues.pins import *; Pins(CueSettings(pins='mock', buzzer=18), print)"
PROGRAMS = {
    "a batch": [sys.executable, "-m", "scaled", "demo", "--speed", "20", "--json"],
    "the pins": [sys.executable, "-c", OPENING],
    "the voice": ["espeak-ng", "--stdout", "Stop."],
}


def call_sets() -> dict[str, set[str]]:
    """systemd's sets of calls by name (`@system-service`), sets within sets dissolved."""
    listed = subprocess.run(["systemd-analyze", "syscall-filter"], capture_output=True, text=True, check=True).stdout
    sets: dict[str, set[str]] = {}
    for line in listed.splitlines():
        if line.startswith("@"):
            members = sets.setdefault(line, set())
        elif line.startswith("    ") and not line.lstrip().startswith("#"):
            members.add(line.strip())
    return {name: dissolved(name, sets) for name in sets}


def dissolved(name: str, sets: dict[str, set[str]]) -> set[str]:
    within = [dissolved(member, sets) if member.startswith("@") else {member} for member in sets[name]]
    return set().union(*within)


def refused(unit: str, used: set[str]) -> set[str]:
    """The used calls that the unit's lines `SystemCallFilter=` do not allow."""
    sets, allowed = call_sets(), set[str]()
    for value in re.findall(r"^SystemCallFilter=(.*)$", unit, re.MULTILINE):
        for word in value.removeprefix("~").split():
            calls = sets[word] if word.startswith("@") else {word}
            allowed = allowed - calls if value.startswith("~") else allowed | calls
    return used - allowed


def used_calls(command: list[str], folder: Path) -> set[str]:
    trace = folder / "trace"
    traced = ["strace", "-f", "-qq", "-o", str(trace), *command]
    subprocess.run(traced, cwd=folder, capture_output=True, check=True, timeout=120)
    return set(re.findall(r"^\d+ +([a-z0-9_]+)\(", trace.read_text(), re.MULTILINE))


@pytest.mark.parametrize("what", PROGRAMS)
def test_no_call_that_is_needed_is_refused(what: str, tmp_path: Path) -> None:
    used = used_calls(PROGRAMS[what], tmp_path)
    assert {"openat", "mmap", "execve"} <= used
    assert refused(UNIT.read_text(), used) <= AS_ROOT_ONLY


def test_a_filter_that_refuses_too_much_is_noticed(tmp_path: Path) -> None:
    used = used_calls(PROGRAMS["the voice"], tmp_path)
    closed = UNIT.read_text() + "SystemCallFilter=~@file-system\n"
    assert "openat" in refused(closed, used)
