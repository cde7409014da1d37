"""How soon new digits and new words are pinned up, on a clock that is moved by hand."""

from __future__ import annotations

from daemon_bench import SlowDisk

from scaled.batch.inputs import ScaleLost, WeightSeen
from scaled.clock import ManualClock
from scaled.daemon.inbox import Inbox
from scaled.daemon.machine import Machine
from scaled.daemon.showing import LEAST_GAP_S, LONGEST_GAP_S, Showing
from scaled.weighing.values import Reading
from scaled.weighing.weigher import Weigher, WeigherSettings

FINE_S = LEAST_GAP_S / 50


class Shown:
    """A plain scale whose load rises by a division with each reading, and what of it is pinned up."""

    def __init__(self) -> None:
        self.clock = ManualClock(100.0)
        self.machine = Machine(SlowDisk(Inbox()), self.clock.monotonic())
        self.showing = Showing(self.clock, self.machine, "bench")
        self.weigher = Weigher(WeigherSettings(division_mg=100))
        self.value_mg = 0

    def read(self) -> None:
        self.value_mg += 100
        now = self.clock.monotonic()
        self.machine.take(WeightSeen(now, self.weigher.see(Reading(now, self.value_mg, shown_division_mg=100))))

    def is_pinned(self) -> bool:
        self.machine.settle()
        return self.showing.publish(self.clock.monotonic()) is not None

    def pass_s(self, seconds: float) -> None:
        self.clock.advance(seconds)


def flowing() -> Shown:
    """In motion, and the first digits of it pinned up just now."""
    shown = Shown()
    for _ in range(5):
        shown.pass_s(LEAST_GAP_S + FINE_S)
        shown.read()
        assert shown.is_pinned()
    return shown


def test_new_digits_come_twenty_times_a_second_and_the_last_are_not_lost() -> None:
    shown = flowing()
    shown.pass_s(LEAST_GAP_S / 2)
    shown.read()
    assert not shown.is_pinned()
    wait_s = shown.showing.due_at() - shown.clock.monotonic()
    assert 0 < wait_s <= LEAST_GAP_S / 2 + FINE_S
    shown.pass_s(wait_s + FINE_S)
    assert shown.is_pinned()
    weight = shown.showing.board.latest().weight
    assert weight is not None
    assert weight.gross_mg == shown.value_mg


def test_a_word_comes_at_once_and_does_not_hold_the_next_digits_up() -> None:
    shown = flowing()
    shown.pass_s(LEAST_GAP_S * 0.8)
    shown.machine.take(ScaleLost(shown.clock.monotonic()))
    assert shown.is_pinned()
    shown.pass_s(LEAST_GAP_S * 0.3)
    shown.read()
    assert shown.is_pinned()


def test_where_nothing_changes_it_is_renewed_each_second() -> None:
    shown = flowing()
    shown.pass_s(LONGEST_GAP_S - FINE_S)
    assert not shown.is_pinned()
    shown.pass_s(2 * FINE_S)
    assert shown.is_pinned()
