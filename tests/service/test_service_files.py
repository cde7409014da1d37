"""User, groups, names of devices and modules, held by systemd's own tools; each is shown to notice a planted fault."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

from scaled.shipped import shipped

FOLDER = shipped("systemd")
SYSUSERS = FOLDER / "scaled.sysusers"
RULES = FOLDER / "70-scaled.rules"
MODULES = FOLDER / "scaled.modules-load"
UNIT = FOLDER / "scaled.service"

# Whose module must be there at the start, for the unit's DeviceAllow to know the name when a scale is plugged in later
# (linux/Documentation/admin-guide/devices.txt: majors 188 and 166).
HOT_PLUGGED = {"char-ttyUSB": "usbserial", "char-ttyACM": "cdc_acm"}


def users_made(text: str, folder: Path) -> tuple[int, str, dict[str, list[str]], dict[str, list[str]]]:
    """What `systemd-sysusers` makes of it on an empty system: exit code, what it says, users and groups by name."""
    root = folder / "root"
    (root / "etc").mkdir(parents=True, exist_ok=True)
    source = folder / "scaled.conf"
    source.write_text(text)
    command = ["systemd-sysusers", f"--root={root}", str(source)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    tables = []
    for name in ("passwd", "group"):
        table = root / "etc" / name
        rows = [line.split(":") for line in table.read_text().splitlines()] if table.exists() else []
        tables.append({row[0]: row[1:] for row in rows})
    return done.returncode, done.stdout + done.stderr, tables[0], tables[1]


def test_the_user_and_the_groups_of_the_unit_are_made(tmp_path: Path) -> None:
    code, said, users, groups = users_made(SYSUSERS.read_text(), tmp_path)
    assert code == 0
    assert all(line.startswith("Creating ") for line in said.splitlines())
    unit = UNIT.read_text()
    user = re.search(r"^User=(.*)$", unit, re.MULTILINE)
    named = re.search(r"^SupplementaryGroups=(.*)$", unit, re.MULTILINE)
    assert user is not None
    assert named is not None
    assert users[user[1]][-2:] == ["/var/lib/scaled", "/usr/sbin/nologin"]
    for group in named[1].split():
        assert user[1] in groups[group][-1].split(",")


def test_groups_that_are_there_stay_as_they_are(tmp_path: Path) -> None:
    etc = tmp_path / "root/etc"
    etc.mkdir(parents=True)
    (etc / "group").write_text("dialout:x:20:someone\ngpio:x:997:\n")
    _, _, _, groups = users_made(SYSUSERS.read_text(), tmp_path)
    assert groups["dialout"] == ["x", "20", "scaled,someone"]
    assert groups["gpio"] == ["x", "997", "scaled"]


@pytest.mark.parametrize(
    ("line", "planted"),
    [("g gpio    - -", "g gp:io   - -"), ("u scaled  - ", "x scaled  - "), ("m scaled audio", "m scaled")],
)
def test_a_planted_fault_in_the_users_is_noticed(line: str, planted: str, tmp_path: Path) -> None:
    text = SYSUSERS.read_text()
    assert line in text
    code, said, _, _ = users_made(text.replace(line, planted), tmp_path)
    assert code != 0
    assert "scaled.conf:" in said


# `udevadm test` sets rights and links like the real one, so it gets a /dev and a /run that nobody else sees.
ALONE = """
mount -t tmpfs none /run && mount -t tmpfs none /dev && mount --bind "$1/rules.d" /etc/udev/rules.d &&
mount --bind "$1/group" /etc/group && { mknod /dev/ptmx c 5 2 2>&-; udevadm test /sys/class/tty/ptmx; }
"""


def rules_read(text: str, folder: Path) -> tuple[list[str], str]:
    """What udev says of the rules, and what they make of a terminal, on a system that has the group `gpio`."""
    (folder / "rules.d").mkdir(parents=True)
    (folder / "rules.d/70-scaled.rules").write_text(text)
    (folder / "group").write_text(Path("/etc/group").read_text() + "gpio:x:63000:\n")
    unshare = ["unshare", "--mount", *([] if os.geteuid() == 0 else ["--map-root-user"])]
    command = [*unshare, "sh", "-c", ALONE, "sh", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    said = done.stdout + done.stderr
    assert "Reading rules file: /etc/udev/rules.d/70-scaled.rules" in said, said
    return [line for line in said.splitlines() if line.startswith("/etc/udev/rules.d/70-scaled.rules:")], said


def test_udev_reads_the_rules_without_a_word(tmp_path: Path) -> None:
    complaints, _ = rules_read(RULES.read_text(), tmp_path)
    assert complaints == []
    if "verify" in subprocess.run(["udevadm", "--help"], capture_output=True, text=True, check=True).stdout:
        subprocess.run(["udevadm", "verify", str(RULES)], check=True)  # udev 254 and later have a tool of their own


@pytest.mark.parametrize(
    ("line", "planted"),
    [
        ('GROUP="dialout"', 'GROPU="dialout"'),
        ('SYMLINK+="scale0"', 'SYMLINK+="scale0'),
        ('GOTO="scaled_end"\n\nGROUP', 'GOTO="scaled_edn"\n\nGROUP'),
        ('IMPORT{builtin}="path_id"', 'IMPORT{builtin}="path_di"'),
        ('GROUP="gpio"', 'GROUP="gpoi"'),
    ],
)
def test_a_planted_fault_in_the_rules_is_noticed(line: str, planted: str, tmp_path: Path) -> None:
    text = RULES.read_text()
    assert line in text
    complaints, _ = rules_read(text.replace(line, planted), tmp_path)
    assert complaints != []


def test_a_serial_adapter_gets_its_name_and_no_modem_program_touches_it(tmp_path: Path) -> None:
    """A terminal stands in for the adapter, by its kernel's name: there is none in every machine."""
    text = RULES.read_text().replace("ttyUSB[0-9]*", "ptmx")
    _, said = rules_read(text, tmp_path)
    assert "/dev/scale0" in said
    assert "ID_MM_DEVICE_IGNORE=1" in said
    _, said = rules_read(RULES.read_text(), tmp_path / "unchanged")
    assert "/dev/scale0" not in said


def modules_missing(unit: str, modules: str) -> list[str]:
    """Modules that the unit's devices need and the list does not load."""
    loaded = {line.strip() for line in modules.splitlines() if line and not line.startswith(("#", ";"))}
    return [
        module for device, module in HOT_PLUGGED.items() if f"DeviceAllow={device} rw" in unit and module not in loaded
    ]


def test_a_scale_that_is_plugged_in_after_the_start_is_allowed() -> None:
    unit, modules = UNIT.read_text(), MODULES.read_text()
    assert modules_missing(unit, modules) == []
    assert modules_missing(unit, modules.replace("\ncdc_acm\n", "\n")) == ["cdc_acm"]
    assert all(f"DeviceAllow={device} rw" in unit for device in HOT_PLUGGED)
    assert re.fullmatch(r"(#.*\n|[a-z0-9_]+\n)+", modules)
