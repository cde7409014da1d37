"""Taps on real (mock) pins of gpiozero, from the edge to the wish, on a clock that is moved by hand."""

from __future__ import annotations

import os
from collections.abc import Iterator
from random import Random
from typing import Any

import pytest
from cues_foot import Tapped, taps

from scaled.batch.inputs import Wanted
from scaled.clock import ManualClock
from scaled.cues.contacts import DOUBT_S, Contacts
from scaled.cues.pins import Pins
from scaled.cues.settings import CueSettings

TAPS = int(os.environ.get("SCALED_TAPS", "20000"))  # the full size is 100,000
WISHES = {"short": "next", "double": "repeat", "long": "back"}


class Foot:
    """A mock pedal with its contacts, worked by moving the clock."""

    def __init__(self, settings: CueSettings) -> None:
        self.clock = ManualClock(at=5.0)
        self.wanted: list[Wanted] = []
        self.is_held = False
        self.contacts = Contacts(settings, self.wanted.append, lambda: self.is_held)
        clock, contacts = self.clock, self.contacts
        self.pins = Pins(settings, lambda *edge: contacts.heard(edge[0], edge[1], clock.monotonic() - edge[2]))
        self.contacts.begin(self.pins.is_closed)

    def pin(self, number: int) -> Any:
        return self.pins.factory.pin(number)

    def drive(self, number: int, *, closed: bool, at: float) -> None:
        """The contact closes (to ground) or opens at `at`; the board looks each time before."""
        self.wait(at)
        pin = self.pin(number)
        if closed:
            pin.drive_low()
        else:
            pin.drive_high()

    def wait(self, until: float) -> float | None:
        """Time passes; the board is woken when something is due, as its thread is."""
        due = self.contacts.work(self.clock.monotonic(), self.pins.is_closed)
        while due is not None and due <= until:
            self.clock.advance(max(0.0, due - self.clock.monotonic()))
            due = self.contacts.work(self.clock.monotonic(), self.pins.is_closed)
        self.clock.advance(until - self.clock.monotonic())
        return due


@pytest.fixture
def foot() -> Iterator[Foot]:
    made = Foot(CueSettings(pins="mock", pedal=17, buttons=(("later", 5), ("abort", 6))))
    yield made
    made.pins.close()


def trodden(foot: Foot, row: list[Tapped]) -> list[tuple[float, str]]:
    for number, tapped in enumerate(row):
        for at, closed in tapped.edges:
            foot.drive(17, closed=closed, at=at)
        if number % 1000 == 0:
            foot.pin(17).clear_states()
    foot.wait(foot.clock.monotonic() + 5)
    return [(wanted.at, wanted.wish) for wanted in foot.wanted]


def test_each_of_many_random_taps_is_counted_once(foot: Foot) -> None:
    row = list(taps(Random(20240917), TAPS))
    edges = sum(len(tapped.edges) for tapped in row)
    print(f"{TAPS} taps, {edges} edges: { {kind: sum(t.meant == kind for t in row) for kind in WISHES} }")
    found = trodden(foot, row)
    assert [wish for _, wish in found] == [WISHES[tapped.meant] for tapped in row]
    assert max(abs(at - tapped.at) for (at, _), tapped in zip(found, row, strict=True)) < 1e-6


def test_a_debounce_that_goes_blind_after_an_edge_counts_these_taps_wrongly() -> None:
    """The taps are no easy ones: ignoring edges for 50 ms, as `bounce_time` does, miscounts more than 5 %."""
    row = list(taps(Random(20240917), 2000))
    presses, blind_until, closed = 0, 0.0, False
    for at, now_closed in (edge for tapped in row for edge in tapped.edges):
        if at >= blind_until and now_closed != closed:
            closed, blind_until = now_closed, at + 0.05
            presses += closed
    meant = sum(2 if tapped.meant == "double" else 1 for tapped in row)
    assert abs(presses - meant) > 0.05 * meant


@pytest.mark.parametrize(("state", "wish"), [("running", "back"), ("held", "resume")])
def test_a_long_press_goes_back_and_resumes_what_is_held(foot: Foot, state: str, wish: str) -> None:
    foot.is_held = state == "held"
    foot.drive(17, closed=True, at=6.0)
    foot.wait(7.0)
    assert foot.wanted == [Wanted(6.0, wish)]


def test_buttons_ask_for_what_they_are_named_for(foot: Foot) -> None:
    foot.drive(5, closed=True, at=6.0)
    foot.drive(5, closed=False, at=6.1)
    foot.drive(6, closed=True, at=7.0)
    foot.drive(6, closed=False, at=7.2)
    foot.wait(8.0)
    assert foot.wanted == [Wanted(6.0, "later")]
    foot.drive(6, closed=True, at=9.0)
    foot.wait(10.0)
    assert foot.wanted == [Wanted(6.0, "later"), Wanted(9.0, "abort")]


def test_nothing_is_decided_where_an_edge_is_missing_until_it_is_certainly_lost(foot: Foot) -> None:
    """The pedal opens, but the edge is never heard: a tap was made, and it was not long."""
    foot.drive(17, closed=True, at=6.0)
    foot.wait(6.1)
    pin = foot.pin(17)
    listener, pin.when_changed = pin.when_changed, None
    foot.drive(17, closed=False, at=6.2)
    pin.when_changed = listener
    foot.wait(6.79)
    assert foot.wanted == []
    assert foot.contacts.work(6.81, foot.pins.is_closed) == 6.81 + DOUBT_S
    assert foot.wanted == []
    foot.contacts.work(6.87, foot.pins.is_closed)
    assert foot.wanted == [Wanted(6.0, "next")]


def test_a_pedal_that_is_down_at_the_start_asks_for_nothing(foot: Foot) -> None:
    foot.pin(17).drive_low()
    foot.contacts.begin(foot.pins.is_closed)
    foot.wait(20.0)
    foot.drive(17, closed=False, at=21.0)
    foot.wait(22.0)
    assert foot.wanted == []


def test_a_contact_that_chatters_without_end_fills_no_memory(foot: Foot) -> None:
    for n in range(20_000):
        foot.contacts.heard("pedal", n % 2 == 0, 6.0 + n * 0.0001)
    foot.contacts.work(9.0, foot.pins.is_closed)
    foot.wait(12.0)
    assert len(foot.wanted) <= 1
