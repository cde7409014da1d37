"""Tells the service manager how the daemon fares, and feeds its watchdog only while every vital loop moves.

The protocol is one datagram of `NAME=value` lines to the unix socket in `NOTIFY_SOCKET` (sd_notify(3)); it is small
enough to need no library. Nothing here raises once it is made: a manager that does not listen is no reason for a
bench to stop, so a lost message is one line in the log and a `False`.

A watchdog that is fed from a side thread hides a hung loop. Here each vital loop beats by name, and `Watchdog.feed`
says nothing at all when one of them is late, so that the manager ends the daemon and starts it anew.
"""

from __future__ import annotations

import logging
import os
import socket
from collections.abc import Callable, Mapping
from typing import Self

log = logging.getLogger(__name__)

SEND_TIMEOUT_S = 0.5
# The manager reads at most one page of a datagram (NOTIFY_BUFFER_MAX is PIPE_BUF); a status line needs far less.
STATUS_BYTES = 1000


class Notifier:
    """The sending end. `watchdog_s` is how long the manager waits for a sign of life; None: it does not watch."""

    def __init__(self, address: str | None, watchdog_s: float | None = None) -> None:
        self.watchdog_s = watchdog_s
        self._address = _socket_address(address)
        self._is_lost = False
        self._socket: socket.socket | None = None
        if self._address is not None:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.settimeout(SEND_TIMEOUT_S)

    @classmethod
    def from_environment(cls, environ: Mapping[str, str], pid: int | None = None) -> Self:
        """What `NOTIFY_SOCKET`, `WATCHDOG_USEC` and `WATCHDOG_PID` say; silent where they are not set.

        `pid` is this process (asked of the system where None): a watchdog meant for another one is not fed.
        """
        return cls(environ.get("NOTIFY_SOCKET"), _watchdog_s(environ, os.getpid() if pid is None else pid))

    @property
    def is_heard(self) -> bool:
        """Whether there is somebody to tell."""
        return self._socket is not None

    def ready(self) -> bool:
        return self._send("READY=1")

    def status(self, text: str) -> bool:
        """One line in words, as `systemctl status` shows it; line breaks become spaces, a long one is cut."""
        line = " ".join(text.split())
        return self._send("STATUS=" + line.encode()[:STATUS_BYTES].decode(errors="ignore"))

    def reloading(self, at: float) -> bool:
        """The settings are read anew since `at` (monotonic seconds); `ready` says that this is over."""
        return self._send(f"RELOADING=1\nMONOTONIC_USEC={round(at * 1_000_000)}")

    def stopping(self) -> bool:
        return self._send("STOPPING=1")

    def alive(self) -> bool:
        """The sign of life that the watchdog waits for."""
        return self._send("WATCHDOG=1")

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, message: str) -> bool:
        if self._socket is None or self._address is None:
            return False
        try:
            self._socket.sendto(message.encode(), self._address)
        except OSError as error:
            if not self._is_lost:
                log.warning("the service manager does not hear: %s", error)
            self._is_lost = True
            return False
        self._is_lost = False
        return True


def _socket_address(address: str | None) -> str | None:
    """The address as Python takes it: `@name` is in the abstract namespace, whose names begin with a zero byte."""
    if not address:
        return None
    if address.startswith("/"):
        return address
    if address.startswith("@") and len(address) > 1:
        return "\0" + address[1:]
    log.warning("NOTIFY_SOCKET=%s is neither a path nor an abstract name; the service manager is not told", address)
    return None


def _watchdog_s(environ: Mapping[str, str], pid: int) -> float | None:
    text = environ.get("WATCHDOG_USEC")
    if not text:
        return None
    owner = environ.get("WATCHDOG_PID")
    if owner and owner != str(pid):
        return None
    if not text.isdecimal() or int(text) == 0:
        log.warning("WATCHDOG_USEC=%s is no number of microseconds; the watchdog is not fed", text)
        return None
    return int(text) / 1_000_000


class Heartbeats:
    """When each vital loop last moved.

    Args:
        limits_s: for each loop by name, the longest that it may go without a beat, in seconds.
        started_at: when counting begins, in monotonic seconds: a loop that never moves is late too.

    Each loop beats under its own name from its own thread; one store of a float needs no lock.
    """

    def __init__(self, limits_s: Mapping[str, float], started_at: float) -> None:
        wrong = [name for name, limit_s in limits_s.items() if not limit_s > 0]
        if wrong:
            raise ValueError(f"a limit must be above 0 s: {', '.join(wrong)}")
        self._limits_s = dict(limits_s)
        self._last = dict.fromkeys(self._limits_s, started_at)

    def beat(self, name: str, at: float) -> None:
        """The loop `name` moved at `at`; raises KeyError for a loop that was not named at the start."""
        if name not in self._limits_s:
            raise KeyError(name)
        self._last[name] = at

    def late(self, at: float) -> list[str]:
        """The loops that have not moved within their limit, in the order they were named."""
        return [name for name, limit_s in self._limits_s.items() if at - self._last[name] > limit_s]


class Watchdog:
    """Feeds the manager's watchdog twice in its time, as long as no loop is late. Call `feed` often.

    Args:
        notifier: the manager.
        late: the loops that are late at a time, like `Heartbeats.late`.
    """

    def __init__(self, notifier: Notifier, late: Callable[[float], list[str]]) -> None:
        self._notifier = notifier
        self._late_at = late
        self._fed_at: float | None = None
        self._late: list[str] = []

    def feed(self, at: float) -> bool:
        """True where a sign of life was sent now; a loop that becomes late or moves again is one line in the log."""
        late = self._late_at(at)
        if late != self._late:
            self._late = late
            if late:
                log.error("not moving: %s; the watchdog is not fed", ", ".join(late))
            else:
                log.info("every loop moves again")
        watchdog_s = self._notifier.watchdog_s
        if late or watchdog_s is None:
            return False
        if self._fed_at is not None and at - self._fed_at < watchdog_s / 2:
            return False
        is_sent = self._notifier.alive()
        if is_sent:
            self._fed_at = at
        return is_sent
