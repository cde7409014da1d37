"""A simulated scale on a real pseudo-terminal: what reads it cannot tell it from a serial port.

A thread writes the lines of a `SimulatedScale` when the clock says that they are due, N times as fast where the clock
is sped up. The port is known by a symbolic link that stays the same, as a by-id name does, while the pseudo-terminal
behind it comes and goes with `unplug` and `replug`. What nobody reads is lost, as on a serial line.
"""

from __future__ import annotations

import contextlib
import math
import os
import tempfile
import threading
import tty
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from scaled.clock import Clock
from scaled.simulator.scale import SimulatedScale

T = TypeVar("T")

SHORTEST_SLEEP_S = 0.002  # outside the bench: a line is at most this late


class PtyScale:
    """Runs one simulated scale; a context manager that stops it at the end."""

    def __init__(self, scale: SimulatedScale, clock: Clock, folder: Path | None = None, name: str = "scale") -> None:
        self._own_folder = None if folder else tempfile.TemporaryDirectory(prefix="scaled-bench-")
        self.path = (folder or Path(str(self._own_folder and self._own_folder.name))) / name
        if scale.at < clock.monotonic():  # the bench's clock has run for long: the scale was made just now
            scale.move_to(clock.monotonic())
        self._scale = scale
        self._clock = clock
        self._lock = threading.RLock()
        self._master: int | None = None
        self._slave: int | None = None
        self.written_at = -math.inf  # when something was written last that could be read
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"simulated {name}", daemon=True)
        self.replug()
        self._thread.start()

    def __enter__(self) -> PtyScale:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def act(self, action: Callable[[SimulatedScale, float], T]) -> T:
        """Do something to the scale now; `action` is handed the scale and the bench time."""
        with self._lock:
            at = max(self._clock.monotonic(), self._scale.at)
            self._send(self._scale.advance_to(at))
            return action(self._scale, at)

    @property
    def true_load_g(self) -> float:
        """The mass really on the plate now."""
        return self.act(lambda scale, _at: scale.true_load_g)

    @property
    def is_plugged(self) -> bool:
        return self._master is not None

    def unplug(self) -> None:
        """Pull the cable: the far side is gone, perhaps in the middle of a line, and so is the name."""
        with self._lock:
            self.path.unlink(missing_ok=True)
            for end in (self._master, self._slave):
                if end is not None:
                    os.close(end)
            self._master = self._slave = None

    def replug(self) -> None:
        """Put the cable back: another pseudo-terminal under the same name."""
        with self._lock:
            if self._master is not None:
                return
            self._master, self._slave = os.openpty()
            tty.setraw(self._slave)
            os.set_blocking(self._master, False)
            beside = self.path.with_name(f"{self.path.name}.new")
            beside.symlink_to(os.ttyname(self._slave))
            beside.replace(self.path)

    def send_raw(self, data: bytes) -> None:
        """Write bytes that are no line of this scale: noise, half a line."""
        with self._lock:
            self._write(data)

    def stop(self) -> None:
        """End the thread and take the port away."""
        self._stopped.set()
        self._thread.join(timeout=5.0)
        self.unplug()
        if self._own_folder:
            self._own_folder.cleanup()

    def _run(self) -> None:
        while not self._stopped.is_set():
            with self._lock:
                now = self._clock.monotonic()
                if now > self._scale.at:
                    self._send(self._scale.advance_to(now))
                wait_s = self._scale.next_line_at() - now
            self._stopped.wait(max(SHORTEST_SLEEP_S, self._clock.real_seconds(wait_s)))

    def _send(self, lines: list[tuple[float, bytes]]) -> None:
        if lines:
            self._write(b"".join(line for _, line in lines))

    def _write(self, data: bytes) -> None:
        if self._master is not None:
            at = self._clock.monotonic()
            with contextlib.suppress(BlockingIOError):  # nobody reads: the kernel's buffer is full, and this is lost
                os.write(self._master, data)
                self.written_at = at


class PtyPlate:
    """The plate of a scale on a pseudo-terminal, for hands: what is told for the past happens now."""

    def __init__(self, scale: PtyScale) -> None:
        self._scale = scale

    def add(self, mass_g: float, at: float) -> None:
        self._scale.act(lambda scale, now: scale.add(mass_g, max(at, now)))

    def put(self, mass_g: float, at: float, *, splash: float) -> None:
        self._scale.act(lambda scale, now: scale.put(mass_g, max(at, now), splash=splash))

    def press(self, peak_g: float, at: float) -> None:
        self._scale.act(lambda scale, now: scale.press(peak_g, max(at, now)))
