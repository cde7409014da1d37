"""Uncertainty from the signal to the record: simulated loads of known truth through `scaled replay --json`.

Each trace is one addition onto a bowl, with a truth that lies evenly about the lower limit of its band. What the record
says of it (`u_g`, `p_in_tolerance`, `guarded`) is held against the truth and against the formulas, worked here once
more: u = sqrt(2 (d^2 / 12 + s^2)) with s at least 0.3 d, and JCGM 106:2012, 7.2 and 8.3.2. SCALED_RECORDS sets how many
traces are replayed (1,000 for the whole), SCALED_SEED which.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist, fmean

import pytest
from scene_draw import first_seed, seeds

from scaled.cli import main
from scaled.simulator.parameters import draw_parameters
from scaled.simulator.scale import SimulatedScale

RECORDS = int(os.environ.get("SCALED_RECORDS", "80"))
TARGET_G, HALF_G, DIVISION_G = 20.0, 0.5, 0.1
U_G = math.sqrt(2 * (DIVISION_G**2 / 12 + (0.3 * DIVISION_G) ** 2))
FORMULA = """formula: One
stages:
  - stage: dry
    additions:
      - {ingredient: salt, weight: 20 g, tolerance: ±0.5 g}
"""
RISK = 4.0  # standard errors


@dataclass(frozen=True)
class Told:
    """The truth, and what the record of the addition says; `guarded` is the record with `guard: yes`."""

    true_g: float
    plain: dict[str, object]
    guarded: dict[str, object]


def trace(true_g: float, seed: int) -> str:
    """A bowl, then an addition of that mass at once, as a scale drawn over the whole table shows them."""
    source = random.Random(seed)
    scale = SimulatedScale(draw_parameters(source), seed=seed)
    scale.put(400.0, 2.0, splash=0.1)
    scale.pour(true_g / 1.5, 7.0, 1.5)
    rows = [f"{r.at:.4f},{(r.value_mg or 0) / 1000:.1f}" for r in scale.readings_to(16.0)]
    return "\n".join(["t_s,grams", *rows]) + "\n"


def replayed(trace_file: Path, formula_file: Path) -> dict[str, object]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["replay", str(trace_file), "--formula", str(formula_file), "--json"]) == 0
    return json.loads(out.getvalue())["additions"][0]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory, say: Callable[[str], None]) -> list[Told]:
    folder = tmp_path_factory.mktemp("records")
    plain, guarded, csv = folder / "plain.yaml", folder / "guarded.yaml", folder / "trace.csv"
    plain.write_text(FORMULA)
    guarded.write_text(FORMULA + "guard: yes\n")
    found = []
    for seed in seeds(RECORDS, "records"):
        true_g = TARGET_G - HALF_G + random.Random(seed).uniform(-0.15, 0.35)
        csv.write_text(trace(true_g, seed))
        found.append(Told(true_g, replayed(csv, plain), replayed(csv, guarded)))
    accepted = in_tolerance(found)
    errors = [abs(float(str(one.plain["actual_g"])) - one.true_g) / U_G for one in accepted]
    say(
        f"\nseed {first_seed()}: {RECORDS} traces, {len(accepted)} accepted, {len(guarded_in(found))} with a guard; "
        f"2 u covers {fmean(error <= 2 for error in errors):.1%}; in the band {fmean(map(is_in, accepted)):.1%}, "
        f"said {fmean(p_of(one.plain) for one in accepted):.1%}"
    )
    return found


def p_of(record: dict[str, object]) -> float:
    return float(str(record["p_in_tolerance"]))


def is_in(one: Told) -> bool:
    return abs(one.true_g - TARGET_G) <= HALF_G


def in_tolerance(found: list[Told]) -> list[Told]:
    return [one for one in found if one.plain["in_tolerance"]]


def guarded_in(found: list[Told]) -> list[Told]:
    return [one for one in found if one.guarded["in_tolerance"]]


def test_the_uncertainty_said_is_that_of_two_rests(told: list[Told]) -> None:
    assert len(in_tolerance(told)) > RECORDS / 3
    for one in in_tolerance(told):
        assert one.plain["u_g"] == pytest.approx(U_G, abs=0.0005)
        assert (one.plain["guarded"], one.guarded["guarded"]) == (False, True)
        assert one.plain["band_g"] == [TARGET_G - HALF_G, TARGET_G + HALF_G]


def test_it_covers_the_truth(told: list[Told]) -> None:
    """2 u and the rounding of what is shown; 95 % are meant, s is taken to be no less than 0.3 d and mostly is less."""
    errors = [abs(float(str(one.plain["actual_g"])) - one.true_g) for one in in_tolerance(told)]
    share = fmean(error <= 2 * U_G for error in errors)
    assert share >= 0.95 - RISK * math.sqrt(0.95 * 0.05 / len(errors))


def test_the_probability_said_is_that_of_the_mass_said(told: list[Told]) -> None:
    """To within the rounding of the mass to the division that the record shows."""
    normal = NormalDist(0.0, U_G)
    for one in in_tolerance(told):
        actual_g = float(str(one.plain["actual_g"]))
        low, high = (
            normal.cdf(TARGET_G + HALF_G - mass_g) - normal.cdf(TARGET_G - HALF_G - mass_g)
            for mass_g in (actual_g - 0.51 * DIVISION_G, actual_g + 0.51 * DIVISION_G)
        )
        assert low - 1e-4 <= p_of(one.plain) <= high + 1e-4


def test_the_probability_said_is_no_promise_too_much(told: list[Told]) -> None:
    """Of the additions accepted as many lie in their band as was said, or more: the truths were evenly spread."""
    accepted = in_tolerance(told)
    said = [p_of(one.plain) for one in accepted]
    error = math.sqrt(sum(p * (1 - p) for p in said)) / len(said)
    assert fmean(map(is_in, accepted)) >= fmean(said) - RISK * error


def test_a_guard_lets_nothing_through_that_is_less_sure_than_one_uncertainty(told: list[Told]) -> None:
    """JCGM 106:2012, 8.3.2: at an acceptance limit drawn in by u the probability is Phi(1) = 0.8413."""
    without = [p_of(one.plain) for one in in_tolerance(told)]
    withal = [p_of(one.guarded) for one in guarded_in(told)]
    rounding = NormalDist().cdf(1.0) - NormalDist().cdf(1.0 - 0.51 * DIVISION_G / U_G)
    assert min(withal) >= NormalDist().cdf(1.0) - rounding
    assert min(without) < min(withal)
    assert len(withal) < len(without)
    for one in guarded_in(told):
        assert one.plain["in_tolerance"]


def test_a_fifth_of_the_uncertainty_would_be_found_out(told: list[Told]) -> None:
    """The gate can fail: 2/5 u cover about half, so surely less that no draw of the traces hides it."""
    errors = [abs(float(str(one.plain["actual_g"])) - one.true_g) for one in in_tolerance(told)]
    share = fmean(error <= 2 * U_G / 5 for error in errors)
    assert share < 0.95 - RISK * math.sqrt(0.95 * 0.05 / len(errors))
