"""The simulated scale is as unkind as recordings of real ones show; its truth is the mass that was put on."""

from __future__ import annotations

import math
import random
import statistics
from collections import Counter
from itertools import groupby, pairwise

import pytest

from scaled.simulator.forces import press
from scaled.simulator.parameters import LOUD_D, QUIET_D, ScaleParameters, draw_parameters
from scaled.simulator.response import Response
from scaled.simulator.scale import SimulatedScale
from scaled.weighing.values import Reading


def still(**changes: object) -> ScaleParameters:
    """A scale with no noise, creep or blips, so that one thing at a time can be seen."""
    return ScaleParameters(**({"noise_d": 0.0, "creep_d": 0.0, "blips_per_min": 0.0} | changes))


def grams(readings: list[Reading]) -> list[float]:
    return [reading.value_mg / 1000 for reading in readings if reading.value_mg is not None]


# The response


@pytest.mark.parametrize(("w", "z"), [(5.0, 0.5), (12.0, 0.7), (30.0, 0.999), (30.0, 1.0)])
def test_the_response_is_the_textbook_step_response(w: float, z: float) -> None:
    """Peak of an underdamped second order system: 1 + exp(-pi z / sqrt(1 - z^2)) at pi / (w sqrt(1 - z^2)).

    From any text on linear control (common practice); at damping 1 it never goes above.
    """
    response = Response(w, z)
    values = [response.step(100.0, 0.0005) for _ in range(20_000)]
    over = math.exp(-math.pi * z / math.sqrt(1 - z * z)) if z < 1 else 0.0
    assert max(values) == pytest.approx(100.0 * (1 + over), abs=0.01)
    if over > 1e-3:
        peak_at = (values.index(max(values)) + 1) * 0.0005
        assert peak_at == pytest.approx(math.pi / (w * math.sqrt(1 - z * z)), abs=0.002)
    assert values[-1] == pytest.approx(100.0, abs=1e-3)


def test_the_response_agrees_with_an_integration_of_its_equation() -> None:
    """x'' = w^2 (L - x) - 2 z w x', by the classical fourth order Runge-Kutta method."""
    w, z, load, step = 11.0, 0.6, 57.0, 0.001
    response = Response(w, z, 3.0)
    x, v = 3.0, 0.0

    def slope(x: float, v: float) -> tuple[float, float]:
        return v, w * w * (load - x) - 2 * z * w * v

    for _ in range(700):
        k1 = slope(x, v)
        k2 = slope(x + step / 2 * k1[0], v + step / 2 * k1[1])
        k3 = slope(x + step / 2 * k2[0], v + step / 2 * k2[1])
        k4 = slope(x + step * k3[0], v + step * k3[1])
        x += step / 6 * (k1[0] + 2 * k2[0] + 2 * k3[0] + k4[0])
        v += step / 6 * (k1[1] + 2 * k2[1] + 2 * k3[1] + k4[1])
        response.step(load, step)
    assert response.value_g == pytest.approx(x, abs=1e-8)
    assert response.rate_g_s == pytest.approx(v, abs=1e-7)


def test_one_long_step_is_many_short_ones() -> None:
    one, many = Response(8.0, 0.5), Response(8.0, 0.5)
    one.step(10.0, 0.7)
    for _ in range(70):
        many.step(10.0, 0.01)
    assert one.value_g == pytest.approx(many.value_g, abs=1e-9)


@pytest.mark.parametrize(("w", "z"), [(0.0, 0.7), (-1.0, 0.7), (10.0, 0.0), (10.0, 1.1), (math.nan, 0.5)])
def test_a_response_that_no_scale_has_is_refused(w: float, z: float) -> None:
    with pytest.raises(ValueError, match=r"above 0"):
        Response(w, z)


# Noise, repeats, the flag: against the figures of recordings


def results(parameters: ScaleParameters, seed: int, seconds: float) -> list[float]:
    """Each result once, as displayed."""
    once = ScaleParameters(**{**vars_of(parameters), "lines_per_s": parameters.updates_per_s})
    return grams(SimulatedScale(once, seed, load_g=100.03).readings_to(seconds))


def vars_of(parameters: ScaleParameters) -> dict[str, object]:
    return {name: getattr(parameters, name) for name in parameters.__dataclass_fields__}


def lag_1(values: list[float]) -> float:
    mean = statistics.fmean(values)
    return sum((a - mean) * (b - mean) for a, b in pairwise(values)) / sum((a - mean) ** 2 for a in values)


def test_noise_at_rest_is_as_measured_and_correlated() -> None:
    """0.09 to 0.16 g on 0.1 g bench scales, lag 1 about 0.5 at 10 readings a second (measured).

    What is displayed is rounded, which adds d/sqrt(12) that is not correlated (Sheppard's correction).
    """
    for noise_d in LOUD_D:
        values = results(still(noise_d=noise_d, updates_per_s=10.0), 1, 3_000.0)
        shown_d = math.sqrt(noise_d**2 + 1 / 12)
        assert statistics.stdev(values) == pytest.approx(shown_d * 0.1, rel=0.04)
        assert lag_1(values) == pytest.approx(0.5 * noise_d**2 / shown_d**2, abs=0.03)
        assert 0.08 <= statistics.stdev(values) <= 0.18


def test_the_correlation_follows_the_rate() -> None:
    """The same noise seen 5 times a second: 0.5^2; 18 times: 0.5^(10/18)."""
    for updates_per_s in (5.0, 18.0):
        values = results(still(noise_d=5.0, updates_per_s=updates_per_s), 2, 2_000.0)
        assert lag_1(values) == pytest.approx(0.5 ** (10.0 / updates_per_s), abs=0.05)


def test_each_result_is_sent_three_times() -> None:
    scale = SimulatedScale(still(updates_per_s=10.0, lines_per_s=30.0), 1)
    scale.pour(30.0, 1.0, 20.0)
    readings = scale.readings_to(20.0)
    moving = [reading.value_mg for reading in readings if 1.5 < reading.at < 19.5]
    runs = [len(list(group)) for _, group in groupby(moving)][1:-1]
    assert len(readings) == 600
    assert set(runs) == {3}


def test_a_slow_line_leaves_results_out() -> None:
    scale = SimulatedScale(still(updates_per_s=12.0, lines_per_s=4.0), 1)
    scale.pour(30.0, 0.0, 10.0)
    moving = [reading.value_mg for reading in scale.readings_to(10.0) if reading.at > 1.0]
    assert {len(list(group)) for _, group in groupby(moving)} == {1}


@pytest.mark.parametrize("flag_late_s", [0.64, 2.1])
def test_the_flag_is_late(flag_late_s: float) -> None:
    """Measured: 0.64 and 2.1 s after the last change of value."""
    scale = SimulatedScale(still(flag_late_s=flag_late_s, lines_per_s=80.0, updates_per_s=18.0), 1)
    scale.put(200.0, 1.0)
    readings = [reading for reading in scale.readings_to(8.0) if reading.at > 1.0]
    last_change_at = max(b.at for a, b in pairwise(readings) if a.value_mg != b.value_mg)
    settled_at = max(b.at for a, b in pairwise(readings) if a.in_motion and not b.in_motion)
    assert settled_at - last_change_at == pytest.approx(flag_late_s, abs=0.15)


def test_the_flag_calls_a_slow_walk_settled() -> None:
    """Measured: "stable" while the value walks 0.4 to 0.6 g over 10 s."""
    scale = SimulatedScale(still(), 1, load_g=50.0)
    scale.walk(0.5, 1.0)
    readings = [reading for reading in scale.readings_to(20.0) if 2.0 < reading.at < 11.0]
    assert not any(reading.in_motion for reading in readings)
    assert max(grams(readings)) - min(grams(readings)) >= 0.4
    assert scale.true_load_g == 50.0


def test_the_flag_blips_for_one_to_three_lines_with_no_change() -> None:
    scale = SimulatedScale(still(blips_per_min=6.0), 4, load_g=50.0)
    readings = scale.readings_to(600.0)
    assert {reading.value_mg for reading in readings} == {50_000}
    blips = [len(list(group)) for moving, group in groupby(reading.in_motion for reading in readings) if moving]
    assert set(blips) == {1, 2, 3}
    assert 30 <= len(blips) <= 90  # 60 are meant


def test_creep_stays_within_class_c() -> None:
    """OIML R 60, class C: at most 0.7 of the error permitted in 30 minutes; R 76 class III permits 1.5 e at most."""
    scale = SimulatedScale(still(creep_d=1.05, division_mg=10, capacity_mg=60_000), 1)
    scale.put(60.0, 0.0)
    values = grams(scale.readings_to(1_800.0))
    assert 0.0 < values[-1] - 60.0 <= 0.7 * 1.5 * 0.01 + 0.005
    assert values[100] == 60.0, "it is slow"


def test_a_wild_sample_is_far_below_and_alone() -> None:
    """Measured: 52 among 305."""
    scale = SimulatedScale(still(wild_per_1000=5.0, lines_per_s=10.0), 1, load_g=305.0)
    values = grams(scale.readings_to(400.0))
    wild = [value for value in values if value != 305.0]
    assert 5 <= len(wild) <= 50
    assert all(30.0 < value < 123.0 for value in wild)


def test_a_mixer_shakes_the_display() -> None:
    scale = SimulatedScale(still(mixer_g=2.0, mixer_hz=7.0), 1, load_g=100.0)
    values = grams(scale.readings_to(60.0))
    assert statistics.pstdev(values) == pytest.approx(2.0 / math.sqrt(2), rel=0.1)
    assert 101.5 <= max(values) <= 102.1


# What a cook does


def test_a_mass_put_on_is_shown_after_a_second_and_true_at_once() -> None:
    scale = SimulatedScale(still(), 1)
    scale.put(57.0, 2.0, splash=0.12)
    readings = scale.readings_to(4.0)
    assert scale.true_load_g == 57.0
    assert grams([reading for reading in readings if reading.at < 2.0])[-1] == 0.0
    assert grams(readings)[-1] == 57.0


def test_a_dropped_egg_splashes_over_on_the_way() -> None:
    """5 to 15 % over on the way, on a scale quick enough to see it; what stays is the egg."""
    tops = []
    for splash in (0.0, 0.15):
        scale = SimulatedScale(still(natural_frequency_rad_s=30.0, damping=1.0, updates_per_s=18.0, division_mg=10), 1)
        scale.put(50.0, 1.0, splash=splash, lasts_s=0.3)
        values = grams(scale.readings_to(4.0))
        tops.append(max(values))
        assert values[-1] == 50.0
    assert tops[0] <= 50.0
    assert 52.5 <= tops[1] <= 57.5


def test_a_pour_ends_at_its_mass() -> None:
    scale = SimulatedScale(still(), 1)
    scale.pour(25.0, 1.0, 4.0)
    scale.pour(-10.0, 7.0, 2.0)
    scale.advance_to(5.5)
    assert scale.true_load_g == pytest.approx(100.0, abs=1e-9)
    assert grams(scale.readings_to(12.0))[-1] == 80.0


def test_a_press_leaves_nothing_behind() -> None:
    scale = SimulatedScale(still(), 1, load_g=400.0)
    scale.press(300.0, 1.0)
    values = grams(scale.readings_to(5.0))
    assert max(values) > 600.0
    assert values[-1] == 400.0
    assert scale.true_load_g == 400.0


def test_a_press_is_a_force_that_begins_and_ends_at_nothing() -> None:
    force = press(300.0, 2.0)
    assert force.grams_at(0.0) == 0.0
    assert force.grams_at(force.to_at - 2.0) == pytest.approx(0.0, abs=1e-9)
    assert max(force.grams_at(t / 100) for t in range(66)) == 300.0


def test_a_tare_key_jumps_and_is_no_ingredient() -> None:
    scale = SimulatedScale(still(shape="plain flags", unit="kg", division_mg=5_000), 1, load_g=1_695.0)
    scale.tare_key(1.0)
    scale.set_load(0.0, 3.0)
    scale.net_gross_key(6.0)
    lines = [line for _, line in scale.advance_to(8.0)]
    assert lines[0] == b"    1.695 kg    G\r\n"
    assert b"    0.000 kg    N\r\n" in lines
    assert b"-   1.695 kg   ?N\r\n" in lines
    assert lines[-1] == b"    0.000 kg    G\r\n"
    scale.tare_key(8.0)
    assert scale.readings_to(9.0)[-1].is_net is False, "a tare key with nothing on is back to gross"


def test_beyond_the_capacity_no_weight_is_shown() -> None:
    """OIML R 76-1, 4.2.3: no indication above Max + 9 e."""
    scale = SimulatedScale(still(capacity_mg=1_000_000), 1)
    scale.set_load(1_000.9, 1.0)
    assert grams(scale.readings_to(4.0))[-1] == 1_000.9
    scale.set_load(1_001.1, 4.0)
    last = scale.readings_to(7.0)[-1]
    assert (last.value_mg, last.state) == (None, "over capacity")


def test_switched_on_with_a_bowl_it_calls_the_bowl_nothing() -> None:
    scale = SimulatedScale(still(), 1, load_g=812.0)
    scale.switch_off(1.0)
    assert all(reading.at < 1.0 for reading in scale.readings_to(5.0))
    scale.switch_on(5.0)
    assert grams(scale.readings_to(6.0)) == [0.0] * 30
    scale.set_load(0.0, 6.0)
    assert grams(scale.readings_to(9.0))[-1] == -812.0


def test_a_scale_without_a_minus_shows_nought() -> None:
    scale = SimulatedScale(still(shows_negatives=False), 1, load_g=100.0)
    scale.zero_key(1.0)
    scale.set_load(0.0, 2.0)
    assert grams(scale.readings_to(5.0))[-1] == 0.0


def test_zero_tracking_eats_a_trickle() -> None:
    """At most 0.5 d a second (OIML R 76-1): a draught of 0.02 g a second is gone, a pour is not."""
    tracked = SimulatedScale(still(zero_tracking_d_s=0.5), 1)
    tracked.pour(0.02, 0.0, 30.0)
    assert grams(tracked.readings_to(32.0))[-1] == 0.0
    tracked.add(50.0, 32.0)
    assert grams(tracked.readings_to(36.0))[-1] == 50.0


# Time and chance


def story(scale: SimulatedScale) -> None:
    scale.put(300.0, 1.0, splash=0.1)
    scale.press(200.0, 2.5)
    scale.pour(12.5, 4.0, 3.0)
    scale.walk(1.0, 8.0, lasts_s=1.0)


def test_a_seed_gives_the_same_bytes_however_time_is_cut() -> None:
    parameters = draw_parameters(random.Random(7), mixer=True)
    whole, cut = SimulatedScale(parameters, 3), SimulatedScale(parameters, 3)
    for scale in (whole, cut):
        story(scale)
    lines = whole.advance_to(12.0)
    source = random.Random(1)
    pieces = []
    while cut.at < 12.0:
        pieces += cut.advance_to(min(12.0, cut.at + source.uniform(0.0, 0.3)))
    assert pieces == lines
    other = SimulatedScale(parameters, 4)
    story(other)
    assert other.advance_to(12.0) != lines


def test_a_whole_story_can_be_moved_to_another_time() -> None:
    parameters = draw_parameters(random.Random(8))
    here, there = SimulatedScale(parameters, 3), SimulatedScale(parameters, 3)
    for scale in (here, there):
        story(scale)
    there.move_to(1_000.0)
    moved = [(round(at - 1_000.0, 6), line) for at, line in there.advance_to(1_012.0)]
    assert moved == [(round(at, 6), line) for at, line in here.advance_to(12.0)]


def test_time_does_not_go_back() -> None:
    scale = SimulatedScale()
    scale.advance_to(5.0)
    with pytest.raises(ValueError, match="go back"):
        scale.advance_to(4.0)
    with pytest.raises(ValueError, match="past"):
        scale.add(1.0, 4.0)


def test_the_draw_covers_the_whole_table() -> None:
    drawn = [draw_parameters(random.Random(seed), mixer=True) for seed in range(3_000)]

    def spans(name: str, lo: float, hi: float) -> None:
        values = [getattr(parameters, name) for parameters in drawn]
        assert lo <= min(values) <= lo + 0.05 * (hi - lo), name
        assert hi - 0.05 * (hi - lo) <= max(values) <= hi, name

    spans("updates_per_s", 4.0, 18.0)
    spans("lines_per_s", 3.0, 54.0)
    spans("natural_frequency_rad_s", 5.0, 30.0)
    spans("damping", 0.5, 1.0)
    spans("noise_d", *QUIET_D)
    spans("mixer_hz", 2.0, 12.0)
    spans("mixer_g", 0.5, 5.0)
    spans("flag_late_s", 0.64, 2.1)
    assert len(Counter(parameters.shape for parameters in drawn)) == 4
    loud = [draw_parameters(random.Random(seed), noise_d=LOUD_D).noise_d for seed in range(500)]
    assert (min(loud) < 0.95, max(loud) > 1.55) == (True, True)


@pytest.mark.parametrize(
    "wrong",
    [
        {"division_mg": 0},
        {"capacity_mg": 99},
        {"updates_per_s": 0.0},
        {"lines_per_s": math.inf},
        {"damping": 1.5},
        {"noise_d": -0.1},
        {"mixer_g": -1.0},
    ],
)
def test_a_scale_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r".+"):
        ScaleParameters(**wrong)
