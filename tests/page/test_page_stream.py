"""Snapshots as events on a real port: the present one first, heartbeats, a cap on viewers, nothing left behind."""

from __future__ import annotations

import gc
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from threading import Event, Thread

import pytest
from conftest import Behind
from page_scenes import PLAIN
from page_wire import Stream, asked, until

from scaled.board import SnapshotBoard
from scaled.page.options import PageOptions
from scaled.page.server import PageServer
from scaled.page.status import StatusText, status_json
from scaled.page.stream import HEARTBEAT, HEARTBEAT_S, LONGEST_S, EventStream, Viewers

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


def test_a_heartbeat_comes_within_five_seconds_on_the_wire(server: PageServer, view: View) -> None:
    stream = view(server.port)
    stream.event()
    began = time.monotonic()
    assert stream.block() == [": heartbeat"]
    assert time.monotonic() - began < HEARTBEAT_S + 1
    stream.close()


class HandMoved:
    """Real time as the stream sees it, moved by hand; a wait for a Snapshot moves it by what was waited."""

    def __init__(self) -> None:
        self.at = 1000.0
        self.board = SnapshotBoard(PLAIN)

    def monotonic(self) -> float:
        return self.at

    def latest(self) -> object:
        return self.board.latest()

    def newer_than(self, seq: int, timeout_s: float) -> object:
        snapshot = self.board.newer_than(seq, 0)
        self.at += timeout_s if snapshot is None else 0
        return snapshot


def streamed(source: HandMoved, viewers: Viewers, stopping: Event) -> EventStream:
    assert viewers.enter()
    return EventStream(
        source,  # type: ignore[arg-type]
        viewers,
        StatusText(),
        stopping,
        monotonic=source.monotonic,
        is_gone=bool,
    )


def test_an_idle_stream_beats_every_five_seconds_and_ends_after_an_hour() -> None:
    source, viewers = HandMoved(), Viewers(1)
    stream = streamed(source, viewers, Event())
    began = source.at
    chunks = list(stream)
    assert chunks[0].startswith(b"event: status\nid: 1\n")
    assert set(chunks[1:]) == {HEARTBEAT}
    assert len(chunks) - 1 == LONGEST_S / HEARTBEAT_S - 1
    assert source.at - began == pytest.approx(LONGEST_S)


def test_a_busy_stream_beats_too() -> None:
    source, viewers = HandMoved(), Viewers(1)
    stream = streamed(source, viewers, Event())
    kinds = []
    for seq in range(2, 122):
        kinds.append(next(stream) == HEARTBEAT)
        source.at += 0.1
        source.board.publish(replace(PLAIN, seq=seq))
    assert sum(kinds) == 2  # in twelve seconds


def test_a_place_is_given_back_once_even_if_nothing_was_read() -> None:
    viewers = Viewers(2)
    stream = streamed(HandMoved(), viewers, Event())
    assert viewers.present == 1
    stream.close()
    stream.close()
    assert viewers.present == 0


def test_a_stream_ends_when_the_page_stops() -> None:
    stopping = Event()
    stream = streamed(HandMoved(), Viewers(1), stopping)
    next(stream)
    stopping.set()
    assert list(stream) == []


def test_above_the_cap_503_while_the_page_still_answers(server: PageServer, view: View) -> None:
    streams = [view(server.port) for _ in range(5)]
    assert [stream.status for stream in streams] == [200] * 5
    for _ in range(3):
        status, headers, body = asked(server.port, b"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert status == 503
        assert int(headers["retry-after"]) >= 1
        assert headers["content-type"] == "application/problem+json"
        assert b"places" in body
        assert asked(server.port, GET_PAGE)[0] == 200
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
            thread.join(20)
        assert sorted(statuses) == [200] * 50 + [503] * 150
        for path in ("/healthz", "/", "/metrics", "/api/v1/status"):
            request = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode()
            assert asked(server.port, request, deadline_s=2)[0] == 200
        for stream in open_streams:
            stream.close()
    finally:
        server.stop()


def test_opened_and_aborted_many_times_nothing_is_left(server: PageServer, behind: Behind, view: View) -> None:
    """Files and threads after 1,000 viewers came and went are what they were after the first few."""
    pinning = Event()

    def pin_up() -> None:
        seq = behind.board.latest().seq
        while not pinning.wait(0.005):
            seq += 1
            behind.board.publish(replace(PLAIN, seq=seq))

    pinner = Thread(target=pin_up)
    pinner.start()
    try:
        counted = []
        for _ in range(2):
            for index in range(500 if counted else 50):
                stream = view(server.port)
                if stream.status == 200 and index % 2:
                    stream.event()
                stream.close()
                if stream.status == 503:
                    until(lambda: present(server) < 5)
            until(lambda: present(server) == 0)
            until(lambda: not any(hasattr(item, "requests") for item in list(server._map.values())))
            gc.collect()
            counted.append((len(list(Path("/proc/self/fd").iterdir())), threading.active_count()))
        assert counted[1] == counted[0]
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
    waiting = [Thread(target=lambda: seen.append(board.newer_than(1, 10).seq)) for _ in range(50)]  # type: ignore[union-attr]
    for thread in waiting:
        thread.start()
    until(lambda: len(board._changed._waiters) == 50)  # type: ignore[attr-defined]
    board.publish(replace(PLAIN, seq=2))
    for thread in waiting:
        thread.join(5)
    assert seen == [2] * 50


def test_a_board_refuses_an_older_snapshot_and_a_wait_ends() -> None:
    board = SnapshotBoard(replace(PLAIN, seq=5))
    with pytest.raises(ValueError, match="grows: 5 after 5"):
        board.publish(replace(PLAIN, seq=5))
    assert board.newer_than(5, 0.01) is None
    assert board.newer_than(4, 0.01) is board.latest()
