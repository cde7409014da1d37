"""A Snapshot published -> its event at the browser: 50 viewers, 10 Snapshots a second, beside a bare asyncio writer.

Two servers in processes of their own, the page under waitress and a plain socket writer that knows nothing, take turns
of a second or two; one client reads all hundred streams. Each event carries the time it was published at
(CLOCK_MONOTONIC is one clock for all processes), so that nothing but the way from there to the client is counted.
"""

from __future__ import annotations

import asyncio
import json
import re
import selectors
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import median
from types import SimpleNamespace
from typing import IO

VIEWERS = 50
PACE_S = 0.1
PUBLISHED = re.compile(rb'"at":"(\d+)"')
REQUEST = b"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\n\r\n"


def example(seq: int):
    """A Snapshot of usual size, with the time it is made at in place of the wall's."""
    from scaled.batch.cue import Cue
    from scaled.batch.snapshot import ShownAddition, ShownBatch, ShownTarget, ShownWeight, Snapshot

    return Snapshot(
        seq=seq,
        at=0.0,
        wall=str(time.monotonic_ns()),
        is_recorded=True,
        scale="bench",
        scale_state="ready",
        weight=ShownWeight(928200, 116200, is_settled=False, rate_g_s=22.0, forecast_mg=946460),
        batch=ShownBatch("20261124-1", "oat-short-dough", "Oat and honey short dough", Fraction(1), "running"),
        addition=ShownAddition(
            "oat flour", "oat flour", "dry", Fraction(240000), Fraction(123800), (237600, 242400), "adding"
        ),
        upcoming=(ShownTarget("sea salt", "dry", Fraction(3000)), ShownTarget("butter", "creamed", Fraction(220000))),
        done=(),
        offers=(),
        cue=Cue("pour"),
        cautions=("Raw flour and raw egg: do not taste the dough.",),
    )


def serve_page() -> None:
    """The page: a line with a number on stdin publishes that many Snapshots."""
    from scaled.board import SnapshotBoard
    from scaled.page.app import create_app
    from scaled.page.options import PageOptions
    from scaled.page.server import PageServer

    board = SnapshotBoard(example(1))
    nobody = SimpleNamespace()
    health = SimpleNamespace(report=lambda: {"ok": True})
    app = create_app(board, nobody, nobody, nobody, health, options=PageOptions(viewers=VIEWERS))
    server = PageServer(app, "127.0.0.1", 0)
    server.start()
    print(server.port, flush=True)
    for line in sys.stdin:
        for _ in range(int(line)):
            board.publish(example(board.latest().seq + 1))
            time.sleep(PACE_S)
        print(peak_kb(), flush=True)
    server.stop()


def serve_bare() -> None:
    """The floor: the same bytes, written to each socket by a program that does nothing else."""
    asyncio.run(_serve_bare())


async def _serve_bare() -> None:
    from scaled.page.status import status_json

    template = json.dumps(status_json(replace(example(1), wall="AT")), separators=(",", ":"))
    writers: list[asyncio.StreamWriter] = []

    def event() -> bytes:
        data = template.replace('"AT"', f'"{time.monotonic_ns()}"')
        return f"event: status\nid: 1\ndata: {data}\n\n".encode()

    async def come(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        writer.write(b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\n\r\n" + event())
        writers.append(writer)

    server = await asyncio.start_server(come, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    while line := await asyncio.to_thread(sys.stdin.readline):
        for _ in range(int(line)):
            chunk = event()
            for writer in writers:
                writer.write(chunk)
            await asyncio.sleep(PACE_S)
        print(peak_kb(), flush=True)


def peak_kb() -> int:
    """VmHWM of this process (Linux, proc(5))."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1])  # type: ignore[index]


class Rival:
    """A server in its own process, and the 50 streams that are open at it."""

    def __init__(self, name: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, __file__, name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.port = int(self.out.readline())
        self.sockets = [socket.create_connection(("127.0.0.1", self.port), timeout=10) for _ in range(VIEWERS)]
        for wire in self.sockets:
            wire.sendall(REQUEST)
            got = b""
            while b"\n\n" not in got or not PUBLISHED.search(got):
                got += wire.recv(65536)
        self.late_ms: list[float] = []
        self.peak_kb = 0

    @property
    def out(self) -> IO[str]:
        assert self.process.stdout is not None
        return self.process.stdout

    def turn(self, count: int) -> None:
        """Have `count` Snapshots published and read every one of them at every viewer."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{count}\n")
        self.process.stdin.flush()
        ready = selectors.DefaultSelector()
        for wire in self.sockets:
            ready.register(wire, selectors.EVENT_READ)
        missing = count * VIEWERS
        while missing > 0:
            arrived = ready.select(timeout=10)
            assert arrived, f"{missing} events never came"
            for key, _ in arrived:
                data = key.fileobj.recv(65536)  # type: ignore[union-attr]
                now = time.monotonic_ns()
                for published in PUBLISHED.findall(data):
                    self.late_ms.append((now - int(published)) / 1e6)
                    missing -= 1
        self.peak_kb = int(self.out.readline())

    def end(self) -> None:
        for wire in self.sockets:
            wire.close()
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(10)
        self.out.close()


def health_ms(port: int, asked: int) -> list[float]:
    """How long `/healthz` takes while every place is taken and 150 more knock at the stream."""
    knocking = [socket.create_connection(("127.0.0.1", port), timeout=10) for _ in range(150)]
    taken = []
    for wire in knocking:
        wire.sendall(REQUEST)
    for _ in range(asked):
        began = time.perf_counter()
        with socket.create_connection(("127.0.0.1", port), timeout=10) as wire:
            wire.sendall(b"GET /healthz HTTP/1.0\r\nHost: localhost\r\n\r\n")
            while wire.recv(65536):
                pass
        taken.append((time.perf_counter() - began) * 1000)
    assert all(wire.recv(12).endswith(b"503") for wire in knocking)
    for wire in knocking:
        wire.close()
    return taken


def p99(values: list[float]) -> float:
    return sorted(values)[int(len(values) * 0.99)]


def rows(size: str) -> Iterator[object]:
    from figures import Row

    turns, count = (4, 12) if size == "small" else (20, 50)
    page, bare = Rival("page"), Rival("bare")
    try:
        for _ in range(turns):
            page.turn(count)
            bare.turn(count)
        waits_ms = [wait for _ in range(turns) for wait in health_ms(page.port, 25)]
    finally:
        page.end()
        bare.end()
    floor_is = "a bare asyncio writer, 50 sockets"
    note = f"{len(page.late_ms)} events"
    yield Row(
        "publish -> event at 50 viewers, median", median(page.late_ms), "ms", median(bare.late_ms), floor_is, note=note
    )
    yield Row(
        "publish -> event at 50 viewers, p99",
        p99(page.late_ms),
        "ms",
        p99(bare.late_ms),
        floor_is,
        ratio_at_most=2.5,
        figure_at_most=15,
        note=note,
    )
    yield Row("/healthz while 200 knock at 50 places, p99", p99(waits_ms), "ms", figure_at_most=100)
    yield Row("memory of the page alone, 50 viewers", page.peak_kb / 1024, "MB", figure_at_most=48)


if __name__ == "__main__":
    {"page": serve_page, "bare": serve_bare}[sys.argv[1]]()
