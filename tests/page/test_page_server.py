"""The server itself: the port, what waitress refuses by itself, bodies of any size, an orderly stop."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable

import pytest
from conftest import Behind
from page_wire import DEADLINE_S, Stream, asked, until

from scaled.errors import Busy, WrongSettings
from scaled.page.options import PageOptions
from scaled.page.server import PageServer
from scaled.page.wire import LARGEST_DRAINED

View = Callable[[int], Stream]
POST = b"POST /api/v1/intent HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"


def test_a_taken_port_is_busy_and_leaves_no_thread(server: PageServer, behind: Behind) -> None:
    before = set(threading.enumerate())
    with pytest.raises(Busy, match=rf"127\.0\.0\.1 port {server.port} is taken"):
        PageServer(behind.app(), "127.0.0.1", server.port).start()
    assert set(threading.enumerate()) <= before


@pytest.mark.parametrize("address", ["192.0.2.1", "no such name.invalid"])
def test_an_address_of_another_machine_is_a_wrong_setting(behind: Behind, address: str) -> None:
    with pytest.raises(WrongSettings, match=address):
        PageServer(behind.app(), address, 0).start()


@pytest.mark.parametrize("address", ["127.0.0.1", "localhost", "::1"])
def test_it_listens_where_it_is_told(behind: Behind, address: str) -> None:
    server = PageServer(behind.app(PageOptions(address=address)), address, 0)
    server.start()
    try:
        assert server.url == f"http://{f'[{address}]' if ':' in address else address}:{server.port}/"
        with socket.create_connection((address, server.port), timeout=DEADLINE_S) as wire:
            wire.sendall(b"GET /healthz HTTP/1.0\r\nHost: localhost\r\n\r\n")
            assert wire.recv(100).startswith(b"HTTP/1.0 200")
    finally:
        server.stop()


def test_it_stops_soon_and_ends_the_streams(behind: Behind, view: View) -> None:
    before = set(threading.enumerate())
    server = PageServer(behind.app(), "127.0.0.1", 0)
    server.start()
    streams = [view(server.port) for _ in range(20)]
    for stream in streams:
        stream.event()
    began = time.monotonic()
    server.stop(timeout_s=3 * DEADLINE_S)
    assert time.monotonic() - began < DEADLINE_S, "something was waited for in vain"
    assert [stream.block() for stream in streams] == [[]] * 20
    until(lambda: set(threading.enumerate()) <= before)
    server.stop()
    PageServer(behind.app(), "127.0.0.1", server.port).stop()


def test_the_port_is_free_again_after_a_stop(behind: Behind, view: View) -> None:
    port = 0
    for _ in range(3):
        server = PageServer(behind.app(), "127.0.0.1", port)
        server.start()
        port = server.port
        assert view(port).event()["seq"] == 1
        server.stop()


@pytest.mark.parametrize("length", [16 * 1024 + 1, 100_000, 2_000_000, LARGEST_DRAINED - 1])
def test_a_large_body_is_read_to_its_end_and_refused(server: PageServer, behind: Behind, length: int) -> None:
    request = POST + b"Content-Length: %d\r\n\r\n" % length + b" " * length
    status, headers, body = asked(server.port, request)
    assert (status, headers["content-type"]) == (413, "application/problem+json")
    assert json.loads(body)["status"] == 413
    assert behind.sink.sent == []


def test_a_huge_body_is_refused_unread(server: PageServer) -> None:
    status, headers, body = asked(server.port, POST + b"Content-Length: 999999999999\r\n\r\n")
    assert (status, headers["content-type"]) == (413, "application/problem+json")
    assert headers["x-content-type-options"] == "nosniff"
    assert json.loads(body)["status"] == 413


def test_a_body_in_chunks_is_understood_or_too_large(server: PageServer, behind: Behind) -> None:
    chunked = POST + b"Transfer-Encoding: chunked\r\n\r\n"
    small = b'9\r\n{"intent"\r\n8\r\n:"next"}\r\n0\r\n\r\n'
    assert asked(server.port, chunked + small)[0] == 202
    large = b"".join(b"1000\r\n" + b" " * 4096 + b"\r\n" for _ in range(40)) + b"0\r\n\r\n"
    assert asked(server.port, chunked + large)[0] == 413
    assert len(behind.sink.sent) == 1


@pytest.mark.parametrize(
    ("request_bytes", "expected"),
    [
        (b"nonsense\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nno colon\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"x" * 20000 + b"\r\n\r\n", 431),
        (POST + b"Content-Length: -1\r\n\r\n", 400),
        (POST + b"Transfer-Encoding: gzip\r\n\r\n", 501),
        (b"GET / HTTP/1.1\r\n\r\n", 421),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n", 421),
    ],
)
def test_what_waitress_refuses_is_a_problem_document(server: PageServer, request_bytes: bytes, expected: int) -> None:
    status, headers, body = asked(server.port, request_bytes)
    assert (status, headers["content-type"]) == (expected, "application/problem+json")
    assert json.loads(body)["status"] == expected
    assert "content-security-policy" in headers
    assert "server" not in headers
