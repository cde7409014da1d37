"""One opened port: bytes in chunks as they come, and every error of the layers below turned into one of two.

`open_wire` takes a device's path or any URL that pyserial knows (`socket://`, `loop://`, `rfc2217://`), for this
process alone: `flock` on every device, `TIOCEXCL` too on one that is no pseudo-terminal (there it would lock an
unprivileged user out for good, as long as the far side stays open). What fails later is `WireLost`, with the name of
what failed for a counter; the thread that reads is also the one that closes, others only `cancel`.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import socket
import stat
import termios
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import serial

from scaled.errors import Busy, NoScale
from scaled.instruments.options import PortOptions

T = TypeVar("T")

LARGEST_CHUNK = 4096
WAIT_S = 0.2  # at most, for the first byte
PSEUDO_TERMINALS = range(136, 144)  # the majors of Unix98 pseudo-terminals (Linux, devices.txt)
_HELD = (errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY)
_HUPCL = 2  # index of the control flags in what tcgetattr gives


class WireLost(Exception):
    """The port failed while in use; `reason` is a short name of how."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class Wire:
    """An open port. Only the thread that reads may `read` and `close`; `cancel` is for the others."""

    def __init__(self, port: serial.SerialBase) -> None:
        self._port = port
        self._closing = threading.Lock()  # a cancelled port must not be one that is being closed: its pipes are reused

    def read(self, wait_s: float = WAIT_S) -> bytes:
        """What has come: waits up to `wait_s` for a first byte, then takes all that is there; b"" if none came.

        Raises:
            WireLost: the port is gone, or failed in any other way.
        """
        return _translated(lambda: self._read(wait_s))

    def _read(self, wait_s: float) -> bytes:
        self._port.timeout = wait_s
        first = self._port.read(1)
        if not first:
            return b""
        self._port.timeout = 0
        return bytes(first + self._port.read(LARGEST_CHUNK - 1))

    def write(self, data: bytes) -> None:
        """Send a question or a command to the scale; raises WireLost."""
        _translated(lambda: self._port.write(data))

    def cancel(self) -> None:
        """Let a read that waits in another thread return at once, where the port can; else it returns in `WAIT_S`."""
        cancel = getattr(self._port, "cancel_read", None)
        with self._closing, contextlib.suppress(Exception):  # its queue may be full: then the read ends by itself
            if cancel is not None and self._port.is_open:
                cancel()

    def close(self) -> None:
        """Give the port back; a port that is gone already is closed as well."""
        with self._closing:
            for last in (lambda: _leave(self._port), self._port.close):
                with contextlib.suppress(WireLost):
                    _translated(last)


def open_wire(port: str, options: PortOptions) -> Wire:
    """Open a port for this process alone.

    Args:
        port: a device's path or a URL.
        options: how.

    Raises:
        Busy: another process has it.
        NoScale: it is not there, or may not be opened; the message says which, and what to do.
    """
    try:
        opened = serial.serial_for_url(
            port,
            baudrate=options.baud,
            bytesize=options.data_bits,
            parity=options.parity,
            stopbits=options.stop_bits,
            timeout=WAIT_S,
            exclusive=True,
            dsrdtr=options.dtr == "keep",
            do_not_open=True,
        )
        if options.dtr == "low":
            opened.dtr = False
        opened.open()
    except (serial.SerialException, OSError, termios.error, ValueError, TypeError) as error:
        raise _not_opened(port, error) from error
    wire = Wire(opened)
    try:
        _translated(lambda: _take(opened))
    except WireLost as lost:
        wire.close()
        raise NoScale(f"{port}: could not be set up ({lost.reason})") from lost
    return wire


def is_without_baud(port: str) -> bool:
    """Whether a port has no baud rate of its own: a socket, a loop, a pseudo-terminal."""
    if "://" in port:
        return not port.lower().startswith("rfc2217://")
    try:
        return os.major(Path(port).stat().st_rdev) in PSEUDO_TERMINALS
    except OSError:
        return False


def _translated(action: Callable[[], T]) -> T:
    """Do something with the port; whatever it raises is WireLost."""
    try:
        return action()
    except serial.SerialException as error:
        raise WireLost("SerialException") from error
    except OSError as error:
        raise WireLost(errno.errorcode.get(error.errno or 0, "OSError")) from error
    except termios.error as error:
        raise WireLost("termios.error") from error
    except TypeError as error:  # the file descriptor went away under a read
        raise WireLost("TypeError") from error
    except Exception as error:  # a backend's own kind: the port is opened anew, and the counter names it
        raise WireLost(type(error).__name__) from error


def _not_opened(port: str, error: Exception) -> Busy | NoScale:
    cause: Any = error.__context__ if isinstance(error.__context__, OSError) else error  # pyserial wraps some in a text
    number = getattr(cause, "errno", None)
    if number in _HELD:
        return Busy(f"{port}: another program has this port; stop it, or name another port")
    if number in (errno.EACCES, errno.EPERM):
        return NoScale(f"{port}: no permission; let this user into the group dialout (adduser NAME dialout)")
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return NoScale(f"{port}: no such port; is the scale plugged in?")
    reason = " ".join(str(error).split())
    if number:
        reason = os.strerror(number) if number > 0 else str(cause.strerror)  # a name that is not found has none
    elif port.lower().startswith("socket://") and isinstance(error.__context__, (TypeError, ValueError, LookupError)):
        reason = "name host and port: socket://HOST:PORT"
    return NoScale(f"{port}: cannot be opened ({reason})")


def _take(port: serial.SerialBase) -> None:
    """What pyserial does not do: keep others out of a device, keep a board from restarting, keep a socket alive."""
    number = _descriptor(port)
    if number is None:
        return
    if stat.S_ISSOCK(os.fstat(number).st_mode):
        with socket.socket(fileno=os.dup(number)) as same:
            same.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    elif _is_device(number):
        attributes = termios.tcgetattr(number)
        attributes[_HUPCL] &= ~termios.HUPCL  # DTR does not fall when the port is closed
        termios.tcsetattr(number, termios.TCSANOW, attributes)
        if not _is_pseudo_terminal(number):
            fcntl.ioctl(number, termios.TIOCEXCL)


def _leave(port: serial.SerialBase) -> None:
    number = _descriptor(port)
    if number is not None and _is_device(number) and not _is_pseudo_terminal(number):
        fcntl.ioctl(number, termios.TIOCNXCL)


def _descriptor(port: serial.SerialBase) -> int | None:
    """The file behind a port; None where there is none (`loop://`)."""
    try:
        return port.fileno() if port.is_open else None
    except (AttributeError, OSError):  # io.UnsupportedOperation is an OSError
        return None


def _is_device(number: int) -> bool:
    return stat.S_ISCHR(os.fstat(number).st_mode)


def _is_pseudo_terminal(number: int) -> bool:
    return os.major(os.fstat(number).st_rdev) in PSEUDO_TERMINALS
