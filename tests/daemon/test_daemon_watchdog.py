"""The watchdog starves when one vital loop stands still, whichever it is, and only then.

A loop is made to stand still by the bench's clock, which every loop asks: it lets one thread wait in it.
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from threading import Event, current_thread

import pytest
from daemon_process import Place
from daemon_waiting import eventually

from scaled.clock import RealClock
from scaled.config import load_settings
from scaled.cues.settings import CueSettings
from scaled.daemon.daemon import LIMITS_S, Daemon
from scaled.notify import Notifier, Watchdog

THREADS = {"bench": "bench", "scale": "scale bench", "gpio": "gpio", "journal": "journal"}


class HoldingClock(RealClock):
    """Real time, in which one thread can be held up, and that can be set ahead."""

    def __init__(self) -> None:
        self.held: str | None = None
        self.let_go = Event()
        self.is_held = Event()
        self.ahead_s = 0.0

    def monotonic(self) -> float:
        if self.held is not None and current_thread().name == self.held:
            self.is_held.set()
            self.let_go.wait(30)
        return super().monotonic() + self.ahead_s


@pytest.fixture
def clock() -> Iterator[HoldingClock]:
    clock = HoldingClock()
    yield clock
    clock.held = None
    clock.let_go.set()


@pytest.fixture
def daemon(place: Place, clock: HoldingClock) -> Iterator[Daemon]:
    settings = replace(load_settings(str(place.settings)), cues=CueSettings(pins="mock", buzzer=18))
    daemon = Daemon(settings, clock, has_page=False)
    daemon.start()
    eventually(lambda: daemon.bench.board.latest().weight, "a weight")
    yield daemon
    clock.held = None
    clock.let_go.set()
    daemon.stop()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(5)
        yield listening


def test_every_vital_loop_is_watched() -> None:
    assert set(LIMITS_S) == set(THREADS)


@pytest.mark.parametrize("loop", THREADS)
def test_a_loop_that_stands_still_is_late_and_the_watchdog_is_not_fed(
    loop: str, daemon: Daemon, clock: HoldingClock, manager: socket.socket
) -> None:
    notifier = Notifier(manager.getsockname(), watchdog_s=0.001)
    watchdog = Watchdog(notifier, daemon.late)
    assert daemon.late(clock.monotonic()) == []
    assert watchdog.feed(clock.monotonic())
    assert manager.recv(100) == b"WATCHDOG=1"
    clock.held = THREADS[loop]
    assert clock.is_held.wait(10), f"{loop} does not ask the clock"
    clock.ahead_s += LIMITS_S[loop] + 1
    eventually(lambda: daemon.late(clock.monotonic()) == [loop], "that one is late, and the others have moved")
    assert not watchdog.feed(clock.monotonic())
    manager.setblocking(False)
    with pytest.raises(BlockingIOError):
        manager.recv(100)
    clock.held = None
    clock.let_go.set()
    eventually(lambda: daemon.late(clock.monotonic()) == [], "it moves again")
    assert watchdog.feed(clock.monotonic())
    notifier.close()


@pytest.mark.parametrize(("loop", "named"), [("bench", "bench"), ("scale", "scale"), ("gpio", "pins")])
def test_what_hangs_at_the_end_is_named(
    loop: str, named: str, daemon: Daemon, clock: HoldingClock, caplog: pytest.LogCaptureFixture
) -> None:
    clock.held = THREADS[loop]
    assert clock.is_held.wait(10), f"{loop} does not ask the clock"
    daemon.stop()
    assert f"what hangs is left behind: {named}" in [record.getMessage() for record in caplog.records]


def test_nothing_is_late_where_the_scale_and_the_pins_are_away(place: Place, clock: HoldingClock) -> None:
    settings = load_settings(str(place.settings))
    absent = replace(settings.scales[0], port="/dev/serial/by-id/usb-no-such-scale")
    no_pins = CueSettings(pins="lgpio", buzzer=18)
    daemon = Daemon(replace(settings, scales=(absent,), cues=no_pins), clock, has_page=False)
    daemon.start()
    try:
        while clock.ahead_s <= max(LIMITS_S.values()):
            clock.ahead_s += 4.0
            eventually(lambda: daemon.late(clock.monotonic()) == [], "all move")
    finally:
        daemon.stop()
