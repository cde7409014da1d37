"""The unit, held by systemd's own tools, each of which is shown to notice a planted fault."""

from __future__ import annotations

import ctypes
import errno
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from scaled.cli import COMMANDS
from scaled.errors import WrongSettings
from scaled.shipped import shipped

UNIT = shipped("systemd") / "scaled.service"
MOST_EXPOSED = 20  # tenths of systemd's scale, where 0 is closed and 100 open

# What systemd.exec(5) and systemd.resource-control(5) offer (version 252) to close a service in.
HARDENING = """
AmbientCapabilities CapabilityBoundingSet DeviceAllow DevicePolicy IPAddressDeny KeyringMode LockPersonality
MemoryDenyWriteExecute NoNewPrivileges PrivateDevices PrivateMounts PrivateNetwork PrivateTmp PrivateUsers
ProcSubset ProtectClock ProtectControlGroups ProtectHome ProtectHostname ProtectKernelLogs
ProtectKernelModules ProtectKernelTunables ProtectProc ProtectSystem RemoveIPC RestrictAddressFamilies
RestrictNamespaces RestrictRealtime RestrictSUIDSGID RootDirectory SystemCallArchitectures SystemCallFilter
UMask User
"""


def settings(unit: str) -> list[tuple[str, str]]:
    """Key and value of each line that sets something."""
    pairs = [line.split("=", 1) for line in unit.splitlines() if re.match("[A-Z][A-Za-z]*=", line)]
    return [(key, value) for key, value in pairs]


def verified(unit: str, folder: Path) -> str:
    """What `systemd-analyze verify` prints of a unit; its exit code does not tell."""
    place = folder / "scaled.service"
    place.write_text(unit)
    command = ["systemd-analyze", "verify", str(place)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    return done.stdout + done.stderr


def exposure(unit: str, folder: Path) -> subprocess.CompletedProcess[str]:
    place = folder / "scaled.service"
    place.write_text(unit)
    command = ["systemd-analyze", "security", "--offline=true", f"--threshold={MOST_EXPOSED}", str(place)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


def left_out_silently(unit: str) -> list[str]:
    """The means of hardening that the unit neither takes nor says why not."""
    taken = {key for key, _ in settings(unit)}
    told = re.findall(r"^# (\w+)=\S* is left out: \w+", unit, re.MULTILINE)
    return [key for key in HARDENING.split() if key not in taken and key not in told]


def test_verify_prints_nothing(tmp_path: Path) -> None:
    assert verified(UNIT.read_text(), tmp_path) == ""


@pytest.mark.parametrize(
    ("line", "planted", "told"),
    [
        ("RestartSec=1", "RestartSec=often", "Failed to parse"),
        ("UMask=0027", "UMaks=0027", "Unknown key"),
        ("Type=notify", "Type=notifying", "Failed to parse"),
        ("ExecStart=/usr/bin/env scaled run", "ExecStart=/usr/bin/emv scaled run", "not executable"),
        ("SystemCallFilter=@system-service", "SystemCallFilter=@system-servise", "system-servise"),
    ],
)
def test_verify_notices_a_planted_fault(line: str, planted: str, told: str, tmp_path: Path) -> None:
    unit = UNIT.read_text()
    assert line in unit
    assert told in verified(unit.replace(line, planted), tmp_path)


def test_the_service_is_closed_in(tmp_path: Path) -> None:
    done = exposure(UNIT.read_text(), tmp_path)
    print(done.stdout.splitlines()[-1])
    assert done.returncode == 0
    assert done.stderr == ""


def test_a_service_that_is_not_closed_in_is_noticed(tmp_path: Path) -> None:
    unit = "".join(line for line in UNIT.read_text().splitlines(keepends=True) if not line.startswith("Protect"))
    assert exposure(unit, tmp_path).returncode != 0


def test_what_hardening_is_left_out_has_its_reason_beside_it() -> None:
    unit = UNIT.read_text()
    assert left_out_silently(unit) == []
    assert left_out_silently(unit.replace("ProtectClock=yes\n", "")) == ["ProtectClock"]
    assert left_out_silently(unit.replace("# PrivateUsers=yes is left out: ", "# PrivateUsers=yes: ")) == [
        "PrivateUsers"
    ]


def test_wrong_settings_do_not_make_a_storm_of_restarts() -> None:
    unit = dict(settings(UNIT.read_text()))
    assert unit["RestartPreventExitStatus"] == str(WrongSettings.exit_code)
    assert unit["Restart"] == "on-failure"
    assert (unit["StartLimitBurst"], unit["StartLimitIntervalSec"]) == ("10", "300")
    assert "ExecStartPre" not in unit  # the exit status that prevents a restart does not count there


def test_the_manager_watches_and_is_notified() -> None:
    unit = dict(settings(UNIT.read_text()))
    assert unit["Type"] == "notify"
    assert unit["NotifyAccess"] == "main"
    assert int(unit["WatchdogSec"]) >= 10


def test_the_commands_that_the_unit_runs_are_there() -> None:
    runs = [value.lstrip("-").split() for key, value in settings(UNIT.read_text()) if key.startswith("Exec")]
    ours = [command[2] for command in runs if command[:2] == ["/usr/bin/env", "scaled"]]
    assert ours == ["run", "off"]
    assert set(ours) <= COMMANDS.keys()


MDWE = """
import ctypes, sys
libc = ctypes.CDLL(None, use_errno=True)
assert libc.prctl(65, 1, 0, 0, 0) == 0  # PR_SET_MDWE, PR_MDWE_REFUSE_EXEC_GAIN
import mmap
try:
    mmap.mmap(-1, 4096, prot=mmap.PROT_READ | mmap.PROT_WRITE | mmap.PROT_EXEC)
except PermissionError:
    pass
else:
    sys.exit("memory can be made executable all the same")
from scaled.cues.pins import CueSettings, Pins
import sqlite3, yaml, serial, flask, waitress, click, pint, subprocess
Pins(CueSettings(pins="mock", pedal=17, buzzer=18), print).close()
sqlite3.connect(":memory:").execute("select 1").fetchone()
yaml.load("a: 1", Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
pint.UnitRegistry()("1 cup").to("ml")
subprocess.run(["espeak-ng", "--stdin", "-w", sys.argv[1]], input=b"Stop.", check=True)
print("fine")
"""


def test_what_the_daemon_loads_runs_where_memory_can_not_be_made_executable(tmp_path: Path) -> None:
    """`MemoryDenyWriteExecute=yes` breaks some foreign-function libraries (cffi, its issue 73); ours it must not."""
    assert ("MemoryDenyWriteExecute", "yes") in settings(UNIT.read_text())
    if ctypes.CDLL(None, use_errno=True).prctl(66, 0, 0, 0, 0) < 0 and ctypes.get_errno() == errno.EINVAL:
        pytest.skip("this kernel has no PR_SET_MDWE (it came with Linux 6.3)")
    command = [sys.executable, "-c", MDWE, str(tmp_path / "stop.wav")]
    home = os.environ | {"HOME": str(tmp_path)}  # the service has one that it may write, too
    done = subprocess.run(command, env=home, capture_output=True, text=True, check=False, timeout=60)
    assert (done.stdout, done.stderr, done.returncode) == ("fine\n", "", 0)
