"""`scaled doctor` on benches that lack something: real files, real ports, and the program as a user calls it."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from scaled.clock import ManualClock, RealClock
from scaled.doctor import Finding, State, examined
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale

PROGRAM = Path(sys.executable).with_name("scaled")
FORMULA = """formula: Two in a bowl
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 60 g, tolerance: ±2 g}
"""


class Bench:
    """Settings in a folder, everything in its place; `say` looks at it."""

    def __init__(self, folder: Path, port: Path) -> None:
        self.folder, self.port = folder, port
        self.page = free_port()
        (folder / "recipes").mkdir()
        (folder / "recipes" / "two.yaml").write_text(FORMULA)
        (folder / "dev").mkdir()
        self.settings = folder / "scaled.yaml"
        self.write()

    def write(self, more: str = "", **changes: object) -> None:
        values = {"port": self.port, "formulas": "recipes", "records": "records.db", "page": self.page} | changes
        self.settings.write_text(
            "scales: [{{name: bench, port: '{port}', line: header, division: 0.1 g}}]\n"
            "formulas: {formulas}\nrecords: {records}\npage: {{port: {page}}}\n".format(**values)
            + more
        )

    def say(self, now: datetime | None = None) -> dict[str, list[Finding]]:
        clock = RealClock() if now is None else ManualClock(wall=now)
        found: dict[str, list[Finding]] = {}
        for finding in examined(str(self.settings), clock, sysfs=self.folder / "sys", dev=self.folder / "dev"):
            found.setdefault(finding.what, []).append(finding)
        return found

    def state_of(self, what: str, now: datetime | None = None) -> tuple[State, str]:
        (finding,) = self.say(now)[what]
        assert finding.do or finding.state != "trouble", "trouble says what to do"
        return finding.state, finding.says


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with PtyScale(SimulatedScale(seed=5), RealClock(), tmp_path) as scale:
        yield Bench(tmp_path, scale.path)


def run(*arguments: object, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    told = [str(PROGRAM), "doctor", *map(str, arguments)]
    return subprocess.run(told, capture_output=True, text=True, timeout=60, check=False, env=env)


def test_a_bench_that_works_has_no_trouble(bench: Bench) -> None:
    done = run("--config", bench.settings, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    document = json.loads(done.stdout)
    assert document["ok"] is True
    states = {finding["what"]: finding["state"] for finding in document["findings"]}
    assert states.items() >= {
        ("settings", "fine"),
        ("formulas", "fine"),
        ("records", "fine"),
        ("disk", "fine"),
        ("scale bench", "fine"),
        ("page", "fine"),
        ("pins", "fine"),
        ("voice", "fine"),
    }
    assert {"serial ports", "clock"} <= states.keys()
    text = run("--config", bench.settings)
    assert text.returncode == 0
    assert f"fine     scale bench: {bench.port}: is there" in text.stdout


def test_without_settings_it_says_so_and_looks_at_what_it_can(tmp_path: Path) -> None:
    env = {name: value for name, value in os.environ.items() if name != "SCALED_CONFIG"}
    done = run("--json", env=env | {"XDG_CONFIG_HOME": str(tmp_path)})
    document = json.loads(done.stdout)
    assert done.returncode == 1
    assert document["findings"][0]["what"] == "settings"
    assert "no settings: copy " in document["findings"][0]["says"]
    assert {"serial ports", "clock"} <= {finding["what"] for finding in document["findings"]}


def test_each_mistake_in_the_settings_has_its_place(bench: Bench) -> None:
    bench.settings.write_text(bench.settings.read_text() + "cuse: {}\nconfirm_after: 99 s\n")
    mistakes = bench.say()["settings"]
    assert [finding.state for finding in mistakes] == ["trouble"] * 2
    assert [finding.says.split(": ")[0] for finding in mistakes] == [
        f"{bench.settings}:5:1",
        f"{bench.settings}:6:16",
    ]


def test_a_formula_with_a_mistake_is_named_with_its_place(bench: Bench) -> None:
    (bench.folder / "recipes" / "bad.yaml").write_text(FORMULA.replace("60 g", "sixty"))
    wrong, sound = bench.say()["formulas"]
    assert (wrong.state, sound.state) == ("trouble", "fine")
    assert f"{bench.folder / 'recipes' / 'bad.yaml'}:5:" in wrong.says
    assert "bad cannot be weighed" in wrong.do
    assert "1 can be weighed" in sound.says


@pytest.mark.parametrize(("folder", "said"), [("nowhere", "no such folder"), ("dev", "holds none")])
def test_a_folder_without_formulas_is_trouble(bench: Bench, folder: str, said: str) -> None:
    bench.write(formulas=folder)
    state, says = bench.state_of("formulas")
    assert state == "trouble"
    assert said in says


def test_records_that_are_no_records_and_damaged_ones_of_earlier(bench: Bench) -> None:
    (bench.folder / "records.db").write_bytes(b"no database " * 1000)
    (bench.folder / "records.db.corrupt-20260101").write_bytes(b"")
    records = bench.say()["records"]
    assert [finding.state for finding in records] == ["trouble", "note"]
    assert "records.db.corrupt-20260101" in records[1].says
    bench.write(records="nowhere/records.db")
    assert bench.state_of("records") == ("trouble", f"{bench.folder / 'nowhere'}: there is no such folder")


def test_a_folder_in_the_place_of_the_records(bench: Bench) -> None:
    (bench.folder / "records.db").mkdir()
    (finding,) = bench.say()["records"]
    assert (finding.state, finding.do) == ("trouble", "put that right: until then nothing is recorded")
    assert "records.db: this is a folder: name the file in it" in finding.says


@pytest.mark.parametrize("port", ["/dev/serial/by-id/usb-none-if00", "1234:abcd"])
def test_a_scale_that_is_not_there(bench: Bench, port: str) -> None:
    bench.write(port=port)
    assert bench.state_of("scale bench") == ("trouble", f"{port}: is not there")


def test_a_port_that_another_program_has(bench: Bench) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", bench.page))
        other.listen()
        other.settimeout(0.1)
        state, says = bench.state_of("page")
    assert (state, says) == ("trouble", f"127.0.0.1 port {bench.page}: another program has it")


def test_pins_and_voice_that_this_machine_has_not(bench: Bench) -> None:
    bench.write("cues: {pins: rpigpio, pedal: 17, voice: en}\n")
    state, says = bench.state_of("pins")
    assert state == "trouble"
    assert "is not installed" in says or "this machine has no GPIO" in says
    bench.write("cues: {pins: mock, pedal: 17}\n")
    assert bench.state_of("pins") == ("note", "mock: no real pin is driven")
    bench.write("cues: {pins: native, pedal: 17}\n")
    assert bench.state_of("pins") == ("trouble", "native: this machine has no GPIO")
    (bench.folder / "dev" / "gpiochip0").touch()
    assert bench.state_of("pins") == ("fine", "native: 1 pins in the settings")


def test_a_clock_that_was_never_set(bench: Bench) -> None:
    state, says = bench.state_of("clock", now=datetime(1970, 1, 1, 0, 5, tzinfo=UTC))
    assert (state, says) == ("trouble", "this machine believes that it is 1970-01-01")


def test_beside_a_daemon_that_runs_it_asks_that(bench: Bench) -> None:
    daemon = subprocess.Popen(
        [str(PROGRAM), "run", "--config", str(bench.settings)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    try:
        assert daemon.stderr is not None
        for line in daemon.stderr:
            if b"ready (lines come)" in line:
                break
        found = bench.say()
        assert found["scale bench"][0] == Finding("scale bench", "fine", f"{bench.port}: the daemon reads it")
        assert "a daemon serves it and is well" in found["page"][0].says
        assert found["records"][0].says.endswith(": 0 batches")
    finally:
        daemon.terminate()
        daemon.communicate(timeout=30)
