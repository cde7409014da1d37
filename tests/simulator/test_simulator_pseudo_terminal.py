"""The simulated scale on a real pseudo-terminal, read with pyserial like any port."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import serial

from scaled.clock import ManualClock, RealClock, SpedUpClock
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def read_until(port: serial.Serial, condition: Callable[[bytes], object], within_s: float = 30.0) -> bytes:
    data = b""
    until_s = time.monotonic() + within_s
    while not condition(data):
        assert time.monotonic() < until_s, data[-80:]
        data += port.read(256)
    return data


@pytest.fixture
def quiet() -> SimulatedScale:
    return SimulatedScale(ScaleParameters(noise_d=0.0, blips_per_min=0.0, creep_d=0.0))


def test_what_is_put_on_comes_out_of_the_port(tmp_path: Path, quiet: SimulatedScale) -> None:
    with PtyScale(quiet, SpedUpClock(10.0), tmp_path) as pty, serial.Serial(str(pty.path), timeout=0.05) as port:
        read_until(port, lambda data: b"ST,GS,+00000.0 g\r\n" in data)
        pty.act(lambda scale, at: scale.put(57.0, at, splash=0.1))
        read_until(port, lambda data: b"ST,GS,+00057.0 g\r\n" in data)
        assert pty.true_load_g == 57.0


def test_a_scale_joins_a_clock_that_has_run_for_a_year(tmp_path: Path, quiet: SimulatedScale) -> None:
    """The year is not simulated first; what was told for two seconds after the start comes two seconds from now."""
    clock = ManualClock(at=365 * 86_400.0)
    quiet.put(57.0, 2.0, splash=0.1)
    with PtyScale(quiet, clock, tmp_path) as pty:
        clock.advance(1.9)
        assert pty.true_load_g == 0.0
        clock.advance(0.2)
        assert pty.true_load_g == 57.0


def test_lines_come_as_fast_as_the_clock_runs(tmp_path: Path, quiet: SimulatedScale) -> None:
    """30 lines a bench second, on a clock that is moved by hand: no more than are due, and none is missing."""
    clock = ManualClock()
    with PtyScale(quiet, clock, tmp_path) as pty, serial.Serial(str(pty.path), timeout=0.02) as port:
        come = 0
        for second in range(1, 11):
            clock.advance(1.0)
            data = read_until(port, lambda data, least=30 * second - 1 - come: data.count(b"\n") >= least)
            come += data.count(b"\n")
            assert come <= 30 * second + 1


def test_unplugged_the_name_and_the_far_side_are_gone(tmp_path: Path, quiet: SimulatedScale) -> None:
    with PtyScale(quiet, RealClock(), tmp_path) as pty:
        with serial.Serial(str(pty.path), timeout=0.05) as port:
            read_until(port, bool)
            pty.unplug()
            assert not pty.path.exists()
            assert not pty.is_plugged
            with pytest.raises((serial.SerialException, OSError)):
                read_until(port, lambda _: False)
        pty.replug()
        assert pty.is_plugged
        with serial.Serial(str(pty.path), timeout=0.05) as again:
            read_until(again, lambda data: b"\n" in data)


def test_mass_goes_on_while_nobody_reads(tmp_path: Path, quiet: SimulatedScale) -> None:
    """The kernel's buffer is full and lines are lost: the scale goes on, and what comes after is up to date."""
    clock = SpedUpClock(1_000.0)
    with PtyScale(quiet, clock, tmp_path) as pty, serial.Serial(str(pty.path), timeout=0.05) as port:
        until_s = time.monotonic() + 30.0
        while port.in_waiting < 4_000:
            assert time.monotonic() < until_s
        pty.act(lambda scale, at: scale.put(20.0, at))
        read_until(port, lambda data: b"+00020.0 g" in data)


def test_bytes_that_are_no_line_can_be_sent(tmp_path: Path, quiet: SimulatedScale) -> None:
    quiet.switch_off()
    with PtyScale(quiet, RealClock(), tmp_path) as pty, serial.Serial(str(pty.path), timeout=0.05) as port:
        pty.send_raw(b"\x00\x7fboot\r\n")
        assert read_until(port, lambda data: len(data) >= 8) == b"\x00\x7fboot\r\n", "raw: nothing is translated"


def test_stopped_it_leaves_nothing_behind(quiet: SimulatedScale) -> None:
    before = open_files()
    pty = PtyScale(quiet, RealClock())
    folder = pty.path.parent
    assert folder.exists()
    pty.stop()
    assert not folder.exists()
    assert open_files() == before
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("simulated")]
    pty.stop()
