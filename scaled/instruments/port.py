"""A scale's port, watched for ever: a thread that reads, and comes back whenever the scale does.

The strategy is one loop, `find, open, read until it fails, wait a little`, that never ends by itself. No scale is a
normal state, at the start too. The state told to others comes from the age of the last good line, never from "the port
is open": a port that is open and silent, or that brings nothing but garbage, is lost after `silence_s` and opened anew.
While it is away the port's name is looked for four times a second, so that a replug is seen at once, however long the
waits between tries have become.

What was wrong is a condition and a counter, and a line in the log when it changes, not one for each try.
"""

from __future__ import annotations

import logging
import random
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from scaled.clock import Clock
from scaled.errors import Busy, NoScale
from scaled.instruments.backoff import Backoff
from scaled.instruments.find import DEV, SYSFS, find_port
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import PortOptions
from scaled.instruments.parser import LineParser
from scaled.instruments.wire import WAIT_S, Wire, WireLost, open_wire
from scaled.weighing.values import Reading

PortState = Literal["ready", "lost"]
Condition = Literal["starting", "ready", "absent", "busy", "silent", "failed", "stopped"]

LOOK_S = 0.25  # between two looks whether the port has come back
STOP_S = 1.0  # outside the bench: how long `stop` waits for the thread
SHORTEST_WAIT_S = 0.002  # outside the bench: with a clock that is sped up, or moved by hand

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class PortCounts:
    """What a port has brought since it was started."""

    frames_ok: int
    frames_bad: int
    bytes_discarded: int
    reopened: int
    failures: dict[str, int]


class ScalePort:
    """Reads one scale. `on_reading` and `on_state` are called in its thread: they hand over and return at once."""

    def __init__(
        self,
        name: str,
        port: str,
        line_format: LineFormat,
        clock: Clock,
        on_reading: Callable[[Reading], None],
        on_state: Callable[[PortState], None],
        *,
        options: PortOptions | None = None,
        jitter: random.Random | None = None,
        sysfs: Path = SYSFS,
        dev: Path = DEV,
    ) -> None:
        self.name = name
        self.port = port
        self.options = options or PortOptions()
        self.condition: Condition = "starting"
        self.last_good_at: float | None = None
        self.moved_at = clock.monotonic()  # the loop's heartbeat, for a watchdog
        self._clock = clock
        self._on_reading = on_reading
        self._on_state = on_state
        self._parser = LineParser(line_format, each_twice=self.options.each_twice)
        self._backoff = Backoff(jitter)
        self._roots = {"sysfs": sysfs, "dev": dev}
        self._opened = 0
        self._failures: dict[str, int] = {}
        self._wire: Wire | None = None
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def counts(self) -> PortCounts:
        line = self._parser.counts
        return PortCounts(
            frames_ok=line.frames_ok,
            frames_bad=line.frames_bad,
            bytes_discarded=line.bytes_discarded,
            reopened=max(0, self._opened - 1),
            failures=dict(self._failures),
        )

    def claim(self) -> None:
        """Take the port before the thread starts; an absent one is no error, it is waited for.

        Raises:
            Busy: another process has it.
        """
        try:
            self._wire = self._opened_wire()
        except NoScale:
            self._wire = None  # the thread looks for it again, and says what it finds

    def start(self) -> None:
        """Start reading."""
        if self._thread is not None:
            raise RuntimeError("a port is started once")
        self._thread = threading.Thread(target=self._run, name=f"scale {self.name}", daemon=True)
        self._thread.start()

    @property
    def is_running(self) -> bool:
        """Whether its thread is there: after an end that was asked for it hangs."""
        return self._thread is not None and self._thread.is_alive()

    def stop(self) -> None:
        """Stop reading and give the port back; within a second, even while the port hangs."""
        self._stop.set()
        wire = self._wire
        if self._thread is None:
            if wire is not None:
                wire.close()
        else:
            if wire is not None:
                wire.cancel()
            self._thread.join(timeout=STOP_S)
        self.condition = "stopped"

    def send(self, data: bytes) -> None:
        """Send a question or a command to the scale.

        Raises:
            NoScale: the port is not open, or failed meanwhile.
        """
        wire = self._wire
        if wire is None:
            raise NoScale(f"{self.port}: not open ({self.condition})")
        try:
            wire.write(data)
        except WireLost as lost:
            raise NoScale(f"{self.port}: could not be written to ({lost.reason})") from lost

    def _run(self) -> None:
        while not self._stop.is_set():
            wire = self._wire or self._open()
            self._wire = wire
            if wire is None:
                self._wait(self._backoff.next_s())
                continue
            try:
                self._read_until_lost(wire)
            finally:
                self._wire = None
                wire.close()
            self._wait(self._backoff.next_s())

    def _open(self) -> Wire | None:
        """Find and open the port; None where it is away, with the condition saying how."""
        try:
            return self._opened_wire()
        except Busy as error:
            self._become("busy", str(error))
        except NoScale as error:
            self._become("absent", str(error))
        return None

    def _opened_wire(self) -> Wire:
        """Find and open the port. Raises Busy where another program has it, NoScale where it is not there."""
        path = find_port(self.port, sysfs=self._roots["sysfs"], dev=self._roots["dev"])
        if path is None:
            raise NoScale("not there")
        wire = open_wire(path, self.options)
        self._opened += 1
        return wire

    def _read_until_lost(self, wire: Wire) -> None:
        """Read lines and pass them on, until the port fails, falls silent or is to be stopped."""
        self._parser.reset()
        heard_at = believed_from_at = self._clock.monotonic() + self.options.settle_s
        while not self._stop.is_set():
            try:
                data = wire.read(self._real_s(WAIT_S))
            except WireLost as lost:
                self._failures[lost.reason] = self._failures.get(lost.reason, 0) + 1
                self._become("failed", lost.reason)
                return
            now = self.moved_at = self._clock.monotonic()
            if data and now >= believed_from_at:
                readings = self._parser.feed(data, now)
                if readings:
                    heard_at = self.last_good_at = now
                    self._pass_on(readings)
            if now - heard_at > self.options.silence_s:
                self._become("silent", f"no good line for {self.options.silence_s:g} s")
                return

    def _pass_on(self, readings: list[Reading]) -> None:
        if self.condition != "ready":
            self._backoff.reset()
            self._become("ready", "lines come")
        for reading in readings:
            if self._stop.is_set():
                return
            self._on_reading(reading)

    def _become(self, condition: Condition, why: str) -> None:
        """Note what is so now; others are told, and the log has a line, only where that is new."""
        before, self.condition = self.condition, condition
        if condition == before:
            return
        log.log(
            logging.INFO if condition == "ready" else logging.WARNING, "scale %s: %s (%s)", self.name, condition, why
        )
        if (condition == "ready") != (before == "ready") and not self._stop.is_set():
            self._on_state("ready" if condition == "ready" else "lost")

    def _wait(self, bench_s: float) -> None:
        """Wait before the next try; not longer than until the port comes back to its name."""
        until_at = self._clock.monotonic() + bench_s
        was_there = self._is_there()
        while not self._stop.is_set():
            now = self.moved_at = self._clock.monotonic()
            if now >= until_at:
                return
            self._stop.wait(self._real_s(min(LOOK_S, until_at - now)))
            is_there = self._is_there()
            if is_there and not was_there:
                self._backoff.reset()
                return
            was_there = is_there

    def _is_there(self) -> bool:
        return find_port(self.port, sysfs=self._roots["sysfs"], dev=self._roots["dev"]) is not None

    def _real_s(self, bench_s: float) -> float:
        return max(SHORTEST_WAIT_S, self._clock.real_seconds(bench_s))
