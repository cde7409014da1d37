"""A port that is unplugged, shared, silent or failing: a state and a counter, never an end."""

from __future__ import annotations

import errno
import fcntl
import logging
import os
import random
import statistics
import subprocess
import sys
import termios
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import serial

from scaled.clock import ManualClock, RealClock, SpedUpClock
from scaled.errors import Busy, NoScale
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import PortOptions
from scaled.instruments.port import ScalePort
from scaled.instruments.wire import open_wire
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale

SPEED = 20.0
PATIENT_S = 3600.0  # bench time: a busy machine that stands still for a moment is no silence


@pytest.fixture
def made() -> Iterator[list[ScalePort]]:
    """Ports that are stopped at the end."""
    ports: list[ScalePort] = []
    yield ports
    for port in ports:
        port.stop()


def scale_port(
    made, listener, line_format: LineFormat, port: str, clock, silence_s: float = PATIENT_S, **options: object
) -> ScalePort:
    made.append(
        ScalePort(
            "bench",
            port,
            line_format,
            clock,
            listener.on_reading,
            listener.on_state,
            options=PortOptions(silence_s=silence_s, **options),
            jitter=random.Random(1),
        )
    )
    return made[-1]


def test_unplugged_200_times_in_the_middle_of_a_line(tmp_path: Path, header: LineFormat, listener, made) -> None:
    """Back in at most 2 s (median), in bench time, each time; no weight that the scale did not show."""
    clock = SpedUpClock(SPEED)
    source = random.Random(2)
    scale = SimulatedScale(ScaleParameters(noise_d=0.0, blips_per_min=0.0), load_g=123.4)
    back_s: list[float] = []
    with PtyScale(scale, clock, tmp_path) as pty:
        port = scale_port(made, listener, header, str(pty.path), clock)
        port.start()
        listener.until(lambda: listener.readings)
        for _ in range(200):
            pty.send_raw(b"ST,GS,+00123.4 g\r\n"[: source.randint(1, 17)])
            pty.unplug()
            listener.until(lambda: listener.states[-1] == "lost")
            count, replugged_at = len(listener.readings), clock.monotonic()
            pty.replug()
            listener.until(lambda count=count: len(listener.readings) > count)
            back_s.append(listener.readings[count].at - replugged_at)
    assert {reading.value_mg for reading in listener.readings} == {123_400}
    assert port.counts.reopened >= 200
    assert sum(port.counts.failures.values()) >= 200
    assert listener.states[:401] == ["ready", *["lost", "ready"] * 200]  # what comes then is the end of the scale
    assert statistics.median(back_s) <= 2.0, f"median {statistics.median(back_s):.2f} s"
    print(f"back after {statistics.median(back_s):.2f} s median, {max(back_s):.2f} s at most (bench time)")


def test_it_starts_with_no_scale_and_takes_it_when_it_comes(tmp_path: Path, header: LineFormat, listener, made) -> None:
    clock = SpedUpClock(SPEED)
    port = scale_port(made, listener, header, str(tmp_path / "scale"), clock)
    port.claim()
    port.start()
    listener.until(lambda: port.condition == "absent")
    assert listener.states == []
    with PtyScale(SimulatedScale(), clock, tmp_path):
        listener.until(lambda: listener.states == ["ready"])


def test_back_at_once_however_long_it_was_away(tmp_path: Path, header: LineFormat, listener, made) -> None:
    """The waits between tries have grown to 5 s: the name is still looked for four times a second.

    The clock is moved by hand, and only when the port has moved: a busy machine is not taken for a long wait.
    """
    clock = ManualClock()
    with PtyScale(SimulatedScale(), clock, tmp_path) as pty:
        port = scale_port(made, listener, header, str(pty.path), clock)

        def passes(bench_s: float) -> bool:
            clock.advance(bench_s)
            pty.act(lambda _scale, _at: None)  # what is due is on the line
            listener.until(lambda: port.moved_at == clock.monotonic())
            return True

        port.start()
        listener.until(lambda: passes(0.05) and listener.readings)
        pty.unplug()
        listener.until(lambda: passes(0.05) and port.condition != "ready")
        for _ in range(150):
            passes(0.2)
        count, back_at = len(listener.readings), clock.monotonic()
        pty.replug()
        listener.until(lambda: passes(0.05) and len(listener.readings) > count)
        assert listener.readings[count].at - back_at <= 2.0


def test_the_name_leads_to_another_device_after_a_replug(tmp_path: Path, header: LineFormat, listener, made) -> None:
    clock = SpedUpClock(SPEED)
    ends = []
    with PtyScale(SimulatedScale(), clock, tmp_path) as pty:
        port = scale_port(made, listener, header, str(pty.path), clock)
        port.start()
        listener.until(lambda: listener.readings)
        ends.append(str(pty.path.readlink()))
        keep, kept = os.openpty()  # takes the number that was given back
        pty.unplug()
        other, also = os.openpty()
        pty.replug()
        ends.append(str(pty.path.readlink()))
        listener.until(lambda: listener.states == ["ready", "lost", "ready"])
        for end in (keep, kept, other, also):
            os.close(end)
    assert ends[0] != ends[1]


def test_silence_for_three_seconds_opens_the_port_anew(tmp_path: Path, header: LineFormat, listener, made) -> None:
    """The clock is moved by hand: at 2.9 s of silence it is still there, at 3.1 s it is lost and opened again."""
    clock = ManualClock()
    with PtyScale(SimulatedScale(), clock, tmp_path) as pty:
        port = scale_port(made, listener, header, str(pty.path), clock, silence_s=3.0)
        port.start()

        def advanced() -> bool:
            clock.advance(0.01)
            return bool(listener.readings)

        listener.until(advanced)
        pty.act(lambda scale, at: scale.switch_off(at))
        quiet_at = port.last_good_at
        assert quiet_at is not None
        clock.advance(quiet_at + 2.9 - clock.monotonic())
        seen_at = port.moved_at
        listener.until(lambda: port.moved_at > seen_at or port.moved_at == clock.monotonic())
        assert listener.states == ["ready"]
        clock.advance(0.3)
        listener.until(lambda: listener.states == ["ready", "lost"])
        assert port.condition == "silent"

        def reopened() -> bool:
            clock.advance(0.05)
            return port.counts.reopened == 1

        listener.until(reopened)


ERRORS = [
    ("read", serial.SerialException("device reports readiness to read but returned no data"), "SerialException"),
    ("read", OSError(errno.EIO, "gone"), "EIO"),
    ("read", OSError(errno.ENODEV, "gone"), "ENODEV"),
    ("read", OSError(errno.ENXIO, "gone"), "ENXIO"),
    ("read", OSError(errno.EBADF, "gone"), "EBADF"),
    ("read", termios.error(5, "gone"), "termios.error"),
    ("read", TypeError("an integer is required"), "TypeError"),
    ("read", RuntimeError("a backend's own"), "RuntimeError"),
    ("timeout", termios.error(5, "gone"), "termios.error"),
    ("timeout", OSError(errno.EIO, "gone"), "EIO"),
]


@pytest.mark.parametrize(("where", "error", "counted"), ERRORS)
def test_each_error_of_a_port_is_a_counter_and_a_new_opening(
    failing, header: LineFormat, listener, made, where: str, error: Exception, counted: str
) -> None:
    port = scale_port(made, listener, header, failing((where, error), (where, error)), SpedUpClock(SPEED))
    port.start()
    listener.until(lambda: port.counts.reopened >= 2 and listener.states[-1:] == ["ready"])
    assert port.counts.failures == {counted: 2}


@pytest.mark.parametrize(
    "error",
    [
        serial.SerialException(errno.ENOENT, "no such file"),
        OSError(errno.EACCES, "denied"),
        OSError(errno.EIO, "no"),
        termios.error(22, "no"),
        ValueError("Invalid baud rate"),
        TypeError("no"),
    ],
)
def test_an_error_at_opening_is_waited_out(failing, header: LineFormat, listener, made, error: Exception) -> None:
    port = scale_port(made, listener, header, failing(("open", error), ("open", error)), SpedUpClock(SPEED))
    port.claim()
    assert port.condition == "starting", "the thread looks again, and says what it finds"
    port.start()
    listener.until(lambda: listener.states == ["ready"])


def test_an_error_at_closing_does_not_matter(failing, header: LineFormat, listener, made) -> None:
    port = scale_port(made, listener, header, failing(("close", OSError(errno.EIO, "no"))), SpedUpClock(SPEED))
    port.start()
    listener.until(lambda: listener.readings)
    port.stop()
    assert port.condition == "stopped"


def test_a_failed_command_to_the_scale_is_told(failing, header: LineFormat, listener, made) -> None:
    port = scale_port(made, listener, header, failing(("write", OSError(errno.EIO, "no"))), SpedUpClock(SPEED))
    with pytest.raises(NoScale, match="not open"):
        port.send(b"T\r\n")
    port.start()
    listener.until(lambda: listener.readings)
    with pytest.raises(NoScale, match="EIO"):
        port.send(b"T\r\n")


def test_the_log_has_a_line_for_each_change_not_for_each_try(
    header: LineFormat, listener, made, caplog: pytest.LogCaptureFixture, failing
) -> None:
    """Away for a bench day: hundreds of tries, a handful of lines."""
    tries = 600
    address = failing(*[("open", OSError(errno.ENODEV, "gone"))] * tries)
    with caplog.at_level(logging.INFO, logger="scaled.instruments"):
        port = scale_port(made, listener, header, address, SpedUpClock(100_000.0))
        port.start()
        listener.until(lambda: listener.states == ["ready"])
        port.stop()
    assert len(caplog.records) <= 20
    assert port.counts.reopened == 0


def test_a_port_that_another_process_has_is_busy(tmp_path: Path, header: LineFormat, listener, made) -> None:
    """The second one is told so, waits as a daemon does, and the first one is not disturbed."""
    clock = SpedUpClock(SPEED)
    with PtyScale(SimulatedScale(), clock, tmp_path) as pty:
        held = (
            "import sys, fcntl; f = open(sys.argv[1], 'rb+', 0); fcntl.flock(f, fcntl.LOCK_EX); print('x', flush=True)"
        )
        command = [sys.executable, "-c", held + "; sys.stdin.read()", str(pty.path)]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
            assert other.stdout is not None
            assert other.stdout.readline() == b"x\n"
            port = scale_port(made, listener, header, str(pty.path), clock)
            with pytest.raises(Busy, match="another program") as busy:
                port.claim()
            assert busy.value.exit_code == 75
            port.start()
            listener.until(lambda: port.moved_at > 0 and port.condition == "busy")
            assert listener.states == []
            other.communicate(b"")
        listener.until(lambda: listener.states == ["ready"])


def test_our_own_second_port_on_one_device_is_busy(tmp_path: Path, header: LineFormat, listener, made) -> None:
    with PtyScale(SimulatedScale(), RealClock(), tmp_path) as pty:
        first = scale_port(made, listener, header, str(pty.path), RealClock())
        first.claim()
        with pytest.raises(Busy):
            open_wire(str(pty.path), PortOptions())
        first.start()
        listener.until(lambda: len(listener.readings) > 5)


def test_a_pseudo_terminal_is_not_locked_for_good(tmp_path: Path) -> None:
    """TIOCEXCL stays on a pseudo-terminal whose far side is open: it must not be set there (TIOCGEXCL reads it)."""
    tiocgexcl = 0x80045440
    with PtyScale(SimulatedScale(), RealClock(), tmp_path) as pty:
        wire = open_wire(str(pty.path), PortOptions())
        number = os.open(pty.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        assert int.from_bytes(fcntl.ioctl(number, tiocgexcl, bytes(4)), sys.byteorder) == 0
        os.close(number)
        wire.close()
        open_wire(str(pty.path), PortOptions()).close()


@pytest.mark.parametrize("dtr", ["keep", "low", "high"])
def test_every_way_with_dtr_opens(tmp_path: Path, dtr: str) -> None:
    with PtyScale(SimulatedScale(), RealClock(), tmp_path) as pty:
        wire = open_wire(str(pty.path), PortOptions(dtr=dtr))
        assert not termios.tcgetattr(wire._port.fileno())[2] & termios.HUPCL
        wire.close()


def test_boot_noise_before_the_port_has_settled_is_not_read(tmp_path: Path, header: LineFormat, listener, made) -> None:
    clock = SpedUpClock(SPEED)
    with PtyScale(SimulatedScale(), clock, tmp_path) as pty:
        port = scale_port(made, listener, header, str(pty.path), clock, settle_s=2.0)
        began_at = clock.monotonic()
        port.start()
        listener.until(lambda: listener.readings)
    assert listener.readings[0].at - began_at >= 2.0
    assert listener.states[0] == "ready"


@pytest.mark.parametrize(
    "wrong",
    [{"baud": 0}, {"frame": "9N1"}, {"frame": "8N1\n"}, {"dtr": "up"}, {"silence_s": 0.1}, {"settle_s": -1.0}],
)
def test_options_check_themselves(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r".+"):
        PortOptions(**wrong)


@pytest.mark.parametrize(
    ("port", "says"),
    [
        ("/dev/scaled-no-such-port", "no such port"),
        ("/dev/null", "cannot be opened"),
        ("socket://127.0.0.1:1", "refused"),
        ("nothing://here", "not known"),
    ],
)
def test_a_port_that_cannot_be_opened_says_why(port: str, says: str) -> None:
    with pytest.raises(NoScale, match=says) as error:
        open_wire(port, PortOptions())
    assert error.value.exit_code == 69
    assert port in str(error.value)


def test_a_port_is_started_once(header: LineFormat, listener, made, failing: Callable[..., str]) -> None:
    port = scale_port(made, listener, header, failing(), RealClock())
    port.start()
    with pytest.raises(RuntimeError):
        port.start()
