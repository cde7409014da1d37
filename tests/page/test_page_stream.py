"""Snapshots as events on a real port: the present one first, heartbeats, a cap on viewers, nothing left behind."""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from threading import Event, Thread

import pytest
from conftest import Behind
from flask.testing import FlaskClient
from page_scenes import PLAIN
from page_wire import DEADLINE_S, Stream, asked, until

from scaled.board import SnapshotBoard
from scaled.page.options import PageOptions
from scaled.page.server import PageServer
from scaled.page.status import StatusText, status_json
from scaled.page.stream import HEARTBEAT, HEARTBEAT_S, LONGEST_S, LOOK_S, Crier, EventStream, Viewers

View = Callable[[int], Stream]
GET_PAGE = b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"


def present(server: PageServer) -> int:
    return int(server._page.viewers.present)


def test_the_present_snapshot_comes_first_then_each_newer_one(server: PageServer, behind: Behind, view: View) -> None:
    behind.board.publish(replace(PLAIN, seq=7))
    stream = view(server.port)
    assert stream.status == 200
    assert stream.headers["content-type"].startswith("text/event-stream")
    assert stream.headers["cache-control"] == "no-store"
    assert "content-security-policy" in stream.headers
    assert stream.event() == status_json(replace(PLAIN, seq=7))
    for seq in (8, 9, 20):
        behind.board.publish(replace(PLAIN, seq=seq))
        assert stream.event()["seq"] == seq
    stream.close()


def test_a_heartbeat_comes_on_the_wire(server: PageServer, view: View) -> None:
    """How often it comes is told below, by a crier whose time is moved by hand."""
    stream = view(server.port)
    stream.event()
    assert stream.block() == [": heartbeat"]
    stream.close()


class PaperWire:
    """A wire that keeps what is pushed."""

    def __init__(self) -> None:
        self.pushed: list[bytes] = []
        self.gone = False
        self.behind = False
        self.broken = False

    def is_gone(self) -> bool:
        return self.gone

    def is_behind(self) -> bool:
        return self.behind

    def push(self, data: bytes) -> bool:
        self.pushed.append(data)
        return not self.broken

    @property
    def seqs(self) -> list[int]:
        return [int(data.split(b"id: ")[1].split()[0]) for data in self.pushed if data != HEARTBEAT]


class Cried:
    """A crier whose time is moved by hand, and one stream that it tells."""

    def __init__(self) -> None:
        self.at = 1000.0
        self.board = SnapshotBoard(PLAIN)
        self.crier = Crier(self.board, StatusText(), Event(), lambda: self.at)
        self.viewers = Viewers(1)
        self.wire = PaperWire()
        assert self.viewers.enter()
        self.stream = EventStream(self.crier, self.viewers, self.wire)
        self.first = next(self.stream)
        self.crier.attend(self.stream)

    def tell(self, seq: int | None = None, after_s: float = 0.0) -> None:
        self.at += after_s
        if seq is not None:
            self.board.publish(replace(PLAIN, seq=seq))
        self.crier.tell(self.board.latest())

    @property
    def is_over(self) -> bool:
        return self.stream not in self.crier._listening


def test_an_idle_stream_beats_every_five_seconds_and_ends_after_an_hour() -> None:
    cried = Cried()
    assert cried.first.startswith(b"event: status\nid: 1\n")
    assert HEARTBEAT_S == 5.0
    passes = 0
    while not cried.is_over:
        cried.tell(after_s=LOOK_S)
        passes += 1
    assert passes * LOOK_S == LONGEST_S
    assert cried.wire.pushed == [HEARTBEAT] * int(LONGEST_S / HEARTBEAT_S - 1)


def test_a_busy_stream_beats_too() -> None:
    cried = Cried()
    for seq in range(2, 122):
        cried.tell(seq, after_s=0.1)
    assert cried.wire.seqs == list(range(2, 122))
    assert cried.wire.pushed.count(HEARTBEAT) == 2  # in twelve seconds


def test_what_is_published_between_the_first_event_and_the_first_telling_is_not_lost() -> None:
    cried = Cried()
    other = EventStream(cried.crier, Viewers(1), wire := PaperWire())
    next(other)
    cried.board.publish(replace(PLAIN, seq=2))
    cried.crier.attend(other)
    assert wire.seqs == [2]


def test_a_viewer_who_is_behind_is_not_waited_for_and_then_gets_the_newest() -> None:
    cried = Cried()
    cried.wire.behind = True
    for seq in (2, 3, 4):
        cried.tell(seq)
    assert cried.wire.pushed == []
    cried.wire.behind = False
    cried.tell()
    assert cried.wire.seqs == [4]


@pytest.mark.parametrize("fault", ["gone", "broken"])
def test_a_viewer_who_has_gone_is_let_go(fault: str) -> None:
    cried = Cried()
    setattr(cried.wire, fault, True)
    cried.tell(2)
    assert cried.is_over
    assert list(cried.stream) == []


def test_a_place_is_given_back_once_even_if_nothing_was_read() -> None:
    cried = Cried()
    assert cried.viewers.present == 1
    cried.stream.close()
    cried.stream.close()
    assert cried.viewers.present == 0


def test_a_stream_ends_when_the_page_stops() -> None:
    cried = Cried()
    cried.crier.end_all()
    assert list(cried.stream) == []


def test_without_a_wire_there_is_one_event(client: FlaskClient) -> None:
    response = client.get("/api/v1/events")
    assert response.data.startswith(b"event: status\nid: 1\ndata: {")
    assert response.data.count(b"event:") == 1


def test_a_mistake_while_telling_ends_the_streams_and_not_the_telling(
    behind: Behind, server: PageServer, view: View, caplog: pytest.LogCaptureFixture
) -> None:
    stream = view(server.port)
    stream.event()
    unsayable = replace(PLAIN, seq=2, weight=replace(PLAIN.weight, rate_g_s=float("nan")))  # type: ignore[type-var]
    behind.board.publish(unsayable)
    assert stream.block() == []
    assert "the streams were cut off" in caplog.text
    behind.board.publish(replace(PLAIN, seq=3))
    assert view(server.port).event()["seq"] == 3


def test_above_the_cap_503_while_the_page_still_answers(server: PageServer, view: View) -> None:
    streams = [view(server.port) for _ in range(5)]
    assert [stream.status for stream in streams] == [200] * 5
    for _ in range(3):
        status, headers, body = asked(server.port, b"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert status == 503
        assert int(headers["retry-after"]) >= 1
        assert headers["content-type"] == "application/problem+json"
        assert b"places" in body
        assert "content-security-policy" in headers
        assert asked(server.port, GET_PAGE)[0] == 200
    foreign = b"GET /api/v1/events HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n"
    assert asked(server.port, foreign)[0] == 421
    assert server._page.viewers.refused == 3
    for stream in streams:
        stream.close()
    until(lambda: present(server) == 0)
    again = view(server.port)
    assert again.status == 200
    again.close()


def test_two_hundred_knock_and_health_still_answers(behind: Behind, view: View) -> None:
    server = PageServer(behind.app(PageOptions(viewers=50)), "127.0.0.1", 0)
    server.start()
    try:
        statuses: list[int] = []
        open_streams: list[Stream] = []
        lock = threading.Lock()

        def knock() -> None:
            stream = view(server.port)
            with lock:
                statuses.append(stream.status)
                open_streams.append(stream)

        knocking = [Thread(target=knock) for _ in range(200)]
        for thread in knocking:
            thread.start()
        for thread in knocking:
            thread.join()
        assert sorted(statuses) == [200] * 50 + [503] * 150
        for path in ("/healthz", "/", "/metrics", "/api/v1/status"):
            request = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode()
            assert asked(server.port, request)[0] == 200
        for stream in open_streams:
            stream.close()
    finally:
        server.stop()


def files_and_threads() -> tuple[int, int]:
    return len(list(Path("/proc/self/fd").iterdir())), threading.active_count()


def test_opened_and_aborted_many_times_nothing_is_left(server: PageServer, behind: Behind, view: View) -> None:
    """Files and threads after 500 viewers came and went are what they were after the first few."""
    pinning = Event()

    def pin_up() -> None:
        seq = behind.board.latest().seq
        while not pinning.wait(0.005):
            seq += 1
            behind.board.publish(replace(PLAIN, seq=seq))

    def come_and_go(viewers: int) -> None:
        for index in range(viewers):
            stream = view(server.port)
            if stream.status == 200 and index % 2:
                stream.event()
            stream.close()
            if stream.status == 503:
                until(lambda: present(server) < 5)
        until(lambda: present(server) == 0)
        until(lambda: not any(hasattr(item, "requests") for item in list(server._map.values())))
        gc.collect()

    pinner = Thread(target=pin_up)
    pinner.start()
    try:
        come_and_go(50)
        before = files_and_threads()
        come_and_go(500)
        until(lambda: all(now <= then for now, then in zip(files_and_threads(), before, strict=True)))
    finally:
        pinning.set()
        pinner.join()


def test_a_viewer_who_does_not_read_gets_the_newest(server: PageServer, behind: Behind, view: View) -> None:
    stream = view(server.port)
    assert stream.event()["seq"] == 1
    last = 4001
    for seq in range(2, last + 1):
        behind.board.publish(replace(PLAIN, seq=seq, cautions=("x" * 2000,)))
    until(lambda: behind.board.latest().seq == last)
    seen = [stream.event()["seq"]]
    while seen[-1] != last:
        seen.append(stream.event()["seq"])
    assert seen == sorted(set(seen))
    assert len(seen) < last / 2
    stream.close()


def test_many_who_wait_are_woken_at_once() -> None:
    board = SnapshotBoard(PLAIN)
    seen: list[int] = []
    waiting = [Thread(target=lambda: seen.append(board.newer_than(1, DEADLINE_S).seq)) for _ in range(50)]  # type: ignore[union-attr]
    for thread in waiting:
        thread.start()
    until(lambda: len(board._changed._waiters) == 50)  # type: ignore[attr-defined]
    board.publish(replace(PLAIN, seq=2))
    for thread in waiting:
        thread.join()
    assert seen == [2] * 50


def test_a_board_refuses_an_older_snapshot_and_a_wait_ends() -> None:
    board = SnapshotBoard(replace(PLAIN, seq=5))
    with pytest.raises(ValueError, match="grows: 5 after 5"):
        board.publish(replace(PLAIN, seq=5))
    assert board.newer_than(5, 0.01) is None
    assert board.newer_than(4, 0.01) is board.latest()
