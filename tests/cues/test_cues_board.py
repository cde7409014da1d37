"""Lights, buzzer and contacts on gpiozero's mock pins, driven by the board's own thread."""

from __future__ import annotations

import logging
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from cues_waiting import until

from scaled.batch.cue import Cue
from scaled.batch.inputs import Wanted
from scaled.clock import ManualClock, RealClock
from scaled.cues.board import RETRY_S, Board
from scaled.cues.pedal import LONG_S
from scaled.cues.pins import OnEdge, Pins, PinsUnavailable
from scaled.cues.settings import CueSettings, Lights
from scaled.cues.signals import STALE_S

ROOT = Path(__file__).parents[2]
SETTINGS = CueSettings(pins="mock", pedal=17, lights=Lights(22, 23, 24), buzzer=18, buttons=(("hold", 5), ("later", 6)))


class Bench:
    """A board with what it was asked and what it beat."""

    def __init__(
        self,
        settings: CueSettings = SETTINGS,
        clock: ManualClock | RealClock | None = None,
        open_pins: Callable[[CueSettings, OnEdge], Pins] = Pins,
    ) -> None:
        self.clock = clock or ManualClock(at=100.0)
        self.wanted: list[Wanted] = []
        self.beats: list[float] = []
        self.board = Board(settings, self.clock, self.wanted.append, self.beats.append, open_pins)

    def pin(self, number: int) -> Any:
        assert self.board.pins is not None
        return self.board.pins.factory.pin(number)

    def lights(self) -> dict[str, bool]:
        return {"under": self.pin(22).state, "in": self.pin(23).state, "over": self.pin(24).state}

    def begin(self) -> Bench:
        self.board.start()
        until(lambda: self.board.state.startswith("ready"), "pins open")
        return self


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench().begin()
    yield made
    made.board.close()


def test_the_light_follows_the_cue_one_at_a_time(bench: Bench) -> None:
    for light in ("under", "in", "over", "under"):
        bench.board.show(Cue("pour", light))
        until(lambda light=light: bench.lights()[light], f"{light} shines")
        until(lambda: sum(bench.lights().values()) == 1, "only one shines")
    bench.board.show(Cue("idle", "off"))
    until(lambda: not any(bench.lights().values()), "all dark")


def test_the_newest_cue_wins(bench: Bench) -> None:
    for _ in range(200):
        bench.board.show(Cue("pour", "under"))
        bench.board.show(Cue("in band", "in"))
    until(lambda: bench.lights() == {"under": False, "in": True, "over": False}, "the last one shown")


def test_the_buzzer_beats_and_is_silent_again(bench: Bench) -> None:
    buzzer = bench.pin(18)
    bench.board.show(Cue("pour", "under", 2.0))
    until(lambda: buzzer.state, "a pulse begins")
    bench.clock.advance(0.06)
    until(lambda: not buzzer.state, "the pulse ends by itself")
    bench.clock.advance(0.45)
    until(lambda: buzzer.state, "the next pulse")
    bench.board.show(Cue("in band", "in"))
    until(lambda: not buzzer.state, "silent in the band")


def test_without_a_new_cue_everything_goes_dark(bench: Bench) -> None:
    bench.board.show(Cue("pour", "under", 2.0))
    until(lambda: bench.lights()["under"], "it shines")
    bench.clock.advance(STALE_S)
    until(lambda: not bench.lights()["under"] and not bench.pin(18).state, "dark and silent")


def test_closing_switches_everything_off_and_gives_the_pins_back(bench: Bench) -> None:
    bench.board.show(Cue("over", "over", 2.0))
    until(lambda: bench.lights()["over"] and bench.pin(18).state, "light and buzzer are on")
    pins = [bench.pin(number) for number in (22, 23, 24, 18)]
    bench.board.close()
    assert [pin.state for pin in pins] == [False] * 4
    assert [pin.function for pin in pins] == ["input"] * 4
    assert bench.board.pins is None


def test_showing_never_waits_for_a_pin_that_hangs(bench: Bench) -> None:
    let_go, in_vain = Event(), Event()
    light = bench.pin(22)
    is_stuck = Event()

    class Stuck(type(light)):  # a real mock pin whose driver does not come back
        def _set_state(self, value: float) -> None:
            is_stuck.set()
            if not let_go.wait(20):
                in_vain.set()
            super()._set_state(value)

    light.__class__ = Stuck
    bench.board.show(Cue("pour", "under"))
    assert is_stuck.wait(20)
    for _ in range(1000):
        bench.board.show(Cue("stop", "in", 5.0))
    assert not in_vain.is_set()  # all came back while the first one is still being shown
    let_go.set()
    until(lambda: bench.lights()["in"], "the newest cue is shown in the end")


def test_the_board_beats_as_long_as_its_thread_moves(bench: Bench) -> None:
    seen = len(bench.beats)
    until(lambda: len(bench.beats) > seen + 5, "it goes on beating")
    bench.board.close()
    assert not bench.board.is_running


def test_a_tap_on_the_pedal_asks_for_the_next_step_on_a_real_clock() -> None:
    bench = Bench(clock=RealClock()).begin()
    down_at = bench.clock.monotonic()
    pedal = bench.pin(17)
    pedal.drive_low()
    until(lambda: bench.clock.monotonic() > down_at + 0.1, "a moment")
    pedal.drive_high()
    held_s = bench.clock.monotonic() - down_at
    until(lambda: bench.wanted, "the tap is told")
    assert [wanted.wish for wanted in bench.wanted] == [
        "next" if held_s < LONG_S else "back"
    ]  # the machine may be busy
    assert down_at <= bench.wanted[0].at <= down_at + held_s
    bench.board.close()


def test_a_long_press_resumes_when_the_newest_cue_says_held() -> None:
    bench = Bench().begin()
    bench.board.show(Cue("held"))
    bench.pin(17).drive_low()
    bench.clock.advance(1.0)
    until(lambda: bench.wanted, "the long press is told")
    assert bench.wanted == [Wanted(100.0, "resume")]
    bench.board.close()


def test_without_pins_in_the_settings_it_says_so_and_goes_on_beating() -> None:
    bench = Bench(CueSettings())
    bench.board.start()
    bench.board.show(Cue("pour", "under", 2.0))
    until(lambda: len(bench.beats) > 3, "it beats")
    assert bench.board.state == "none in the settings"
    bench.board.close()


@pytest.mark.parametrize(
    ("library", "named"), [("lgpio", "lgpio"), ("rpigpio", "RPi.GPIO"), ("pigpio", "pigpio"), ("native", "native")]
)
def test_a_machine_without_gpio_is_one_line_in_the_log_however_long_it_lasts(
    library: Any, named: str, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench(CueSettings(pins=library, pedal=17, buzzer=18))
    with caplog.at_level(logging.INFO):
        bench.board.start()
        until(lambda: bench.board.state.startswith("unavailable: "), "it says that there is none")
        for _ in range(20):
            beats = len(bench.beats)
            bench.clock.advance(RETRY_S + 1)
            until(lambda beats=beats: len(bench.beats) > beats + 2, "it has tried again")
            bench.board.show(Cue("pour", "under", 2.0))
    bench.board.close()
    assert named in bench.board.state
    assert len([record for record in caplog.records if record.message.startswith("gpio: ")]) == 1


def test_no_other_pin_factory_is_ever_tried() -> None:
    """gpiozero's own choice would go on to another one, with a warning (its issues 515, 572, 703, 801)."""
    import gpiozero

    bench = Bench(CueSettings(pins="rpigpio", buzzer=18))
    bench.board.start()
    until(lambda: bench.board.state.startswith("unavailable"), "unavailable")
    bench.board.close()
    assert gpiozero.Device.pin_factory is None


def test_pins_that_come_later_are_taken_then(caplog: pytest.LogCaptureFixture) -> None:
    tries = []

    def at_the_third_time(settings: CueSettings, on_edge: OnEdge) -> Pins:
        tries.append(1)
        if len(tries) < 3:
            raise PinsUnavailable("unavailable: lgpio: can not open gpiochip")
        return Pins(settings, on_edge)

    bench = Bench(open_pins=at_the_third_time)
    with caplog.at_level(logging.INFO):
        bench.board.start()
        until(lambda: tries, "the first try")
        while len(tries) < 3:
            bench.clock.advance(RETRY_S)
            before = len(bench.beats)
            until(lambda before=before: len(bench.beats) > before + 2, "a round")
        until(lambda: bench.board.state == "ready (mock)", "ready")
        bench.board.show(Cue("pour", "under"))
        until(lambda: bench.lights()["under"], "it works")
    bench.board.close()
    assert [record.message for record in caplog.records] == [
        "gpio: unavailable: lgpio: can not open gpiochip",
        "gpio: ready (mock)",
    ]


def test_a_pin_that_fails_later_is_said_and_the_pins_are_opened_anew(caplog: pytest.LogCaptureFixture) -> None:
    bench = Bench().begin()

    class Broken(type(bench.pin(22))):
        def _set_state(self, _value: float) -> None:
            raise OSError(5, "Input/output error")

    first = bench.pin(22)
    first.__class__ = Broken
    bench.board.show(Cue("pour", "under"))
    until(lambda: bench.board.state.startswith("failed: mock"), "it is said")
    assert "Input/output error" in bench.board.state
    bench.clock.advance(RETRY_S)
    until(lambda: bench.board.state == "ready (mock)", "opened anew")
    assert bench.pin(22) is not first
    bench.board.show(Cue("pour", "under"))
    until(lambda: bench.lights()["under"], "it works again")
    bench.board.close()
    assert "a pin could not be switched off" in caplog.text


def test_a_pin_that_this_board_has_not_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GPIOZERO_MOCK_REVISION", "0002")  # a first Pi, whose header ends before GPIO 26
    with pytest.raises(PinsUnavailable, match="unavailable: mock: 26 is not a valid pin name"):
        Pins(CueSettings(pins="mock", lights=Lights(under=22), buzzer=26), lambda *_: None)
    Pins(CueSettings(pins="mock", lights=Lights(under=22), buzzer=25), lambda *_: None).close()


def test_without_pins_in_the_settings_none_are_opened() -> None:
    with pytest.raises(PinsUnavailable, match="none in the settings"):
        Pins(CueSettings(), lambda *_: None)


LIBRARY = """
import os
raise OSError("asked to keep its pipe in " + os.environ.get("LG_WD", "the current directory"))
"""
OPENING = """
from scaled.cues.pedal import LONG_S
from scaled.cues.pins import CueSettings, Pins, PinsUnavailable
try:
    Pins(CueSettings(pins="lgpio", buzzer=18), print)
except PinsUnavailable as error:
    print(error)
"""


@pytest.mark.parametrize("given", [{}, {"LG_WD": ""}, {"RUNTIME_DIRECTORY": "/nowhere"}, {"LG_WD": "/chosen"}])
def test_lgpio_is_given_a_directory_that_it_may_write_before_it_is_imported(
    given: dict[str, str], tmp_path: Path
) -> None:
    """lgpio makes a pipe where it stands; a service stands in `/` (lg, its issues 12 and 22)."""
    (tmp_path / "lgpio.py").write_text(LIBRARY)
    run = tmp_path / "run"
    run.mkdir()
    environ = {"PYTHONPATH": f"{tmp_path}:{ROOT}", "RUNTIME_DIRECTORY": str(run), "TMPDIR": str(tmp_path)} | given
    said = subprocess.run(
        [sys.executable, "-c", OPENING], cwd="/", env=environ, capture_output=True, text=True, check=True
    )
    expected = given.get("LG_WD") or (tmp_path if "RUNTIME_DIRECTORY" in given else run)
    assert said.stdout == f"unavailable: lgpio: asked to keep its pipe in {expected}\n"
    assert said.stderr == ""
