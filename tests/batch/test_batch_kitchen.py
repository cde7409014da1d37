"""Whole batches in the simulated kitchen: what is confirmed is what was put in, and every batch comes to its end.

Scales are drawn over the whole table of `scaled.simulator.parameters`, cooks over that of `scaled.simulator.cook`;
SCALED_BATCHES sets how many, SCALED_SEED which.
"""

from __future__ import annotations

import os
import random
from collections import Counter
from dataclasses import fields
from fractions import Fraction

from batch_plate import DOUGH

from scaled.batch.acceptance import net_u_mg
from scaled.batch.inputs import BeginBatch
from scaled.simulator.cook import CookStyle
from scaled.simulator.kitchen import Kitchen, bench_of
from scaled.simulator.parameters import ScaleParameters, draw_parameters

BATCHES = int(os.environ.get("SCALED_BATCHES", "200"))
SEED = int(os.environ.get("SCALED_SEED", "20261124"))
LONGEST_S = 1200.0


def histogram(drawn: list[ScaleParameters]) -> str:
    """What was drawn, five bins a figure, so that a kind draw would be seen."""
    lines = []
    for field in fields(ScaleParameters):
        values = [getattr(p, field.name) for p in drawn]
        if isinstance(values[0], str | bool):
            lines.append(f"{field.name}: {dict(Counter(values))}")
            continue
        low, high = min(values), max(values)
        width = (high - low) / 5 or 1.0
        bins = Counter(min(4, int((value - low) / width)) for value in values)
        lines.append(f"{field.name}: {low:g} to {high:g}: {[bins[i] for i in range(5)]}")
    return "\n".join(lines)


def test_batches_are_what_was_put_in() -> None:
    source = random.Random(SEED)
    drawn, wrong, stuck, slow, asked = [], [], [], [], 0
    for index in range(BATCHES):
        parameters = draw_parameters(source)
        seed = source.randrange(2**31)
        drawn.append(parameters)
        begin = BeginBatch(0.0, "simulated", DOUGH, Fraction(1), bench_of(parameters))
        kitchen = Kitchen(begin, parameters, CookStyle(eggs_g={"whole egg": 50.0}), seed)
        batch = kitchen.run(LONGEST_S)
        if batch.state != "complete":
            stuck.append((index, seed, batch.state))
            continue
        asked += sum(type(event).__name__ == "OffersMade" for event in kitchen.events)
        for content in batch.contents:
            off = abs(content.in_mg - 1000 * kitchen.hands.true_g[content.key])
            if off > max(parameters.division_mg, 5 * net_u_mg(batch.facts, content.weighings)):
                wrong.append((index, seed, content.key, round(off)))
        if kitchen.cook.at > 2 * kitchen.cook.busy_s:
            slow.append((index, seed, round(kitchen.cook.at), round(kitchen.cook.busy_s)))
    print(f"seed {SEED}, {BATCHES} batches, {asked} questions\n{histogram(drawn)}")
    assert stuck == []
    assert wrong == []
    assert slow == []
    assert asked > BATCHES / 4, "hardly any question was asked: the cooks are too good to prove anything"
