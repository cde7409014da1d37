"""Listens to a port for some seconds, at one baud rate after the other until what comes makes sense.

A recording (a plain file of bytes) is taken as it is. A pseudo-terminal or a socket has no baud rate: one listening is
enough, and the rate stays untold.
"""

from __future__ import annotations

import contextlib
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from scaled.clock import Clock
from scaled.errors import NoScale, WrongUsage
from scaled.instruments.detect import Detected, detect, whole_lines
from scaled.instruments.find import find_port
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import BAUDS, PortOptions
from scaled.instruments.wire import Wire, WireLost, is_without_baud, open_wire

LINES_WANTED = 12
LISTEN_S = 5.0  # at one baud rate, while something comes
SILENT_S = 1.5  # at one baud rate, while nothing comes: the slowest scale sends 3 lines a second
BYTES_ENOUGH = 1000  # with no end of a line among them: another baud rate
SURE = 0.8
MOST_RECORDED = 4_000_000  # bytes of a recording that are looked at


@dataclass(frozen=True)
class Listened:
    """What was heard where; `baud` is None for a recording and a socket."""

    port: str
    baud: int | None
    is_baud_told: bool
    detected: Detected
    heard_bytes: int


def listen(port: str, formats: Mapping[str, LineFormat], clock: Clock) -> Listened:
    """Hear what a port or a recording speaks.

    Raises:
        NoScale: the port is not there, or nothing came.
        Busy: another process has the port.
        WrongUsage: nothing was named, or a recording cannot be read.
    """
    if not port.strip():
        raise WrongUsage("PORT is empty: name a port, or a file of recorded bytes")
    recorded = _recording(port)
    if recorded is not None:
        return Listened(port, None, False, detect(recorded, formats), len(recorded))
    path = find_port(port)
    if path is None:
        raise NoScale(f"{port}: no such port; is the scale plugged in? (scaled doctor lists the ports)")
    heard = [_at_baud(path, PortOptions(baud=BAUDS[0]), formats, clock)]
    if not is_without_baud(path):
        for baud in BAUDS[1:]:
            if heard[-1].detected.confidence >= SURE:
                break
            heard.append(_at_baud(path, PortOptions(baud=baud), formats, clock))
    best = max(heard, key=lambda each: (each.detected.confidence, each.heard_bytes))
    if not best.heard_bytes:
        raise NoScale(f"{port}: nothing came; set the scale to send all the time (continuous output), check the cable")
    return best


def _recording(port: str) -> bytes | None:
    """The bytes of a plain file; None where the port is no plain file."""
    if "://" in port:
        return None
    path = Path(port)
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise WrongUsage(f"{port}: is a folder; name a port, or a file of recorded bytes")
        if not stat.S_ISREG(mode):
            return None
        with path.open("rb") as file:
            return file.read(MOST_RECORDED)
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise WrongUsage(f"{port}: cannot be read ({getattr(error, 'strerror', None) or error})") from error


def _at_baud(path: str, options: PortOptions, formats: Mapping[str, LineFormat], clock: Clock) -> Listened:
    data = bytearray()
    wire = open_wire(path, options)
    try:
        with contextlib.suppress(WireLost):  # the far side hung up: what came until then is judged
            _hear(wire, clock, data)
    finally:
        wire.close()
    is_told = not is_without_baud(path)
    return Listened(path, options.baud if "://" not in path else None, is_told, detect(bytes(data), formats), len(data))


def _hear(wire: Wire, clock: Clock, data: bytearray) -> None:
    """Add what comes to `data`, until there is enough to judge by, or too little came for too long."""
    began_at = clock.monotonic()
    while len(data) < BYTES_ENOUGH and len(whole_lines(bytes(data))) < LINES_WANTED:
        data += wire.read()
        if clock.monotonic() - began_at > (LISTEN_S if data else SILENT_S):
            return
