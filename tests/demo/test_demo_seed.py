"""The same seed gives the same batch, on any machine, however busy and at whatever speed.

At a speed that no machine keeps up with the clock is always held back by the bench: the whole demonstration then takes
as long as the bench needs for it, some five seconds. `SCALED_DEMO_SEEDS` is how many seeds are played beside busy
processes.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

import pytest
from demo_busy import busy_machine
from demo_playing import Shown

from scaled.batch.record import record_json
from scaled.demo.cases import CASES
from scaled.demo.stage import Stage

AS_FAST_AS_IT_GOES = 1000.0
SEEDS = range(4, 4 + int(os.environ.get("SCALED_DEMO_SEEDS", "1")))
SAME = ("state", "factor_exact", "additions", "corrections", "events")  # the rest are ids, dates and hashes


class Impatient(Stage):
    """The planted fault: the clock goes on whether the bench has shown anything or not."""

    def _await(self, is_so: Callable[[float, float], bool]) -> None:
        pass


def made(case: str, seed: int, stage: type[Stage] = Stage) -> dict[str, Any]:
    """What a demonstration's record says of the batch."""
    with stage(
        CASES[case], speed=AS_FAST_AS_IT_GOES, seed=seed, has_page=False, tell=lambda _line: None
    ) as demonstration:
        record = record_json(demonstration.play().record)
    return {key: record[key] for key in SAME}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_busy_machine_makes_a_demonstration_slower_and_never_another(seed: int) -> None:
    at_leisure = made("plain", seed)
    with busy_machine():
        starved = made("plain", seed)
    assert starved == at_leisure
    assert all(a["in_tolerance"] for a in starved["additions"] if a["actual_g"] is not None)


@pytest.mark.parametrize("case", ["overpour", "power cut"])
def test_at_another_speed_and_beside_four_others_the_batch_is_the_same(shown: dict[str, Shown], case: str) -> None:
    assert {key: shown[case].record[key] for key in SAME} == made(case, 1)


def test_another_seed_is_another_cook(shown: dict[str, Shown]) -> None:
    assert shown["plain"].record["additions"] != made("plain", 2)["additions"]


def test_a_clock_that_does_not_wait_for_the_bench_is_caught(shown: dict[str, Shown]) -> None:
    impatient = made("plain", 1, Impatient)
    assert impatient["additions"] != shown["plain"].record["additions"]
