"""The real daemon, from the product alone: from a byte on the line to fifty browsers, its memory, its disk.

A line is written to a pseudo-terminal, `scaled run` reads it, and fifty streams wait for the Snapshot that shows its
value. The floor reads a line of its own and writes an event of the same size to fifty sockets; the two take turns.
Bytes and syncs are counted by strace on the daemon, so they are exact.
"""

from __future__ import annotations

import re
import selectors
import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from statistics import median

from bench_product import PRODUCT, imports_alone, peak_mb
from daemon_run import VALUE, Daemon, Line, floor
from figures import Row, Size

VIEWERS = 50
KNOCKING = 200
PACE_S = 0.1
A_TURN = 15
BOWL_G = 812.0
FORMULA = "oat-and-honey-short-dough"
SOAK_S = {"small": 5, "full": 600}
IDLE_S = {"small": 5, "full": 600}
TURNS = {"small": 8, "full": 40}
SHOWN = re.compile(rb'"gross_g": ?([0-9.]+)')
CALL = re.compile(r"(\w+)\(\d+<(/[^>]*)>.*= (\d+)$")
REQUEST = b"GET %b HTTP/1.1\r\nHost: localhost\r\n\r\n"


class Viewers:
    """Streams that are open at one server, and how late each value came to each of them."""

    def __init__(self, port: int, line: Line) -> None:
        self.line = line
        self.sockets = [socket.create_connection(("127.0.0.1", port), timeout=10) for _ in range(VIEWERS)]
        self.ready = selectors.DefaultSelector()
        for wire in self.sockets:
            wire.sendall(REQUEST % b"/api/v1/events")
            self.ready.register(wire, selectors.EVENT_READ)
        self.late_ms: list[float] = []
        self._seen: set[tuple[int, float]] = set()
        self.read_for(0.5, {})

    def turn(self, first_g: float) -> float:
        """Fifteen lines, each 0.1 g more, each seen by everybody; returns the value after the last."""
        grams, said = first_g, {}
        for _ in range(A_TURN):
            grams = round(grams + 0.1, 1)
            said[grams] = time.perf_counter()
            self.line.say(grams)
            self.read_for(PACE_S, said)
        self.read_for(PACE_S, said)
        return grams

    def read_for(self, seconds: float, said: dict[float, float]) -> None:
        until = time.perf_counter() + seconds
        while (left := until - time.perf_counter()) > 0:
            for key, _ in self.ready.select(left):
                data = key.fileobj.recv(65536)  # type: ignore[union-attr]
                now = time.perf_counter()
                for shown in map(float, SHOWN.findall(data)):
                    if shown in said and (key.fd, shown) not in self._seen:
                        self._seen.add((key.fd, shown))
                        self.late_ms.append((now - said[shown]) * 1e3)

    def close(self) -> None:
        for wire in self.sockets:
            wire.close()


def p99(values: list[float]) -> float:
    return sorted(values)[int(len(values) * 0.99)]


def begun(daemon: Daemon, line: Line) -> float:
    """A batch whose bowl stands there and whose first addition is being poured; returns what the scale shows."""
    daemon.ask("/api/v1/batch", {"formula": FORMULA})

    def tared() -> bool:
        line.say(BOWL_G)
        time.sleep(0.08)
        addition = daemon.ask("/api/v1/status")["addition"]
        return addition is not None and addition["phase"] == "waiting"

    daemon.until(tared, "bowl tared")
    return BOWL_G


def heard(daemon: Daemon, line: Line) -> None:
    """The scale is there, and all that the log has to say of it is said."""

    def is_ready() -> bool:
        line.say(BOWL_G)
        time.sleep(0.08)
        return bool(daemon.ask("/api/v1/status")["scale"]["state"] == "ready")

    daemon.until(is_ready, "scale heard")


def rows(size: Size) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
        folder = Path(name)
        line, other = Line(), Line()
        stack.callback(line.close)
        stack.callback(other.close)
        daemon = stack.enter_context(Daemon(PRODUCT, folder, line.path, viewers=VIEWERS))
        pid = daemon.process.pid
        grams = begun(daemon, line)
        page_up_mb = peak_mb(pid)
        viewers = Viewers(daemon.port, line)
        stack.callback(viewers.close)
        event = SHOWN.sub(b'"gross_g":' + VALUE.encode(), raw(daemon.port))
        bare = Viewers(stack.enter_context(floor(folder, event.decode(), other.path)), other)
        stack.callback(bare.close)
        for _ in range(TURNS[size]):
            grams = viewers.turn(grams)
            bare.turn(grams)
        yield from _latency(viewers.late_ms, bare.late_ms, TURNS[size] * A_TURN * VIEWERS)
        yield _knocking(daemon.port, 50 if size == "small" else 500)
        _soak(viewers, grams, SOAK_S[size])
        alone_mb = imports_alone()[1]
        alone = {"floor": alone_mb, "floor_is": "its imports alone"}
        yield Row("daemon: memory, page up (VmHWM)", page_up_mb, "MB", ratio_at_most=1.37, figure_at_most=48, **alone)
        yield Row(
            "daemon: memory with 50 viewers (VmHWM)",
            peak_mb(pid),
            "MB",
            ratio_at_most=1.6,
            figure_at_most=56,
            note=f"after {SOAK_S[size]} s at {1 / PACE_S:g} lines a second",
            **alone,
        )
    yield from _disk(size)


def raw(port: int) -> bytes:
    """The Snapshot as it is on the wire."""
    with socket.create_connection(("127.0.0.1", port), timeout=10) as wire:
        wire.sendall(REQUEST % b"/api/v1/status")
        got = b""
        while b"\r\n\r\n" not in got or not got.rstrip().endswith(b"}"):
            got += wire.recv(65536)
    return got.partition(b"\r\n\r\n")[2].strip()


def _latency(late_ms: list[float], bare_ms: list[float], wanted: int) -> Iterator[Row]:
    for values, whose in ((late_ms, "the daemon"), (bare_ms, "the floor")):
        if len(values) < 0.98 * wanted:
            raise RuntimeError(f"{whose} brought {len(values)} of {wanted} values")
    floor_is = f"a bare asyncio writer, {VIEWERS} sockets"
    note = f"{len(late_ms)} events"
    what = f"byte on the line -> event at {VIEWERS} viewers"
    yield Row(f"{what}, median", median(late_ms), "ms", median(bare_ms), floor_is, note=note)
    yield Row(
        f"{what}, p99", p99(late_ms), "ms", p99(bare_ms), floor_is, ratio_at_most=2.5, figure_at_most=15, note=note
    )


def _knocking(port: int, asked: int) -> Row:
    """`/healthz` while all places are taken and 200 more knock."""
    knocking = [socket.create_connection(("127.0.0.1", port), timeout=10) for _ in range(KNOCKING)]
    for wire in knocking:
        wire.sendall(REQUEST % b"/api/v1/events")
    taken_ms = []
    for _ in range(asked):
        start = time.perf_counter()
        with socket.create_connection(("127.0.0.1", port), timeout=10) as wire:
            wire.sendall(b"GET /healthz HTTP/1.0\r\nHost: localhost\r\n\r\n")
            while wire.recv(65536):
                pass
        taken_ms.append((time.perf_counter() - start) * 1e3)
    if not all(wire.recv(12).endswith(b"503") for wire in knocking):
        raise RuntimeError("somebody who knocked was not told that it is full")
    for wire in knocking:
        wire.close()
    return Row(f"daemon: /healthz while {KNOCKING} knock, p99", p99(taken_ms), "ms", figure_at_most=100)


def _soak(viewers: Viewers, grams: float, seconds: int) -> None:
    """The line goes on, fifty look on."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        viewers.line.say(round(grams + (time.monotonic() * 7) % 3, 1))
        viewers.read_for(PACE_S, {})


def _disk(size: Size) -> Iterator[Row]:
    """Bytes and syncs of the real daemon: a batch with all that can be done over HTTP, then nothing."""
    with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
        folder, line = Path(name), Line()
        stack.callback(line.close)
        trace = folder / "trace"
        calls = "trace=write,pwrite64,writev,pwritev,fdatasync,fsync,ftruncate"
        strace = ("strace", "-D", "-f", "--seccomp-bpf", "-qq", "-y", "-s", "0", "-e", calls, "-o", str(trace))
        daemon = stack.enter_context(Daemon(PRODUCT, folder, line.path, wrapped_by=strace))
        begun(daemon, line)
        start = len(trace.read_text().splitlines())
        events = 0
        for number in range(40 if size == "small" else 400):
            wish = ("hold", "resume")[number % 2]
            daemon.ask("/api/v1/intent", {"intent": wish})
            events += 1
        written, syncs = counted(trace, start)
        yield Row("daemon: written an event", written / events, "bytes", figure_at_most=10_000, note=f"{events} events")
        yield Row("daemon: fdatasync an event", syncs / events, "calls", 1, "the least", ratio_at_most=1.1)
        daemon.ask("/api/v1/intent", {"intent": "abort"})
        heard(daemon, line)
        start = len(trace.read_text().splitlines())
        until = time.monotonic() + IDLE_S[size]
        while time.monotonic() < until:
            line.say(BOWL_G + (int(time.monotonic()) % 2) / 10)
            time.sleep(PACE_S)
        written, syncs = counted(trace, start)
        yield Row(
            "daemon: written by an idle bench",
            written,
            "bytes",
            figure_at_most=0,
            note=f"{syncs} syncs in {IDLE_S[size]} s, the scale speaking",
        )


def counted(trace: Path, start: int) -> tuple[int, int]:
    """Bytes written to files and syncs of them, from a line of the trace on."""
    written = syncs = 0
    for text in trace.read_text().splitlines()[start:]:
        call = CALL.search(text)
        if call and not call[2].startswith(("/dev/", "/proc/")):
            is_sync = call[1] in ("fdatasync", "fsync")
            syncs += is_sync
            written += 0 if is_sync else int(call[3])
    return written, syncs
