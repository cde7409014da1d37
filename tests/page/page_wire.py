"""A plain HTTP client on a socket with a deadline: what a browser would send, seen byte by byte."""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Callable
from threading import Event
from typing import Any

DEADLINE_S = 20.0  # of a machine that is busy with something else


def until(condition: Callable[[], bool], deadline_s: float = DEADLINE_S) -> None:
    """Wait on a condition, no longer than the deadline."""
    ends = time.monotonic() + deadline_s
    pause = Event()
    while not condition():
        assert time.monotonic() < ends, "the deadline passed"
        pause.wait(0.01)


class Stream:
    """One `GET /api/v1/events`."""

    def __init__(self, port: int, deadline_s: float = DEADLINE_S) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=deadline_s)
        self.socket.sendall(b"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\nAccept: text/event-stream\r\n\r\n")
        self.file = self.socket.makefile("rb")
        self.status = int(self.file.readline().split()[1])
        self.headers: dict[str, str] = {}
        while (line := self.file.readline()) not in (b"\r\n", b""):
            name, _, value = line.decode().partition(":")
            self.headers[name.lower()] = value.strip()

    def block(self) -> list[str]:
        """The next block of lines up to an empty one; [] at the end of the stream."""
        lines: list[str] = []
        while True:
            chunk = self._chunk()
            if not chunk:
                return []
            lines += chunk.decode().split("\n")
            if lines[-2:] == ["", ""]:
                return lines[:-2]

    def event(self) -> dict[str, Any]:
        """The next event's document, heartbeats passed over."""
        while (lines := self.block())[0].startswith(":"):
            pass
        kind, number, data = lines
        document = json.loads(data.removeprefix("data: "))
        assert kind == "event: status"
        assert number == f"id: {document['seq']}"
        return dict(document)

    def _chunk(self) -> bytes:
        size = int(self.file.readline() or b"0", 16)
        body = self.file.read(size)
        self.file.readline()
        return body

    def close(self) -> None:
        self.file.close()
        self.socket.close()


def asked(port: int, request: bytes, deadline_s: float = DEADLINE_S) -> tuple[int, dict[str, str], bytes]:
    """Status, headers (lower case) and body of one request on a connection of its own."""
    with socket.create_connection(("127.0.0.1", port), timeout=deadline_s) as wire:
        wire.sendall(request)
        got = b""
        while b"\r\n\r\n" not in got:
            more = wire.recv(65536)
            assert more, f"no answer to {request[:80]!r}"
            got += more
        head, _, body = got.partition(b"\r\n\r\n")
        lines = head.decode("latin-1").split("\r\n")
        headers = {n.lower(): v.strip() for n, _, v in (line.partition(":") for line in lines[1:])}
        while len(body) < int(headers.get("content-length", 0)):
            body += wire.recv(65536)
        return int(lines[0].split()[1]), headers, body
