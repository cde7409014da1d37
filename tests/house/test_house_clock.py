"""The three clocks: what the bench calls time."""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from scaled.clock import Clock, ManualClock, RealClock, SpedUpClock, boot_id_of_machine

CLOCKS = [RealClock, lambda: SpedUpClock(20), ManualClock]


@pytest.fixture(params=CLOCKS, ids=["real", "sped up", "manual"])
def clock(request: pytest.FixtureRequest) -> Clock:
    return request.param()


def test_sleeping_takes_the_bench_time_that_was_asked(clock: Clock) -> None:
    before = clock.monotonic()
    clock.sleep(0.05)
    assert clock.monotonic() - before >= 0.05


def test_sleeping_for_nothing_or_less_returns_at_once(clock: Clock) -> None:
    before = clock.monotonic()
    clock.sleep(0)
    clock.sleep(-1000)
    assert clock.monotonic() - before < 1000


def test_wall_time_carries_its_offset_and_survives_being_written(clock: Clock) -> None:
    assert clock.wall().utcoffset() is not None
    written = clock.wall_iso()
    assert datetime.fromisoformat(written).utcoffset() == clock.wall().utcoffset()
    assert abs(datetime.fromisoformat(written) - clock.wall()) < timedelta(minutes=1)


def test_the_boot_id_stays(clock: Clock) -> None:
    assert clock.boot_id() == clock.boot_id() != ""


def test_no_wait_is_negative(clock: Clock) -> None:
    assert clock.real_seconds(-1) == 0
    assert clock.real_seconds(0) == 0
    assert clock.real_seconds(1) > 0


def test_a_sped_up_second_is_a_twentieth_of_a_real_one() -> None:
    clock = SpedUpClock(20)
    assert clock.real_seconds(1) == pytest.approx(0.05)
    outer, bench, inner = time.monotonic(), clock.monotonic(), time.monotonic()
    clock.sleep(2)
    least, passed = 20 * (time.monotonic() - inner), clock.monotonic() - bench
    assert least <= passed + 1e-6
    assert passed <= 20 * (time.monotonic() - outer) + 1e-6


def test_a_sped_up_clock_starts_at_0_and_takes_its_wall_time_along() -> None:
    started, began_s = datetime.now(UTC), time.monotonic()
    clock = SpedUpClock(20)
    assert 0 <= clock.monotonic() <= 20 * (time.monotonic() - began_s)
    clock.sleep(10)
    assert clock.wall() - started >= timedelta(seconds=10)


@pytest.mark.parametrize("speed", [0, -1, float("inf"), float("nan")])
def test_a_speed_that_is_none_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        SpedUpClock(speed)


def test_a_held_clock_goes_from_moment_to_moment() -> None:
    clock = SpedUpClock(20, is_held=True)
    assert (clock.monotonic(), clock.monotonic()) == (0.0, 0.0)
    began_s = time.monotonic()
    clock.run_to(1.0)
    assert clock.monotonic() == 1.0
    assert time.monotonic() - began_s >= 0.04, "not faster than the speed that was asked for"
    clock.run_to(0.5)
    assert clock.monotonic() == 1.0, "time does not go back"


def test_what_a_held_clock_waited_for_is_not_made_up() -> None:
    """0.3 s late, and at most 0.05 s of it is made up: the next 0.1 s do not pass in no time."""
    clock = SpedUpClock(20)
    clock.hold()
    at = clock.monotonic()
    RealClock().sleep(0.3)
    began_s = time.monotonic()
    for moment in range(1, 41):
        clock.run_to(at + moment * 0.05)
    assert time.monotonic() - began_s >= 0.04
    assert clock.monotonic() == at + 40 * 0.05


def test_a_clock_that_is_let_go_runs_on_from_where_it_stood() -> None:
    clock = SpedUpClock(20, is_held=True)
    clock.run_to(3.0)
    RealClock().sleep(0.5)
    released_s = time.monotonic()
    clock.release()
    at = clock.monotonic()
    assert 3.0 <= at <= 3.0 + 20 * (time.monotonic() - released_s), "the 10 s that it stood still for are not made up"
    clock.sleep(2.0)
    assert clock.monotonic() - at >= 2.0


def test_who_sleeps_on_a_held_clock_wakes_when_it_has_come_there() -> None:
    clock = SpedUpClock(20, is_held=True)
    woken: list[float] = []

    def sleep() -> None:
        clock.sleep(0.5)
        woken.append(clock.monotonic())

    sleeper = threading.Thread(target=sleep)
    sleeper.start()
    clock.run_to(0.49)
    assert not woken
    clock.run_to(0.51)
    sleeper.join(30)
    assert woken == [0.51]


def test_a_queue_waits_for_bench_time() -> None:
    clock = SpedUpClock(20)
    waiting: queue.Queue[None] = queue.Queue()
    before = clock.monotonic()
    with pytest.raises(queue.Empty):
        waiting.get(timeout=clock.real_seconds(1))
    assert clock.monotonic() - before >= 1


def test_the_manual_clock_moves_by_hand_only() -> None:
    clock = ManualClock(at=5)
    assert (clock.monotonic(), clock.monotonic()) == (5, 5)
    clock.advance(2.5)
    assert clock.monotonic() == 7.5
    assert clock.wall_iso() == "1970-01-01T00:00:02.500+00:00"
    with pytest.raises(ValueError, match="go back"):
        clock.advance(-0.1)
    assert clock.monotonic() == 7.5


def test_the_manual_clock_keeps_the_offset_it_was_given() -> None:
    clock = ManualClock(wall=datetime(2031, 2, 3, 4, 5, 6, tzinfo=timezone(timedelta(hours=5, minutes=30))))
    assert clock.wall_iso() == "2031-02-03T04:05:06.000+05:30"
    with pytest.raises(ValueError, match="offset"):
        ManualClock(wall=datetime(2031, 2, 3))  # noqa: DTZ001 - the fault that is refused


def test_many_threads_advance_without_losing_a_step() -> None:
    clock = ManualClock()
    threads = [threading.Thread(target=lambda: [clock.advance(1) for _ in range(2000)]) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert clock.monotonic() == 8000


def test_the_boot_id_is_the_kernels_and_the_same_in_another_process() -> None:
    script = "from scaled.clock import RealClock; print(RealClock().boot_id())"
    other = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    kernel = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    assert RealClock().boot_id() == other.stdout.strip() == kernel


def test_without_the_kernels_boot_id_every_process_has_its_own(tmp_path: Path) -> None:
    absent = tmp_path / "boot_id"
    script = f"from pathlib import Path; from scaled.clock import *; print(boot_id_of_machine(Path({str(absent)!r})))"
    other = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert boot_id_of_machine(absent) == boot_id_of_machine(absent) != other.stdout.strip() != ""
