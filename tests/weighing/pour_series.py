"""Pours drawn over all that is known of them, and what a row of them comes to.

A series is one bench: a scale, an ingredient and a cook, who pours it a few times before anything counts, so that the
machine may learn the tail. Scales are drawn over the whole table; falls of 0.05 to 0.5 s (assumed) make tails of 0.6 to
1.3 s with the reaction, the turn of the wrist and the scale's lag, a little more than the 0.57 to 1.04 s of a robot.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean

from pour_bench import PourBench, Stuff
from pour_cooks import END_FLOWS_G_S, FLOWS_G_S, LEARNED, NAME, DigitCook, Poured, ToldCook, Wanted, usual_tail_s

from scaled.simulator.parameters import ScaleParameters, draw_parameters
from scaled.weighing.tail import START, Tail

LEARNING, COUNTED = 4, 5
LUMPY_SHARE = 0.3
BOOTSTRAPS = 1000
SURE = 0.001


@dataclass(frozen=True)
class Series:
    """The same additions by one who is told and by one who sees the digits, and what was drawn for them."""

    parameters: ScaleParameters
    stuff: Stuff
    told: tuple[Poured, ...]
    digits: tuple[Poured, ...]
    tail: Tail


@dataclass(frozen=True)
class Forecast:
    """What was expected at "stop" less what came, in seconds of the flow; `fixed_s` with the starting tail."""

    learned_s: float
    fixed_s: float
    u_s: float


def stuff_drawn(source: random.Random) -> Stuff:
    return Stuff(source.uniform(0.05, 0.5), source.uniform(0.3, 2.6) if source.random() < LUMPY_SHARE else 0.0)


def wanted_drawn(source: random.Random) -> Wanted:
    """60 to 400 g, 1 or 2 % of it or 1 g, as most of a dough is weighed."""
    flow = source.uniform(*FLOWS_G_S)
    target = source.uniform(60.0, 400.0)
    half = max(1.0, source.choice((0.01, 0.02)) * target)
    return Wanted(target, half, flow, min(flow, source.uniform(*END_FLOWS_G_S)))


def compared(seed: int, told_by: type[ToldCook] = ToldCook, learning: int = LEARNING) -> Series:
    """One series by both cooks."""
    source = random.Random(seed)
    parameters, stuff = draw_parameters(source), stuff_drawn(source)
    wanted = [wanted_drawn(source) for _ in range(learning + COUNTED)]
    knows_s = usual_tail_s(parameters, stuff) * source.uniform(1 - LEARNED, 1 + LEARNED)
    told = told_by(PourBench(parameters, stuff, random.Random(source.random())), random.Random(source.random()))
    made = [told.weigh_anew(one) for one in wanted]
    bench = PourBench(parameters, stuff, random.Random(source.random()), is_weighed=False)
    digits = DigitCook(bench, random.Random(source.random()), knows_s)
    by_digits = [digits.weigh_anew(one) for one in wanted[learning:]]
    return Series(parameters, stuff, tuple(made[learning:]), tuple(by_digits), told.pours.tail(NAME))


def forecasts(seed: int, fall_s: tuple[float, float] = (0.05, 0.5), lump_g: float = 0.0) -> list[Forecast]:
    """One series of pours at 10 to 40 g/s into a band that is wide enough for nothing but "stop" to be said."""
    source = random.Random(seed)
    parameters, stuff = draw_parameters(source), Stuff(source.uniform(*fall_s), lump_g)
    told = ToldCook(PourBench(parameters, stuff, random.Random(source.random())), random.Random(source.random()))
    found = []
    for number in range(LEARNING + COUNTED):
        flow = source.uniform(10.0, 40.0)
        told.begin(Wanted(source.uniform(150.0, 400.0), 40.0, flow, flow))
        before_g, stops = told.bench.on_g, len(told.stopped)
        told.pour()
        told.rest()
        said, tail = told.stopped[stops]
        came_g = told.base_mg / 1000 + told.bench.on_g - before_g - said.estimate_g
        if number >= LEARNING:
            u_s = math.hypot(said.rate_g_s * tail.sd_s, said.u_g) / flow
            learned_g, fixed_g = said.rate_g_s * tail.seconds, said.rate_g_s * START.seconds
            found.append(Forecast((learned_g - came_g) / flow, (fixed_g - came_g) / flow, u_s))
        told.empty()
    return found


def rms(values: Iterable[float]) -> float:
    return math.sqrt(fmean(value * value for value in values))


def over_g(poured: Sequence[Poured]) -> float:
    """How far beyond the target, root mean square; what is short is 0."""
    return rms(max(0.0, one.off_g) for one in poured)


def out(poured: Sequence[Poured]) -> float:
    """The share out of the band."""
    return fmean(one.is_out for one in poured)


def seconds(poured: Sequence[Poured]) -> float:
    return fmean(one.seconds for one in poured)


def ratios(series: Sequence[Series]) -> tuple[float, float, float]:
    """Told against digits: overshoot, share out of the band, time."""
    told, digits = [p for s in series for p in s.told], [p for s in series for p in s.digits]
    return over_g(told) / over_g(digits), out(told) / max(out(digits), 1e-9), seconds(told) / seconds(digits)


def surely(series: Sequence[Series], source: random.Random) -> tuple[tuple[float, float], ...]:
    """Bounds that each of the ratios is surely within: of whole series drawn again (bootstrap), once in 500 wrong."""
    again = [ratios(source.choices(series, k=len(series))) for _ in range(BOOTSTRAPS)]
    at = int(SURE * BOOTSTRAPS)
    bounds = []
    for column in zip(*again, strict=True):
        ordered = sorted(column)
        bounds.append((ordered[at], ordered[-1 - at]))
    return tuple(bounds)


def told_of(name: str, series: Sequence[Series]) -> str:
    """A few lines for whoever reads the run."""
    told, digits = [p for s in series for p in s.told], [p for s in series for p in s.digits]
    over, outside, time = ratios(series)
    return (
        f"{name}: {len(told)} additions on {len(series)} benches, told / by the digits:\n"
        f"  over the target, rms {over_g(told):.2f} / {over_g(digits):.2f} g = {over:.2f}; "
        f"off it, rms {rms(p.off_g for p in told):.2f} / {rms(p.off_g for p in digits):.2f} g\n"
        f"  out of the band {out(told):.1%} / {out(digits):.1%} = {outside:.2f}; "
        f"time {seconds(told):.1f} / {seconds(digits):.1f} s = {time:.2f}"
    )
