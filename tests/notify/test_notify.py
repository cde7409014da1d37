"""The service manager's protocol, on real unix datagram sockets (sd_notify(3), sd_watchdog_enabled(3))."""

from __future__ import annotations

import logging
import os
import secrets
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from scaled.notify import STATUS_BYTES, Heartbeats, Notifier, Watchdog


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[tuple[str, socket.socket]]:
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(path)
        listening.settimeout(5)
        yield path, listening


def heard(listening: socket.socket) -> str:
    return listening.recv(8192).decode()


def is_silent(listening: socket.socket) -> bool:
    listening.setblocking(False)
    try:
        listening.recv(8192)
    except BlockingIOError:
        return True
    finally:
        listening.settimeout(5)
    return False


@pytest.fixture
def notifier(manager: tuple[str, socket.socket]) -> Iterator[Notifier]:
    made = Notifier.from_environment({"NOTIFY_SOCKET": manager[0], "WATCHDOG_USEC": "30000000"})
    yield made
    made.close()


def test_each_message_is_spelled_as_the_protocol_has_it(manager: tuple[str, socket.socket], notifier: Notifier) -> None:
    listening = manager[1]
    assert notifier.ready()
    assert heard(listening) == "READY=1"
    assert notifier.stopping()
    assert heard(listening) == "STOPPING=1"
    assert notifier.reloading(12.5)
    assert heard(listening) == "RELOADING=1\nMONOTONIC_USEC=12500000"
    assert notifier.alive()
    assert heard(listening) == "WATCHDOG=1"


def test_a_status_is_one_line_and_cannot_smuggle_another_message(
    manager: tuple[str, socket.socket], notifier: Notifier
) -> None:
    assert notifier.status("weighing\nREADY=1")
    assert heard(manager[1]) == "STATUS=weighing READY=1"


def test_a_long_status_is_cut_between_characters(manager: tuple[str, socket.socket], notifier: Notifier) -> None:
    assert notifier.status("ä" * 3000)
    text = heard(manager[1]).removeprefix("STATUS=")
    assert text == "ä" * (STATUS_BYTES // 2)


def test_a_name_in_the_abstract_namespace_is_reached() -> None:
    name = f"scaled-test-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind("\0" + name)
        listening.settimeout(5)
        notifier = Notifier.from_environment({"NOTIFY_SOCKET": "@" + name})
        assert notifier.ready()
        assert heard(listening) == "READY=1"
        notifier.close()


def test_without_a_manager_everything_is_quietly_nothing() -> None:
    notifier = Notifier.from_environment({})
    assert not notifier.is_heard
    assert notifier.watchdog_s is None
    assert not any([notifier.ready(), notifier.status("x"), notifier.reloading(1.0), notifier.stopping()])
    assert not Watchdog(notifier, Heartbeats({"bench": 1.0}, 0.0).late).feed(0.0)
    notifier.close()


def test_a_manager_that_goes_away_is_one_line_in_the_log_and_is_found_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = str(tmp_path / "notify")
    notifier = Notifier(path)
    with caplog.at_level(logging.WARNING):
        assert not notifier.ready()
        assert not notifier.ready()
    assert len(caplog.records) == 1
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(path)
        assert notifier.ready()
        assert heard(listening) == "READY=1"
    notifier.close()


def test_a_manager_that_reads_nothing_does_not_hold_the_daemon_up(
    manager: tuple[str, socket.socket], notifier: Notifier
) -> None:
    answers = [notifier.alive() for _ in range(2)]
    while answers[-1]:  # the queue of a unix datagram socket is short: it fills, and then a send gives up
        answers.append(notifier.alive())
        assert len(answers) < 100_000
    assert heard(manager[1]) == "WATCHDOG=1"
    assert notifier.alive()


def test_an_address_that_is_none_is_said_and_left_alone(caplog: pytest.LogCaptureFixture) -> None:
    notifier = Notifier.from_environment({"NOTIFY_SOCKET": "vsock:2:1234"})
    assert not notifier.is_heard
    assert "vsock:2:1234" in caplog.text


@pytest.mark.parametrize(
    ("environ", "seconds"),
    [
        ({"WATCHDOG_USEC": "30000000"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "77"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "78"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": ""}, None),
        ({}, None),
    ],
)
def test_the_watchdog_s_time_is_taken_only_where_it_is_meant_for_this_process(
    environ: dict[str, str], seconds: float | None
) -> None:
    notifier = Notifier.from_environment(environ, pid=77)
    assert notifier.watchdog_s == seconds
    notifier.close()


def test_this_process_is_meant_by_its_own_pid() -> None:
    notifier = Notifier.from_environment({"WATCHDOG_USEC": "2000000", "WATCHDOG_PID": str(os.getpid())})
    assert notifier.watchdog_s == 2.0


def test_the_watchdog_is_fed_twice_in_its_time_while_every_loop_moves(
    manager: tuple[str, socket.socket], notifier: Notifier
) -> None:
    beats = Heartbeats({"scale": 5.0, "bench": 2.0}, 100.0)
    watchdog = Watchdog(notifier, beats.late)
    fed_at = []
    for tenth in range(600):
        at = 100 + tenth / 10
        beats.beat("scale", at)
        beats.beat("bench", at)
        if watchdog.feed(at):
            fed_at.append(at)
            assert heard(manager[1]) == "WATCHDOG=1"
    assert fed_at == [100.0, 115.0, 130.0, 145.0]
    assert is_silent(manager[1])


@pytest.mark.parametrize("stuck", ["scale", "bench", "journal", "gpio"])
def test_one_loop_that_hangs_silences_the_watchdog_and_is_named(
    stuck: str, manager: tuple[str, socket.socket], notifier: Notifier, caplog: pytest.LogCaptureFixture
) -> None:
    limits_s = {"scale": 5.0, "bench": 2.0, "journal": 10.0, "gpio": 2.0}
    beats = Heartbeats(limits_s, 0.0)
    watchdog = Watchdog(notifier, beats.late)
    for at in range(40):
        for name in limits_s:
            if name != stuck:
                beats.beat(name, float(at))
        is_fed = watchdog.feed(float(at))
        if is_fed:
            assert heard(manager[1]) == "WATCHDOG=1"
        assert beats.late(float(at)) == ([stuck] if at > limits_s[stuck] else [])
        assert not (is_fed and at > limits_s[stuck])
    assert [record.message for record in caplog.records] == [f"not moving: {stuck}; the watchdog is not fed"]


def test_a_loop_that_moves_again_is_fed_again_at_once(manager: tuple[str, socket.socket], notifier: Notifier) -> None:
    beats = Heartbeats({"bench": 2.0}, 0.0)
    watchdog = Watchdog(notifier, beats.late)
    assert watchdog.feed(0.0)
    assert not watchdog.feed(20.0)
    beats.beat("bench", 21.0)
    assert watchdog.feed(21.0)
    assert [heard(manager[1]), heard(manager[1])] == ["WATCHDOG=1", "WATCHDOG=1"]


def test_a_loop_that_was_not_named_is_a_programmer_s_mistake() -> None:
    with pytest.raises(KeyError):
        Heartbeats({"bench": 2.0}, 0.0).beat("bnech", 1.0)
    with pytest.raises(ValueError, match="above 0 s: bench"):
        Heartbeats({"bench": 0.0}, 0.0)
