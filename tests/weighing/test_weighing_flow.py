"""The filter of mass and flow, against loads that are known: even pours, slowed ones, lumps, things set down."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from pour_bench import BOWL_G, PourBench, Stuff

from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.response import Response
from scaled.weighing.flow import Flow, forecast
from scaled.weighing.response import Kind

SIGMA_G, DIVISION_G = 0.03, 0.1
SCALES = [(5.0, 0.5, 4.0), (8.0, 1.0, 6.0), (12.0, 0.8, 10.0), (20.0, 0.7, 14.0), (30.0, 0.6, 18.0)]


@dataclass(frozen=True)
class Seen:
    """What is true, and what the filter makes of it."""

    at: float
    load_g: float
    level_g: float
    rate_g_s: float
    u_g: float


def followed(
    flow_at: Callable[[float], float], scale: tuple[float, float, float], until: float, kind: Kind | None = None
) -> Iterator[Seen]:
    """A load with that flow on a scale of that w, z and rate, and the filter (which may be told of another scale)."""
    w, z, updates = scale
    response, flow = Response(w, z), Flow()
    noise = random.Random(1)
    load, at, fine = 0.0, 0.0, 20
    while at < until:
        for _ in range(fine):
            step = 1 / updates / fine
            load += flow_at(at) * step
            at += step
            response.step(load, step)
        shown = round((response.value_g + noise.gauss(0, SIGMA_G)) / DIVISION_G) * DIVISION_G
        flow.see(at, shown, math.hypot(SIGMA_G, DIVISION_G * 12**-0.5), kind or Kind(w, z))
        yield Seen(at, load, flow.level_g, flow.rate_g_s, flow.u_g)


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("rate", [2.0, 10.0, 40.0])
def test_an_even_flow_is_known_to_a_tenth_within_a_second_or_eight_results(
    scale: tuple[float, float, float], rate: float
) -> None:
    w, z, updates = scale
    for seen in followed(lambda _: rate, scale, 4.0):
        if seen.at > max(1.0, 8 / updates):
            assert seen.rate_g_s == pytest.approx(rate, abs=max(0.1 * rate, 1.0))
            assert seen.level_g == pytest.approx(seen.load_g - rate * 2 * z / w, abs=max(0.05 * rate, 0.6))


@pytest.mark.parametrize("scale", SCALES)
def test_a_flow_that_is_slowed_is_seen_before_the_value_shows_it(scale: tuple[float, float, float]) -> None:
    """From 40 to 5 g/s: within 0.6 s (or three results) the load is known to 3 g; what is shown lags by up to 8 g."""
    w, z, updates = scale
    since = max(0.6, 3.5 / updates)
    for seen in followed(lambda at: 40.0 if at < 2 else 5.0, scale, 4.0):
        if seen.at > 2 + since:
            assert seen.level_g + seen.rate_g_s * 2 * z / w == pytest.approx(seen.load_g, abs=3.0)


def test_the_scale_is_known_wrongly_and_an_even_flow_still_rightly() -> None:
    """The lag is the scale's own, learned or not: in an even flow the level is what it shows."""
    for seen in followed(lambda _: 20.0, (8.0, 1.0, 10.0), 4.0, Kind(15.0, 0.7)):
        if seen.at > 1.5:
            assert seen.rate_g_s == pytest.approx(20.0, abs=2.0)
            assert seen.level_g == pytest.approx(seen.load_g - 20.0 * 2 * 1.0 / 8.0, abs=0.8)


def test_the_uncertainty_covers_the_error() -> None:
    errors = []
    for scale in SCALES:
        w, z, _ = scale
        found = [seen for seen in followed(lambda _: 20.0, scale, 6.0) if seen.at > 1.0]
        errors += [abs(seen.level_g - (seen.load_g - 20.0 * 2 * z / w)) / seen.u_g for seen in found]
    assert sum(error <= 2 for error in errors) / len(errors) > 0.95


def bench(lump_g: float, seed: int, **parameters: float) -> PourBench:
    made = ScaleParameters(updates_per_s=12.0, lines_per_s=36.0, **parameters)
    return PourBench(made, Stuff(0.1, lump_g), random.Random(seed))


def lumps(lump_g: float, flow_g_s: float) -> float:
    """The size that is seen, the mean over the later part of ten pours."""
    seen = []
    for seed in range(10):
        pour = bench(lump_g, seed)
        start = pour.at
        while pour.at < start + 6:
            pour.step(flow_g_s)
            if pour.at > start + 3:
                seen.append(pour.weight.lump_g)
    return sum(seen) / len(seen)


@pytest.mark.parametrize("flow_g_s", [5.0, 20.0])
def test_a_lumpy_stream_is_known_for_what_it_is(flow_g_s: float) -> None:
    """2.6 g is the median of a robot's pours; mean square over mean is more than that, and a short pour shows less."""
    assert lumps(0.0, flow_g_s) < 0.15
    assert 0.8 < lumps(2.6, flow_g_s) < 6.0


def test_larger_lumps_are_seen_to_be_larger() -> None:
    assert lumps(6.0, 20.0) > 1.5 * lumps(2.0, 20.0)


def test_each_result_sent_three_times_teaches_no_more_than_once() -> None:
    """A scale with five results a second, of which the lines look like fifteen."""
    for lines in (5.0, 15.0):
        pour = PourBench(ScaleParameters(updates_per_s=5.0, lines_per_s=lines), Stuff(0.0), random.Random(3))
        start, rates = pour.at, []
        while pour.at < start + 5:
            pour.step(20.0)
            if pour.at > start + 1.5:
                rates.append(pour.weight.rate_g_s)
        assert min(rates) > 14
        assert max(rates) < 26


def test_what_is_set_down_is_no_flow_for_long() -> None:
    pour = bench(0.0, 1)
    pour.scale.add(250.0, pour.at)
    seen = []
    for _ in range(40):
        pour.step()
        seen.append(pour.weight)
    assert seen[-1].estimate_g == pytest.approx(BOWL_G + 250, abs=0.3)
    assert all(abs(w.rate_g_s) < 15 for w in seen[20:])


def test_one_wild_result_in_a_stream_is_left_out() -> None:
    flow = Flow()
    for n in range(60):
        value = 1000.0 + 2.0 * n
        flow.see(n * 0.1, 0.3 * value if n == 40 else value, 0.04, Kind(25.0, 0.8))
        if n > 20:
            assert flow.rate_g_s == pytest.approx(20.0, abs=1.0)


def test_the_forecast_is_the_estimate_and_what_still_flows() -> None:
    assert forecast(100.0, 10.0, 0.83) == pytest.approx(108.3)
    assert forecast(100.0, -10.0, 0.83) == 100.0
