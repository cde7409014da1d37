"""What the tests of the ports share: a listener that waits for a condition, and the port that fails on purpose."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import serial

from scaled.instruments.formats import installed_formats
from scaled.instruments.line_format import LineFormat
from scaled.weighing.values import Reading

BACKENDS = "serial_backends"


@dataclass
class Listener:
    """Takes what a port tells, and waits for it with a deadline."""

    readings: list[Reading] = field(default_factory=list)
    states: list[str] = field(default_factory=list)
    changed: threading.Condition = field(default_factory=threading.Condition)

    def on_reading(self, reading: Reading) -> None:
        with self.changed:
            self.readings.append(reading)
            self.changed.notify_all()

    def on_state(self, state: str) -> None:
        with self.changed:
            self.states.append(state)
            self.changed.notify_all()

    def until(self, condition: Callable[[], object], within_s: float = 30.0) -> None:
        """Wait until a condition holds; what changes it need not come through here."""
        until_s = time.monotonic() + within_s
        with self.changed:
            while not condition():
                left_s = until_s - time.monotonic()
                assert left_s > 0, f"not within {within_s} s; states {self.states}, {len(self.readings)} readings"
                self.changed.wait(min(left_s, 0.02))


@pytest.fixture
def listener() -> Listener:
    return Listener()


@pytest.fixture
def header() -> LineFormat:
    return installed_formats()["header"]


@pytest.fixture
def plain() -> LineFormat:
    return installed_formats()["plain"]


@pytest.fixture
def failing() -> Iterator[Callable[..., str]]:
    """Makes the address of a port that fails as told: `failing(("read", OSError(5, "gone")), ...)`."""
    sys.path.insert(0, str(Path(__file__).parent))
    serial.protocol_handler_packages.append(BACKENDS)
    from serial_backends import protocol_failing

    def make(*failures: tuple[str, BaseException]) -> str:
        name = f"port{len(protocol_failing.SCRIPTS)}"
        protocol_failing.SCRIPTS[name] = protocol_failing.Script(list(failures))
        return f"failing://{name}"

    yield make
    protocol_failing.SCRIPTS.clear()
    serial.protocol_handler_packages.remove(BACKENDS)
    sys.path.remove(str(Path(__file__).parent))
