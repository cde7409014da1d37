"""`scaled run` as a process: it starts with nothing there, ends in time, and keeps what it had if it is told wrong."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from daemon_process import Place, Refusal, Running, free_port
from daemon_waiting import eventually

from scaled.simulator.pseudo_terminal import PtyScale

NOTHING = "cues: {pins: lgpio, pedal: 17, lights: {under: 22, in: 23, over: 24}, buzzer: 18, voice: en}\n"
ABSENT = "/dev/serial/by-id/usb-no-such-scale"
KILLED_AFTER_S = 15.0  # TimeoutStopSec= of the unit; by itself it gives up what hangs after 5 s


@pytest.fixture
def bare(tmp_path: Path) -> Place:
    """No scale, no pins, no sound card."""
    return Place(tmp_path, ABSENT, more=NOTHING)


def stopped(running: Running) -> None:
    """Told to stop it ends before the service manager would kill it, and nothing that hung is left behind."""
    assert running.terminated() < KILLED_AFTER_S
    assert "left behind" not in running.log.read_text()


def line_of(running: Running) -> str:
    """The one line that was said of why it did not start."""
    (line,) = running.log.read_text().splitlines()
    return line


def test_it_starts_and_serves_with_no_scale_no_pins_and_no_sound(bare: Place) -> None:
    with bare.run() as running:
        running.until_ready()
        status = running.status
        assert (status["scale"]["name"], status["scale"]["state"]) == ("bench", "waiting")
        assert (status["weight"], status["batch"], status["recorded"]) == (None, None, True)
        eventually(lambda: running.ask("/healthz")["scale"] == "absent", "the port was looked for")
        health = running.ask("/healthz")
        assert health["ok"] is True
        eventually(lambda: running.ask("/healthz")["gpio"].startswith("unavailable: "), "the pins were looked for")
        stopped(running)
        assert running.heard()[-1] == "STOPPING=1"
    assert "Traceback" not in running.log.read_text()


def test_the_weight_is_on_the_page(place: Place, scale: PtyScale) -> None:
    scale.act(lambda on, at: on.add(123.4, at))
    with place.run() as running:
        running.until_ready()
        running.until(
            lambda s: s["weight"] and s["weight"]["settled"] and abs(s["weight"]["gross_g"] - 123.4) < 0.2, "123.4 g"
        )
        assert running.ask("/healthz")["scale"] == "ready"
        stopped(running)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_cleanly_while_viewers_watch(place: Place, number: signal.Signals) -> None:
    with place.run() as running:
        running.until_ready()
        with running.viewer() as first, running.viewer() as second:
            assert next(first)["seq"] <= next(second)["seq"]
            running.signal(number)
            assert running.ended(KILLED_AFTER_S) == 0
        assert "Traceback" not in running.log.read_text()


def test_the_mock_pins_are_a_real_choice(tmp_path: Path) -> None:
    with Place(tmp_path, ABSENT, more=NOTHING.replace("lgpio", "mock")).run() as running:
        running.until_ready()
        eventually(lambda: running.ask("/healthz")["gpio"] == "ready (mock)", "the pins")
        stopped(running)


# What ends it at the start.


def test_no_settings_is_one_line_that_says_how_to_make_some(tmp_path: Path) -> None:
    environment = {name: value for name, value in os.environ.items() if name != "SCALED_CONFIG"}
    done = subprocess.run(
        [sys.executable, "-m", "scaled", "run"],
        env=environment | {"HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=20,
        check=False,
    )
    assert done.returncode == 78
    assert done.stderr.count("\n") == 1
    assert "scaled.yaml.example" in done.stderr
    assert done.stdout == ""


def test_wrong_settings_are_told_with_their_places(place: Place) -> None:
    place.write(more="confirm_afte: 1 s\nguard: maybe\n")
    with place.run() as running:
        assert running.ended() == 78
        first, second = running.log.read_text().splitlines()
    assert first.startswith(f"{place.settings}:5:1: ")
    assert "confirm_after" in first
    assert second.startswith(f"{place.settings}:6:8: ")


def test_records_that_another_has(place: Place) -> None:
    with place.run() as first:
        first.until_ready()
        place.write(page=free_port(), port=ABSENT)
        with place.run() as second:
            assert second.ended() == 75
            assert str(first.process.pid) in line_of(second)
        assert first.ask("/healthz")["ok"] is True
        stopped(first)


def test_a_page_port_that_another_has(place: Place, tmp_path: Path) -> None:
    with place.run() as first:
        first.until_ready()
        place.write(records=tmp_path / "other.db", port=ABSENT)
        with place.run() as second:
            assert second.ended() == 75
            assert str(place.page) in line_of(second)
        stopped(first)


def test_a_scale_that_another_has(place: Place, tmp_path: Path) -> None:
    with place.run() as first:
        first.until_ready()
        first.until(lambda s: s["weight"], "a weight")
        place.write(records=tmp_path / "other.db", page=free_port())
        with place.run() as second:
            assert second.ended() == 75
            assert str(place.port) in line_of(second)
        seq = first.status["seq"]
        first.until(lambda s: s["seq"] > seq + 3 and s["scale"]["state"] == "ready", "the first is undisturbed")
        stopped(first)


def test_records_of_a_newer_version(place: Place) -> None:
    with place.run() as running:
        running.until_ready()
        stopped(running)
    with closing(sqlite3.connect(place.records)) as db:
        db.execute("PRAGMA user_version = 2")
    before = place.records.read_bytes()
    with place.run() as running:
        assert running.ended() == 78
        assert str(place.records) in line_of(running)
    assert place.records.read_bytes() == before


def test_records_that_cannot_be_written_do_not_keep_the_bench_from_working(tmp_path: Path, scale: PtyScale) -> None:
    """The folder is missing; once it is there the batch that was begun meanwhile is recorded from its beginning."""
    place = Place(tmp_path, scale.path, records="missing/records.db")
    with place.run() as running:
        running.until_ready()
        running.until(lambda s: s["recorded"] is False and s["weight"], "not recorded, and weighing")
        with pytest.raises(Refusal) as health:
            running.ask("/healthz")
        assert health.value.status == 503
        assert "missing" in health.value.problem["records"]
        batch = running.ask("/api/v1/batch", {"formula": "oat-dough"})["batch"]
        assert running.status["batch"]["id"] == batch
        assert running.status["recorded"] is False
        place.records.parent.mkdir()
        running.until(lambda s: s["recorded"], "recorded again")
        stopped(running)
        assert running.log.read_text().count("not recorded") == 1, "an outage is one line in the log"
    with place.run() as running:
        running.until_ready()
        assert running.status["batch"]["id"] == batch
        stopped(running)


# Settings read anew.


def reloaded(running: Running) -> str:
    """SIGHUP; the status that was told when it was over."""
    before = len(running.heard())
    running.signal(signal.SIGHUP)
    eventually(lambda: "READY=1" in running.heard()[before:], "the settings were read")
    said = running.heard()[before:]
    assert said[0].startswith("RELOADING=1\nMONOTONIC_USEC=")
    return next(text for text in said if text.startswith("STATUS="))


def test_good_settings_are_taken_on(place: Place, tmp_path: Path) -> None:
    with place.run() as running:
        running.until_ready()
        running.until(lambda s: s["scale"]["state"] == "ready", "the scale")
        (tmp_path / "other").mkdir()
        text = (
            place.settings.read_text()
            .replace("formulas: recipes", "formulas: other")
            .replace("name: bench", "name: big")
        )
        place.settings.write_text(text.replace("division: 0.1 g", "division: 0.2 g"))
        assert reloaded(running) == "STATUS=settings read anew"
        running.until(
            lambda s: s["scale"]["name"] == "big" and s["scale"]["state"] == "ready", "the scale of another name"
        )
        with pytest.raises(Refusal) as refused:
            running.ask("/api/v1/batch", {"formula": "oat-dough"})
        assert refused.value.status == 404
        stopped(running)


def test_wrong_settings_leave_all_as_it_was(place: Place) -> None:
    with place.run() as running:
        running.until_ready()
        place.write(port=ABSENT, more="confirm_after: 1\n")
        said = reloaded(running)
        assert said.startswith(f"STATUS=old settings kept: {place.settings}:5:16: ")
        seq = running.status["seq"]
        running.until(lambda s: s["seq"] > seq and s["scale"]["state"] == "ready", "the old scale")
        running.ask("/api/v1/batch", {"formula": "oat-dough"})
        place.settings.unlink()
        assert reloaded(running).startswith("STATUS=old settings kept: settings: ")
        stopped(running)
    assert "Traceback" not in running.log.read_text()


def test_a_change_that_needs_a_start_is_said(place: Place) -> None:
    with place.run() as running:
        running.until_ready()
        place.write(page=free_port())
        reloaded(running)
        stopped(running)
    assert "a change of page holds from the next start on" in running.log.read_text()


def test_the_watchdog_is_fed(place: Place) -> None:
    with place.run(environment={"WATCHDOG_USEC": "500000"}) as running:
        running.until_ready()
        eventually(lambda: running.heard().count("WATCHDOG=1") >= 4, "signs of life")
        stopped(running)
