"""A stage is started again in the simulated kitchen: what is recorded is what the simulator really has in the bowl."""

from __future__ import annotations

import os
import random
from fractions import Fraction

import pytest
from batch_plate import DOUGH, stiff

from scaled.batch.acceptance import net_u_mg
from scaled.batch.batch import Batch
from scaled.batch.events import StageStartedAgain, VesselTared
from scaled.batch.inputs import BeginBatch
from scaled.simulator.cook import CookStyle
from scaled.simulator.kitchen import Kitchen, bench_of
from scaled.simulator.parameters import ScaleParameters, draw_parameters

BATCHES = int(os.environ.get("SCALED_BATCHES", "200")) // 10
SEED = int(os.environ.get("SCALED_SEED", "20261124"))
LONGEST_S = 1800.0
QUIET = ScaleParameters(noise_d=0.2)


def made(parameters: ScaleParameters, seed: int, *left_in: float, whims: float = 0.0) -> tuple[Kitchen, Batch]:
    """276 g of flour fall in at once: it is thrown away, with such shares left at the first tries."""
    style = CookStyle(
        drops_g={"oat flour": (276.0,)},
        eggs_g={"whole egg": 50.0},
        egg_sd_g=0.3,
        starts_again=True,
        left_in=left_in,
        whims=whims,
    )
    begin = BeginBatch(0.0, "simulated", stiff(DOUGH), Fraction(1), bench_of(parameters))
    kitchen = Kitchen(begin, parameters, style, seed)
    return kitchen, kitchen.run(LONGEST_S)


def off_by(kitchen: Kitchen, batch: Batch) -> list[tuple[str, int]]:
    """What is recorded otherwise than it is, beyond what the scale can tell: mg by addition key."""
    d = kitchen.parameters.division_mg
    return [
        (c.key, round(c.in_mg - 1000 * kitchen.hands.true_g[c.key]))
        for c in batch.contents
        if abs(c.in_mg - 1000 * kitchen.hands.true_g[c.key]) > max(d, 5 * net_u_mg(batch.facts, c.weighings))
    ]


@pytest.mark.parametrize("left_in", [(), (0.5,), (1.0, 0.2)])
def test_from_too_much_flour_to_a_whole_batch(left_in: tuple[float, ...]) -> None:
    kitchen, batch = made(QUIET, 11, *left_in)
    again = [event for event in kitchen.events if isinstance(event, StageStartedAgain)]
    assert (batch.state, batch.factor, len(again)) == ("complete", 1, 1)
    assert off_by(kitchen, batch) == []
    assert abs(dict(again[0].thrown_mg)["oat flour"] - 1000 * kitchen.hands.thrown_g["oat flour"]) < 300
    assert kitchen.hands.vessels["bowl"] == pytest.approx(812 + sum(kitchen.hands.true_g.values()))
    tared = [event for event in kitchen.events if isinstance(event, VesselTared)]
    assert [round(event.gross_mg / 1000) for event in tared] == [812, 812]


def test_the_true_masses_notice_what_clings_to_the_bowl() -> None:
    """The check above, shown to catch a fault: 1.9 g stay in, which nobody counts, since so much may cling."""
    kitchen, batch = made(QUIET, 11, 0.007)
    assert batch.state == "complete"
    [(key, off_mg)] = off_by(kitchen, batch)
    assert (key, off_mg) == ("oat flour", pytest.approx(-1930, abs=200))


def test_on_all_scales_by_all_cooks() -> None:
    source = random.Random(SEED)
    wrong, stuck, begun = [], [], 0
    for index in range(BATCHES):
        parameters, seed = draw_parameters(source), source.randrange(2**31)
        left_in = source.choice([(), (1.0,), (0.5,), (0.3, 0.1)])
        kitchen, batch = made(parameters, seed, *left_in, whims=source.choice([0.0, 0.05]))
        begun += sum(isinstance(event, StageStartedAgain) for event in kitchen.events)
        if batch.state != "complete":
            stuck.append((index, seed, batch.state, batch.emptying))
        elif off := off_by(kitchen, batch):
            wrong.append((index, seed, off))
    print(f"seed {SEED}: {BATCHES} batches, {begun} stages started again")
    assert (stuck, wrong) == ([], [])
    assert begun >= BATCHES / 2
