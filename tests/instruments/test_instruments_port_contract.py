"""One contract for every kind of port, run on a pseudo-terminal, on a TCP socket and on pyserial's loop."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import pytest

from scaled.clock import RealClock
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import PortOptions
from scaled.instruments.port import ScalePort
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale

LINE = b"ST,GS,+00123.4 g\r\n"


class FarSide(Protocol):
    """What is at the other end of a port: it sends, goes away, comes back."""

    port: str

    def send(self, data: bytes, port: ScalePort) -> None: ...

    def cut(self) -> None: ...

    def mend(self) -> None: ...

    def close(self) -> None: ...


class PtyFarSide:
    """A pseudo-terminal whose scale is switched off, so that only what the test sends comes."""

    def __init__(self, folder: Path) -> None:
        scale = SimulatedScale()
        scale.switch_off()
        self._pty = PtyScale(scale, RealClock(), folder)
        self.port = str(self._pty.path)
        self.mend = self._pty.replug
        self.cut = self._pty.unplug
        self.close = self._pty.stop

    def send(self, data: bytes, port: ScalePort) -> None:
        del port
        self._pty.send_raw(data)


class SocketFarSide:
    """A serial-to-network bridge: one client at a time, the newest one is served."""

    def __init__(self) -> None:
        self._server: socket.socket | None = None
        self._clients: list[socket.socket] = []
        self._number = 0
        self.mend()
        self.port = f"socket://127.0.0.1:{self._number}"

    def mend(self) -> None:
        self._server = socket.create_server(("127.0.0.1", self._number))
        self._number = self._server.getsockname()[1]
        threading.Thread(target=self._accept, args=(self._server,), daemon=True).start()

    def _accept(self, server: socket.socket) -> None:
        with contextlib.suppress(OSError):  # the server was closed: no more clients
            while True:
                self._clients.append(server.accept()[0])

    def send(self, data: bytes, port: ScalePort) -> None:
        del port
        for client in self._clients[-1:]:
            with contextlib.suppress(OSError):  # the client has gone meanwhile
                client.sendall(data)

    def cut(self) -> None:
        if self._server is not None:
            self._server.shutdown(socket.SHUT_RDWR)
            self._server.close()
        self._server = None
        for client in self._clients:
            client.close()
        self._clients.clear()

    def close(self) -> None:
        self.cut()


class LoopFarSide:
    """pyserial's loop: what is written comes back. It cannot be cut."""

    port = "loop://"

    def send(self, data: bytes, port: ScalePort) -> None:
        port.send(data)

    def cut(self) -> None:
        raise NotImplementedError("a loop has no far side that goes away")

    def mend(self) -> None: ...

    def close(self) -> None: ...


@pytest.fixture(params=["pty", "socket", "loop"])
def far(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[FarSide]:
    made: FarSide = {"pty": lambda: PtyFarSide(tmp_path), "socket": SocketFarSide, "loop": LoopFarSide}[request.param]()
    yield made
    made.close()


@pytest.fixture
def silence_s() -> float:
    """Long: that a busy machine sends nothing for a moment is no silence. Those to whom it matters set it otherwise."""
    return 60.0


@pytest.fixture
def port(far: FarSide, header: LineFormat, listener, silence_s: float) -> Iterator[ScalePort]:
    made = ScalePort(
        "bench",
        far.port,
        header,
        RealClock(),
        listener.on_reading,
        listener.on_state,
        options=PortOptions(silence_s=silence_s),
    )
    yield made
    made.stop()


def keep_sending(far: FarSide, port: ScalePort, listener, condition, data: bytes = LINE) -> None:
    """Send until a condition holds: what is sent before the port is open is lost, as on a real line."""

    def sent() -> bool:
        if not condition():
            with contextlib.suppress(Exception):  # a loop cannot be written to before it is open
                far.send(data, port)
        return condition()

    listener.until(sent)


def test_lines_become_readings(far: FarSide, port: ScalePort, listener) -> None:
    port.start()
    keep_sending(far, port, listener, lambda: len(listener.readings) >= 5)
    assert {reading.value_mg for reading in listener.readings} == {123_400}
    assert listener.states == ["ready"]
    assert port.condition == "ready"
    assert port.counts.frames_ok >= 5
    assert port.last_good_at is not None


def test_garbage_is_counted_and_is_no_reading(far: FarSide, port: ScalePort, listener) -> None:
    port.start()
    keep_sending(far, port, listener, lambda: listener.readings)
    keep_sending(far, port, listener, lambda: port.counts.frames_bad >= 5, b"\xf0\x9f\x00garbage\r\n" + LINE)
    assert {reading.value_mg for reading in listener.readings} == {123_400}
    assert port.counts.bytes_discarded > 50
    assert listener.states == ["ready"]


@pytest.mark.parametrize("silence_s", [0.5])
def test_silence_is_a_loss_and_lines_bring_it_back(far: FarSide, port: ScalePort, listener) -> None:
    """The port stays open and nothing comes: lost after `silence_s`, opened anew, and back with the next lines."""
    port.start()
    keep_sending(far, port, listener, lambda: listener.readings)
    listener.until(lambda: "lost" in listener.states)
    assert port.condition == "silent"
    keep_sending(far, port, listener, lambda: listener.states[2:3] == ["ready"])
    assert listener.states[:3] == ["ready", "lost", "ready"]
    assert port.counts.reopened >= 1


@pytest.mark.parametrize("silence_s", [0.5])
def test_garbage_alone_is_silence(far: FarSide, port: ScalePort, listener) -> None:
    port.start()
    keep_sending(far, port, listener, lambda: listener.readings)
    keep_sending(far, port, listener, lambda: "lost" in listener.states, b"not a weight\r\n")
    assert port.condition == "silent"


@pytest.mark.parametrize("far", ["pty", "socket"], indirect=True)
def test_the_far_side_goes_in_the_middle_of_a_line_and_comes_back(far: FarSide, port: ScalePort, listener) -> None:
    port.start()
    keep_sending(far, port, listener, lambda: listener.readings)
    far.send(LINE[:9], port)
    far.cut()
    listener.until(lambda: listener.states[-1] == "lost")
    count = len(listener.readings)
    far.mend()
    keep_sending(far, port, listener, lambda: listener.states[-1] == "ready" and len(listener.readings) > count)
    assert {reading.value_mg for reading in listener.readings} == {123_400}


def test_it_stops_while_nothing_comes(port: ScalePort, listener) -> None:
    """`stop` waits for a second at most; the thread that reads ends by then, or on a busy machine soon after."""
    port.start()
    listener.until(lambda: port.moved_at > 0 and port.condition == "starting")
    port.stop()
    assert port.condition == "stopped"
    listener.until(lambda: not [thread for thread in threading.enumerate() if thread.name == "scale bench"])


def test_nothing_is_told_after_it_was_stopped(far: FarSide, port: ScalePort, listener) -> None:
    port.start()
    keep_sending(far, port, listener, lambda: listener.readings)
    port.stop()
    count = len(listener.readings)
    with contextlib.suppress(Exception):  # a loop that was stopped cannot be written to
        far.send(LINE * 20, port)
    assert len(listener.readings) == count
    assert listener.states == ["ready"]
