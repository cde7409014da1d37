"""New results of a scale are told from repeats, at 3 to 18 results a second sent 1 to 4 times, on lines that jitter."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from scaled.weighing.updates import Updates

DIVISION_MG = 100
POURS, POURED_S, RESTED_S = 3, 2.0, 4.0
BUNCH_S = 0.016  # a USB adapter hands on what came within 16 ms (the usual latency timer; from memory)


def lines(updates_per_s: float, repeats: float, jitter: str, seed: int = 0) -> Iterator[tuple[float, int, int]]:
    """When a line came, its value, and which result it brings: pours of 25 g/s with rests of quiet noise between."""
    source = random.Random(seed)
    values: dict[int, int] = {}
    came_at = 0.0
    for line in range(int(POURS * (POURED_S + RESTED_S) * updates_per_s * repeats)):
        sent_at = (line + 0.2) / (updates_per_s * repeats)
        result = int(sent_at * updates_per_s)
        turn, into_s = divmod(result / updates_per_s, POURED_S + RESTED_S)
        grams = 25 * (POURED_S * turn + min(into_s, POURED_S))
        values.setdefault(result, round(grams * 10 + source.gauss(0, 0.2)) * DIVISION_MG)
        late_s = {"none": 0.0, "late": abs(source.gauss(0, 0.006)), "bunched": -sent_at % BUNCH_S}[jitter]
        came_at = max(came_at + 1e-4, sent_at + late_s)
        yield came_at, values[result], result


def told(updates: Updates, updates_per_s: float, repeats: float, jitter: str) -> tuple[float, float]:
    """What was learned of the interval, and how many results were counted after the first pour, both as a ratio."""
    counted, results = 0, set()
    for at, value, result in lines(updates_per_s, repeats, jitter):
        is_new = updates.is_new(at, value, DIVISION_MG)
        if at > POURED_S:
            counted += is_new
            results.add(result)
    return updates.interval_s * updates_per_s, counted / len(results)


@pytest.mark.parametrize("jitter", ["none", "late", "bunched"])
@pytest.mark.parametrize("repeats", [1.0, 2.0, 3.0, 4.0, 1.5, 2.6, 3.4])
@pytest.mark.parametrize("updates_per_s", [3.0, 4.0, 5.5, 7.0, 10.0, 18.0])
def test_repeats_are_no_results(updates_per_s: float, repeats: float, jitter: str) -> None:
    interval, counted = told(Updates(), updates_per_s, repeats, jitter)
    assert interval == pytest.approx(1, abs=0.1)
    assert counted == pytest.approx(1, abs=0.1)


def test_a_wrong_interval_is_seen_by_the_same_figures() -> None:
    """The planted fault: 0.1 s given to a scale of five results a second counts each repeat in the middle."""
    interval, counted = told(Updates(0.1), 5.0, 3.0, "none")
    assert interval == pytest.approx(0.5)
    assert counted > 1.3


def test_an_interval_that_is_given_is_kept() -> None:
    assert told(Updates(1 / 7), 7.0, 3.0, "bunched") == (pytest.approx(1), pytest.approx(1, abs=0.05))


@pytest.mark.parametrize("updates_per_s", [40.0, 60.0, 80.0])
@pytest.mark.parametrize("repeats", [1.0, 2.0])
def test_more_results_than_a_scale_has_to_tell_are_thinned_out(updates_per_s: float, repeats: float) -> None:
    """They would leave the filter a memory of half a second."""
    updates = Updates()
    interval, counted = told(updates, updates_per_s, repeats, "none")
    assert 0.036 <= updates.interval_s <= 0.06
    assert counted == pytest.approx(1 / interval, rel=0.1)


def test_a_hand_that_holds_still_on_the_way_is_not_taken_for_the_scale() -> None:
    """Ten results a second sent three times; 0.4 s of rest between clear changes teach nothing."""
    updates = Updates()
    shown = [0, 50, 120, 120, 120, 120, 200, 270, 270, 270, 270, 340, 400, 400, 400, 400, 480]
    for index, tenths in enumerate(value for value in shown for _ in range(3)):
        updates.is_new(index / 30, tenths * 100, DIVISION_MG)
    assert updates.repeats == pytest.approx(3)


def test_after_a_silence_the_next_line_is_a_result_and_the_scale_is_still_known() -> None:
    updates = Updates()
    told(updates, 7.0, 3.0, "none")
    updates.forget()
    assert updates.is_new(100.0, 5000, DIVISION_MG)
    assert not updates.is_new(100.05, 5000, DIVISION_MG)
    assert updates.interval_s == pytest.approx(1 / 7, rel=0.1)
