"""A page that breaks off starts anew on its port, and the weighing goes on meanwhile.

The fault is the kernel's: strace lets the page's loop wait a hundred times, then gives it errors.
"""

from __future__ import annotations

import http.client
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from contract_running import Running

from scaled.batch.events import AdditionConfirmed, VesselTared
from scaled.records.reader import RecordsReader

Broken = Callable[[str], Running]


@pytest.fixture
def broken(tmp_path: Path) -> Iterator[Broken]:
    """Starts a daemon whose page's waits fail `when` (as strace has it)."""
    started: list[Running] = []

    def start(when: str) -> Running:
        only = ("-e", "trace=poll", "-e", f"inject=poll:error=EFAULT:when={when}")
        started.append(Running(tmp_path, ("strace", "-D", "-f", "--seccomp-bpf", "-qq", "-o", "/dev/null", *only)))
        return started[0].start()

    yield start
    for running in started:
        if running.scale is not None:
            running.stop()


def is_answered(running: Running) -> bool:
    try:
        return running.ask("GET", "/api/v1/status").status == 200
    except (OSError, http.client.HTTPException):
        return False


def test_a_page_that_breaks_off_starts_anew_on_its_port(broken: Broken) -> None:
    running = broken("100..101")
    stream = http.client.HTTPConnection("127.0.0.1", running.port, timeout=30)
    stream.request("GET", "/api/v1/events")
    until_cut = stream.getresponse()
    running.until(lambda: not is_answered(running), "the page breaks off")
    while until_cut.readline():
        pass  # the stream has ended, and the browser knows
    stream.close()
    running.until(lambda: is_answered(running), "it is back")
    again = http.client.HTTPConnection("127.0.0.1", running.port, timeout=10)
    again.request("GET", "/api/v1/events")
    assert again.getresponse().readline() == b"event: status\n"
    again.close()
    code, _, err = running.stop()
    lines = [line for line in err.decode().splitlines() if "broke off" in line]
    assert code == 0
    assert lines == [
        "ERROR the page broke off and starts anew in 1 s: OSError: [Errno 14] Bad address",
        "ERROR the page broke off and starts anew in 2 s: OSError: [Errno 14] Bad address",
    ]
    assert b"Traceback" not in err


def test_while_the_page_breaks_again_and_again_a_batch_is_weighed(broken: Broken) -> None:
    running = broken("100+")
    reply = running.ask("POST", "/api/v1/batch", {"formula": "two"})
    assert reply.status == 201
    batch = json.loads(reply.body)["batch"]
    running.until(lambda: not is_answered(running), "the page breaks off")
    assert running.scale is not None
    running.scale.act(lambda scale, at: scale.put(500.0, at, splash=0.1))
    reader = RecordsReader(running.folder / "records.db")

    def events() -> list[str]:
        return [type(envelope.event).__name__ for envelope in reader.envelopes(batch)]

    running.until(lambda: VesselTared.__name__ in events(), "the bowl is tared")
    running.scale.act(lambda scale, at: scale.put(60.0, at, splash=0.1))
    running.until(lambda: AdditionConfirmed.__name__ in events(), "the flour is in")
    assert running.stop()[0] == 0
