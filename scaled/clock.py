"""The only place that knows what time it is.

Bench time is monotonic seconds: everything that is measured, waited for or replayed is counted in it. Wall time is
only written down for people. `at` values of two runs can be compared only where their boot ids are the same.

Three clocks: `RealClock` runs as the machine does, `SpedUpClock` makes bench time go N times faster for the daemon and
the simulated scale alike, `ManualClock` moves only when it is told to. The core never sees a clock: it is handed `at`.
A thread that waits on a queue or an event asks `real_seconds` how long that wait is outside the bench.
"""

from __future__ import annotations

import time
import uuid
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Protocol

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
POLL_S = 0.01  # a thread beside a clock that is moved by hand looks this often (real seconds)
SHORTEST_S = 0.0002  # real seconds: a wait for a clock that is held does not spin
OVERSLEPT_S = 0.05  # real seconds that a clock makes up after a hold: threads wake late


class Clock(Protocol):
    def monotonic(self) -> float:
        """Bench seconds, never going back; only differences mean something, and only within one boot."""
        ...

    def wall(self) -> datetime:
        """The date and time for people, aware of its offset; may jump when the machine's clock is set."""
        ...

    def wall_iso(self) -> str:
        """`wall` as ISO 8601 with offset, to the millisecond."""
        ...

    def boot_id(self) -> str:
        """The same for as long as `monotonic` counts on, another after a restart of the machine."""
        ...

    def real_seconds(self, bench_s: float) -> float:
        """How long `bench_s` of bench time last outside: the timeout for a queue, a condition or a socket."""
        ...

    def sleep(self, bench_s: float) -> None:
        """Wait for `bench_s` of bench time; nothing where it is not above 0."""
        ...


@cache
def boot_id_of_machine(source: Path = BOOT_ID) -> str:
    """The kernel's boot id (Linux, random(4)).

    Where there is none, an id made new for this process: monotonic times are then never compared across restarts,
    which is the safe side.
    """
    try:
        return source.read_text(encoding="ascii").strip()
    except OSError:
        return str(uuid.uuid4())


class RealClock:
    """Time as the machine has it."""

    def monotonic(self) -> float:
        return time.monotonic()

    def wall(self) -> datetime:
        return datetime.now().astimezone()

    def wall_iso(self) -> str:
        return self.wall().isoformat(timespec="milliseconds")

    def boot_id(self) -> str:
        return boot_id_of_machine()

    def real_seconds(self, bench_s: float) -> float:
        return max(0.0, bench_s)

    def sleep(self, bench_s: float) -> None:
        if bench_s > 0:
            time.sleep(bench_s)


class SpedUpClock:
    """Bench time that starts at 0 now and goes `speed` times faster than the machine's, wall time with it.

    With `run_to` it goes from moment to moment and stands still in between, so that a demonstration can wait for a
    bench that falls behind: a busy machine makes it slower, and never wrong. What was lost is not made up, but for the
    little that a thread oversleeps.
    """

    def __init__(self, speed: float, *, is_held: bool = False) -> None:
        if not 0 < speed < float("inf"):
            raise ValueError(f"a clock's speed is above 0 and finite, not {speed}")
        self.speed = speed
        self._lock = Lock()
        self._from_s, self._from_at = time.monotonic(), 0.0
        self._is_held = is_held
        self._started_wall = datetime.now().astimezone()
        self._boot_id = str(uuid.uuid4())

    def monotonic(self) -> float:
        with self._lock:
            return self._from_at if self._is_held else self._running()

    def _running(self) -> float:
        return self._from_at + (time.monotonic() - self._from_s) * self.speed

    def hold(self) -> None:
        """Stand still, until `run_to` or `release`."""
        with self._lock:
            if not self._is_held:
                self._from_at, self._from_s, self._is_held = self._running(), time.monotonic(), True

    def run_to(self, at: float) -> None:
        """Held: wait until the machine's time has come for `at`, and stand there then."""
        due_s = max(self._from_s + (at - self._from_at) / self.speed, time.monotonic() - OVERSLEPT_S)
        time.sleep(max(0.0, due_s - time.monotonic()))
        with self._lock:
            self._from_at, self._from_s = max(at, self._from_at), due_s

    def release(self) -> None:
        """Run on from where it stands."""
        with self._lock:
            self._from_s, self._is_held = time.monotonic(), False

    def wall(self) -> datetime:
        return self._started_wall + timedelta(seconds=self.monotonic())

    def wall_iso(self) -> str:
        return self.wall().isoformat(timespec="milliseconds")

    def boot_id(self) -> str:
        return self._boot_id  # its bench seconds mean nothing to any other clock

    def real_seconds(self, bench_s: float) -> float:
        return max(0.0, bench_s) / self.speed

    def sleep(self, bench_s: float) -> None:
        until_at = self.monotonic() + bench_s
        while (left_s := until_at - self.monotonic()) > 0:
            time.sleep(max(SHORTEST_S, left_s / self.speed))


class ManualClock:
    """Time that stands still until it is moved: by `advance`, or by whoever sleeps on it."""

    def __init__(
        self, at: float = 0.0, wall: datetime = datetime(1970, 1, 1, tzinfo=UTC), boot_id: str = "manual"
    ) -> None:
        if wall.tzinfo is None:
            raise ValueError("the wall time needs its offset")
        self._at = at
        self._start_at = at
        self._start_wall = wall
        self._boot_id = boot_id
        self._lock = Lock()

    def advance(self, bench_s: float) -> None:
        if bench_s < 0:
            raise ValueError(f"time does not go back ({bench_s} s)")
        with self._lock:
            self._at += bench_s

    def monotonic(self) -> float:
        return self._at

    def wall(self) -> datetime:
        return self._start_wall + timedelta(seconds=self._at - self._start_at)

    def wall_iso(self) -> str:
        return self.wall().isoformat(timespec="milliseconds")

    def boot_id(self) -> str:
        return self._boot_id

    def real_seconds(self, bench_s: float) -> float:
        return POLL_S if bench_s > 0 else 0.0

    def sleep(self, bench_s: float) -> None:
        self.advance(max(0.0, bench_s))
