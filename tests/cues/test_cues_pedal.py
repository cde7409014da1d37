"""One tap is one tap: whatever the contact does, and however often anybody looks."""

from __future__ import annotations

from random import Random

import pytest
from cues_foot import taps
from hypothesis import given
from hypothesis import strategies as st

from scaled.cues.pedal import Button, Contact, Pedal, Switch, Tap


def played(switch: Switch, edges: list[tuple[float, bool]], until: float) -> list[Tap]:
    """The taps that a row of edges gives, nobody looking in between."""
    found = []
    for at, closed in edges:
        found += switch.edge(is_closed=closed, at=at)
    return found + switch.advance(until)


def kinds(edges: list[tuple[float, bool]]) -> list[str]:
    return [tap.kind for tap in played(Pedal(), edges, 1000.0)]


def pulse(at: float, length_s: float) -> list[tuple[float, bool]]:
    return [(at, True), (at + length_s, False)]


@pytest.mark.parametrize("ms", range(1, 1001, 7))
def test_a_pulse_of_1_to_1000_ms_is_nothing_then_short_then_long(ms: int) -> None:
    expected = [] if ms < 30 else ["short"] if ms < 800 else ["long"]
    assert kinds(pulse(1.0, ms / 1000)) == expected


@pytest.mark.parametrize(
    ("gap_s", "expected"), [(0.05, ["double"]), (0.399, ["double"]), (0.401, ["short", "short"]), (2, ["short"] * 2)]
)
def test_two_presses_within_0_4_s_are_one_double(gap_s: float, expected: list[str]) -> None:
    assert kinds(pulse(1.0, 0.1) + pulse(1.1 + gap_s, 0.1)) == expected


def test_the_time_of_a_tap_is_when_the_foot_came_down() -> None:
    assert played(Pedal(), pulse(2.0, 0.1), 9.0) == [Tap("short", 2.0)]
    assert played(Pedal(), pulse(2.0, 0.1) + pulse(2.3, 0.2), 9.0) == [Tap("double", 2.0)]
    assert played(Pedal(), pulse(2.0, 1.5), 9.0) == [Tap("long", 2.0)]


def test_a_long_press_is_told_while_the_foot_is_still_down_and_only_once() -> None:
    pedal = Pedal()
    assert pedal.edge(is_closed=True, at=1.0) == []
    assert pedal.advance(1.79) == []
    assert pedal.advance(1.81) == [Tap("long", 1.0)]
    assert pedal.advance(60.0) == []
    assert pedal.edge(is_closed=False, at=61.0) == []
    assert pedal.advance(70.0) == []
    assert pedal.due is None


def test_three_quick_presses_are_a_double_and_a_short_one() -> None:
    assert kinds(pulse(1.0, 0.1) + pulse(1.2, 0.1) + pulse(1.4, 0.1)) == ["double", "short"]


def test_a_long_press_right_after_a_short_one_is_both() -> None:
    assert played(Pedal(), pulse(1.0, 0.1) + pulse(1.3, 1.0), 9.0) == [Tap("short", 1.0), Tap("long", 1.3)]


def test_a_real_press_just_after_a_short_one_that_was_none_is_not_lost() -> None:
    """A debounce that goes blind after a first edge loses the press here (gpiozero, its issue 1039)."""
    assert kinds(pulse(1.0, 0.005) + pulse(1.03, 0.1)) == ["short"]


def test_a_burst_of_glitches_is_no_press_although_it_lasts_as_long_as_one() -> None:
    edges = [edge for n in range(100) for edge in pulse(1.0 + n * 0.015, 0.001)]
    assert kinds(edges) == []


def test_an_opening_of_10_ms_does_not_cut_a_press_in_two() -> None:
    assert kinds([(1.0, True), (1.3, False), (1.31, True), (1.5, False)]) == ["short"]


def test_a_long_press_that_opens_for_an_instant_at_0_8_s_is_still_long() -> None:
    assert kinds([(1.0, True), (1.795, False), (1.805, True), (2.5, False)]) == ["long"]


def test_a_pedal_that_something_stands_on_at_the_start_must_open_first() -> None:
    pedal = Pedal(is_closed=True)
    assert pedal.advance(50.0) == []
    assert played(pedal, [(51.0, False), *pulse(52.0, 0.1)], 60.0) == [Tap("short", 52.0)]


def test_an_edge_that_says_nothing_new_or_comes_late_does_no_harm() -> None:
    edges = [(1.0, True), (1.0, True), (0.9, True), (1.1, False), (1.05, False), (1.1, False)]
    assert played(Pedal(), edges, 9.0) == [Tap("short", 1.0)]


def test_a_contact_that_never_moved_is_never_due() -> None:
    assert Contact().due is None
    assert Contact().advance(1e9) is None


def test_a_button_is_told_at_once_and_one_that_could_do_harm_only_when_held() -> None:
    button = Button()
    assert button.edge(is_closed=True, at=1.0) == []
    assert button.advance(1.031) == [Tap("short", 1.0)]
    assert played(button, [(1.2, False), *pulse(2.0, 0.05), *pulse(2.1, 3.0)], 9.0) == [
        Tap("short", 2.0),
        Tap("short", 2.1),
    ]
    assert played(Button(is_held=True), [*pulse(1.0, 0.79), *pulse(3.0, 0.9)], 9.0) == [Tap("long", 3.0)]


edge_rows = st.lists(st.tuples(st.floats(0.0001, 0.5, allow_nan=False), st.booleans()), min_size=1, max_size=40).map(
    lambda rows: [(1.0 + sum(gap for gap, _ in rows[: i + 1]), closed) for i, (_, closed) in enumerate(rows)]
)


@pytest.mark.parametrize("kind", [Pedal, Button])
@given(edges=edge_rows, looks=st.lists(st.floats(1.0, 25.0), max_size=60))
def test_it_does_not_matter_how_often_anybody_looks(
    kind: type[Switch], edges: list[tuple[float, bool]], looks: list[float]
) -> None:
    watched, found = kind(), []
    moments = [(at, None) for at in looks] + [(at, closed) for at, closed in edges]
    for at, closed in sorted(moments, key=lambda moment: moment[0]):
        found += watched.advance(at) if closed is None else watched.edge(is_closed=closed, at=at)
    assert found + watched.advance(1000.0) == played(kind(), edges, 1000.0)


@given(edges=edge_rows)
def test_there_are_never_more_taps_than_there_is_time_for(edges: list[tuple[float, bool]]) -> None:
    found = played(Pedal(), edges, 1000.0)
    assert len(found) <= sum(closed for _, closed in edges)
    assert [tap.at for tap in found] == sorted(tap.at for tap in found)


@pytest.mark.parametrize("seed", range(5))
def test_taps_of_a_cook_are_understood_as_they_were_meant(seed: int) -> None:
    meant = list(taps(Random(seed), 500))
    edges = [edge for tapped in meant for edge in tapped.edges]
    assert edges == sorted(edges)
    understood = [tap.kind for tap in played(Pedal(), edges, edges[-1][0] + 10)]
    assert understood == [tapped.meant for tapped in meant]
