"""Reading -> Snapshot: the core's whole step (filter, machine, guide, view), with readings as a scale sends them.

A bowl, a pour that stops when told, a pause, the next pour: ten readings a second of the simulated scale with noise,
each timed on its own. The floor is one copy of the bench's values, which no step can do without.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from statistics import median

from figures import Row, Size

from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.events import BenchFacts
from scaled.batch.inputs import BeginBatch, WeightSeen
from scaled.batch.step import step
from scaled.batch.view import snapshot_of
from scaled.catalogue import FolderCatalogue
from scaled.formula.values import Formula
from scaled.shipped import shipped
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.scale import SimulatedScale
from scaled.weighing.values import Reading
from scaled.weighing.weigher import Weigher, WeigherSettings

STEM = "oat-and-honey-short-dough"
POURS_G = (300.0, 100.0, 60.0)
POUR_G_S = 25.0
PAUSE_S = 6.0
FACTS = BenchFacts("bench", 100, 30.0, capacity_mg=6_000_000)


def readings() -> list[Reading]:
    """A bowl and three pours, each followed by a pause that is long enough to go on to the next."""
    scale = SimulatedScale(ScaleParameters(noise_d=0.2, lines_per_s=10.0), seed=1)
    scale.put(812.0, 1.0)
    at = 6.0
    for mass_g in POURS_G:
        scale.pour(POUR_G_S, at, mass_g / POUR_G_S)
        at += mass_g / POUR_G_S + PAUSE_S
    return scale.readings_to(at)


def taken(formula: Formula, said: list[Reading]) -> dict[str, list[float]]:
    """Seconds of each step, by what was going on, and of the floor right beside it."""
    weigher = Weigher(WeigherSettings(division_mg=FACTS.division_mg))
    begun = step(None, Bench(), BeginBatch(0.0, "b1", formula, Fraction(1), FACTS))
    batch: Batch | None = begun.batch
    bench = begun.bench
    times: dict[str, list[float]] = {"pouring": [], "at rest": [], "floor": []}
    for reading in said:
        start = time.perf_counter()
        seen = WeightSeen(reading.at, weigher.see(reading))
        done = step(batch, bench, seen)
        snapshot_of(done.batch, done.bench, seq=1, wall="", scale="bench")
        middle = time.perf_counter()
        replace(bench, at=reading.at)
        end = time.perf_counter()
        batch, bench = done.batch, done.bench
        times["pouring" if bench.rest is None else "at rest"].append(middle - start)
        times["floor"].append(end - middle)
    if batch is None or sum(content.is_in for content in batch.contents) != len(POURS_G):
        raise RuntimeError("the pours were not weighed as they should be")
    return times


def rows(size: Size) -> Iterator[Row]:
    formula, said = FolderCatalogue(shipped("recipes")).formula(STEM), readings()
    runs = [taken(formula, said) for _ in range(10 if size == "small" else 100)]
    floor = median(second for run in runs for second in run["floor"])
    for what, names in (("", ("pouring", "at rest")), (", pouring", ("pouring",)), (", at rest", ("at rest",))):
        yield Row(
            f"Reading -> Snapshot{what}",
            median(second for run in runs for name in names for second in run[name]) * 1e6,
            "us",
            floor=floor * 1e6,
            floor_is="one copy of the bench's values",
            ratio_at_most=20,
            figure_at_most=60,
            note=f"{len(said)} readings, {len(runs)} times",
        )
