"""`failing://NAME`: sends good lines, then fails in the way that the test has laid down for NAME, once or more.

`SCRIPTS[NAME]` is a list of what successive openings do: an error with the place that raises it, "open", "write",
"close", "read" after some lines, "soon" after a few, "timeout" when the port is set up anew. After the last it works.
"""

from __future__ import annotations

import itertools
import threading
from dataclasses import dataclass, field

from serial.serialutil import SerialBase, SerialException

LINE = b"ST,GS,+00123.4 g\r\n"


@dataclass
class Script:
    """One failure after the other; when they are used up, the port works."""

    failures: list[tuple[str, BaseException]] = field(default_factory=list)
    opened: int = 0


SCRIPTS: dict[str, Script] = {}


class Serial(SerialBase):
    """The parts of a port that are used: open, read, in_waiting, write, close, cancel_read."""

    BAUDRATES = (9600,)

    def open(self) -> None:
        self._script = SCRIPTS[self.port.partition("://")[2]]
        self._script.opened += 1
        failures = self._script.failures
        self._where, self._error = failures.pop(0) if failures else ("", None)
        if self._where == "open" and self._error is not None:
            raise self._error
        self._left = bytearray()
        self._lines = itertools.count()
        self._cancelled = threading.Event()
        self.is_open = True

    def _reconfigure_port(self) -> None:
        if self.is_open and self._where == "timeout" and next(self._lines) > 20:
            raise self._error

    def read(self, size: int = 1) -> bytes:
        reads = {"read": 10, "soon": 3}.get(self._where)
        if reads is not None and next(self._lines) > reads:
            raise self._error
        while len(self._left) < size and self.timeout == 0:
            self._left += LINE
            if len(self._left) > 60:
                break
        if not self._left:
            if self._cancelled.wait(0.002):
                return b""
            self._left += LINE
        taken = bytes(self._left[:size])
        del self._left[:size]
        return taken

    def write(self, data: bytes) -> int:
        if self._where == "write":
            raise self._error
        return len(data)

    def cancel_read(self) -> None:
        self._cancelled.set()

    def close(self) -> None:
        if self.is_open:
            self.is_open = False
            if self._where == "close":
                raise self._error

    def _update_dtr_state(self) -> None:
        raise SerialException("this port has no DTR")
