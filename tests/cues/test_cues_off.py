"""`scaled off`, as the service manager runs it after a daemon that was killed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

SETTINGS = (
    "scales: [{name: bench, port: /dev/null, line: plain, capacity: 6 kg, division: 1 g}]\nformulas: .\nrecords: x.db\n"
)


def ran(folder: Path, cues: str) -> subprocess.CompletedProcess[str]:
    config = folder / "scaled.yaml"
    config.write_text(SETTINGS + cues)
    command = [sys.executable, "-W", "error", "-m", "scaled", "off", "--config", str(config)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


@pytest.mark.parametrize(
    ("cues", "told"),
    [
        (
            "cues: {pins: mock, pedal: 17, lights: {under: 22, in: 23, over: 24}, buzzer: 18}\n",
            "off: light under, light in, light over, buzzer\n",
        ),
        ("cues: {pins: lgpio, pedal: 17}\n", "off: nothing is wired\n"),
        ("", "off: nothing is wired\n"),
    ],
)
def test_what_shines_and_sounds_is_switched_off_and_named(cues: str, told: str, tmp_path: Path) -> None:
    done = ran(tmp_path, cues)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", told)


def test_a_machine_without_gpio_is_told_in_one_line(tmp_path: Path) -> None:
    done = ran(tmp_path, "cues: {pins: native, buzzer: 18}\n")
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "unavailable: native: " in done.stderr
