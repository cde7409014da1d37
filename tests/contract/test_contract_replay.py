"""`scaled replay`, seen from outside: what was really put in, against the record.

The traces come from a bench of their own (`contract_bench`); `SCALED_CONTRACT_BENCHES` sets how many scales each scene
is played on (a full run: 50).
"""

from __future__ import annotations

import math
import os
import random
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from contract_bench import Bench
from contract_command import called, scaled

BENCHES = int(os.environ.get("SCALED_CONTRACT_BENCHES", "3"))

THREE = """formula: Plain Three
pieces: 4
stages:
  - stage: dry
    additions:
      - {ingredient: flour x, weight: 300 g, tolerance: ±1 %}
      - {ingredient: sugar y, weight: 60 g, tolerance: ±2 %}
      - {ingredient: fat z, weight: 200 g, tolerance: ±2 g}
"""

DOUGH = """formula: Worked
pieces: 8
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %}
      - {ingredient: lemon zest, count: 1 lemon}
      - {ingredient: salt, weight: 3 g, tolerance: ±0.3 g}
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
  - stage: creamed
    additions:
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, comes out: no}
"""


def started(seed: int) -> Bench:
    return Bench(seed).rest(2).put(812).rest(3.5)


def finished(bench: Bench) -> Bench:
    bench.spoons(60, 10).rest(5)
    return bench.pour(200).rest(5)


def _plain(bench: Bench) -> Bench:
    return finished(bench.pour(300).rest(5))


def _set_down_in_stages(bench: Bench) -> Bench:
    for mass in (60, 70, 90, 80):
        bench.put(mass, 0.2).rest(0.4)
    return finished(bench.rest(5))


def _spooned_back_at_once(bench: Bench) -> Bench:
    return finished(bench.pour(304.5).rest(0.3).put(-4.5, 0.3).rest(5))


def _late_grains(bench: Bench) -> Bench:
    return finished(bench.pour(298.5).rest(2.6).put(1.5, 0.1).rest(5))


def _bowl_off_and_back(bench: Bench) -> Bench:
    load = bench.load + 150
    bench.pour(150).rest(3).put(-load, 0.4).rest(6).put(load, 0.4).rest(4)
    return finished(bench.pour(150).rest(5))


def _tare_key(bench: Bench) -> Bench:
    return finished(bench.pour(150).rest(4).tare_key().rest(4).pour(150).rest(5))


def _whisk_while_waiting(bench: Bench) -> Bench:
    return finished(bench.pour(300).rest(5).put(40, 0.3).rest(6).put(-40, 0.3).rest(5))


def _press(bench: Bench) -> Bench:
    return finished(bench.pour(300).rest(5).press().rest(4))


def _bumps(bench: Bench) -> Bench:
    return finished(bench.pour(300).rest(5).put(15, 0.05).put(-15, 0.05).rest(3))


SCENES = {
    scene.__name__.strip("_").replace("_", " "): scene
    for scene in (
        _plain,
        _set_down_in_stages,
        _spooned_back_at_once,
        _late_grains,
        _bowl_off_and_back,
        _tare_key,
        _whisk_while_waiting,
        _press,
        _bumps,
    )
}


def scale_of(seed: int) -> dict[str, Any]:
    draw = random.Random(seed)
    return {
        "updates": draw.choice((4, 5, 10, 10, 18)),
        "repeats": draw.choice((1, 3)),
        "omega": draw.uniform(8, 30),
        "damping": draw.uniform(0.5, 1),
        "noise_d": draw.choice((0.1, 0.2, 0.3)),
        "flag": draw.choice((None, "late", "lies", "never", "always")),
    }


def replayed(bench: Bench, formula: str, folder: Path, *said: str, **scale: Any) -> Any:
    file = folder / "formula.yaml"
    file.write_text(formula, encoding="utf-8")
    answer = called("replay", bench.write(folder / "trace.csv", **scale), "--formula", file, "--json", *said)
    assert (answer.code, answer.err) == (0, "")
    return answer.document


@pytest.mark.parametrize("scene", SCENES)
def test_the_record_holds_what_was_put_in(scene: str, tmp_path: Path) -> None:
    for seed in range(BENCHES):
        record = replayed(SCENES[scene](started(seed)), THREE, tmp_path, **scale_of(seed))
        told = f"{scene}, bench {seed}: {record}"
        assert (record["state"], record["corrections"]) == ("complete", []), told
        for addition, true_g in zip(record["additions"], (300, 60, 200), strict=True):
            assert addition["actual_g"] == pytest.approx(true_g, abs=max(0.1, 5 * addition["u_g"]) + 1e-9), told
            assert addition["in_tolerance"] is True, told
            assert addition["topups"] == [], told


def test_every_field_of_the_record(tmp_path: Path) -> None:
    record = replayed(_plain(started(1)), THREE, tmp_path)
    assert list(record) == [
        "batch",
        "formula",
        "title",
        "state",
        "factor",
        "factor_exact",
        "started",
        "ended",
        "scale",
        "additions",
        "corrections",
        "events",
        "chain",
    ]
    assert (record["batch"], record["formula"], record["title"]) == ("replay", "formula", "Plain Three")
    assert record["started"].startswith("1970-01-01T00:00:00")
    assert record["started"].endswith("+00:00")
    assert record["scale"] is None
    flour = record["additions"][0]
    assert (flour["target_g"], flour["band_g"], flour["guarded"], flour["lot"]) == (300, [297, 303], False, None)
    least_u = math.sqrt(2 * (0.1**2 / 12 + (0.3 * 0.1) ** 2))
    assert flour["u_g"] == pytest.approx(least_u, abs=0.001)
    assert flour["p_in_tolerance"] == 1.0
    times = [addition["settled_at_s"] for addition in record["additions"]]
    assert times == sorted(times)
    assert 14 < times[0] < 21  # the vessel is on at 2.1 s, the pour of 8.5 + 6 s begins at 5.6 s


def test_the_same_trace_gives_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "formula.yaml").write_text(THREE, encoding="utf-8")
    trace = _plain(started(2)).write(tmp_path / "trace.csv", noise_d=0.3)
    said = ("replay", trace, "--formula", tmp_path / "formula.yaml", "--json")
    answers = [scaled(*said, env={**os.environ, "PYTHONHASHSEED": seed}) for seed in ("1", "2")]
    assert [(answer.code, answer.err) for answer in answers] == [(0, "")] * 2
    assert answers[0].out == answers[1].out
    assert scaled("replay", trace, "--signal").out == scaled("replay", trace, "--signal").out


def test_an_egg_that_splashes_and_is_made_up_for(tmp_path: Path) -> None:
    for seed in range(BENCHES):
        bench = started(seed).pour(240.2).rest(5).spoons(3.2, 1).rest(5).pour(219.6).rest(5)
        bench.egg(57).rest(5).pour(28, 15).rest(5).pour(26, 15).rest(5)
        record = replayed(bench, DOUGH, tmp_path, **scale_of(seed))
        assert (record["state"], record["factor_exact"]) == ("complete", "19/17"), record
        assert record["corrections"] == [
            {"after": "whole egg", "offer": "scale up, least", "factor": pytest.approx(19 / 17)}
        ]
        flour, zest, salt, butter, egg = record["additions"]
        assert [len(line["topups"]) for line in (flour, salt, butter, egg)] == [1, 0, 1, 0]
        assert flour["topups"][0]["grams"] == pytest.approx(28, abs=0.4)
        assert (egg["target_g"], egg["band_g"]) == (55.882, [54.765, 57.0])
        assert (zest["target_g"], zest["band_g"], zest["actual_g"], zest["in_tolerance"]) == (None, None, None, None)
        assert [line["in_tolerance"] for line in (flour, salt, butter, egg)] == [True] * 4


def test_what_is_taken_out_is_a_negative_top_up(tmp_path: Path) -> None:
    formula = THREE.replace("tolerance: ±2 %}", "tolerance: ±2 %, comes out: yes}")
    bench = started(3).pour(300).rest(5).pour(68, 20).rest(6).put(-4, 0.3).rest(2).put(-4, 0.3).rest(5)
    record = replayed(bench.pour(200).rest(5), formula, tmp_path)
    assert [correction["offer"] for correction in record["corrections"]] == ["take out"]
    sugar = record["additions"][1]
    assert sugar["actual_g"] == pytest.approx(60, abs=0.3)
    assert [topup["grams"] for topup in sugar["topups"]] == [pytest.approx(-8, abs=0.4)]
    assert record["state"] == "complete"


def test_what_is_not_weighed_is_null_and_the_batch_still_runs(tmp_path: Path) -> None:
    record = replayed(started(4).pour(300).rest(5).pour(20, 10).rest(3), THREE, tmp_path)
    assert (record["state"], record["ended"]) == ("running", None)
    assert [line["actual_g"] is None for line in record["additions"]] == [False, True, True]


@pytest.mark.parametrize("division", [0.01, 0.5, 1, 5])
@pytest.mark.parametrize("factor", [Fraction(1), Fraction(9, 8)])
def test_other_divisions_factors_and_a_tared_vessel(division: float, factor: Fraction, tmp_path: Path) -> None:
    unit = max(1.0, division * 10)
    masses = [round(300 * unit), round(60 * unit), round(200 * unit)]
    lines = "".join(
        f"      - {{ingredient: {name}, weight: {mass} g, tolerance: ±{max(6 * division, 0.02 * mass)} g}}\n"
        for name, mass in zip(("flour x", "sugar y", "fat z"), masses, strict=True)
    )
    formula = f"formula: A\nstages:\n  - stage: a\n    additions:\n{lines}"
    bench = Bench(7).rest(2)
    for mass in masses:
        bench.pour(mass * float(factor), rate=mass / 4).rest(6)
    record = replayed(bench, formula, tmp_path, "--tared", "--factor", str(factor), division=division)
    assert (record["state"], record["factor_exact"]) == ("complete", str(factor))
    for line, mass in zip(record["additions"], masses, strict=True):
        assert line["target_g"] == pytest.approx(mass * float(factor), abs=0.0006)
        assert line["actual_g"] == pytest.approx(mass * float(factor), abs=max(division, 5 * line["u_g"]))
        assert line["actual_g"] / division == pytest.approx(round(line["actual_g"] / division), abs=1e-6)
        assert line["u_g"] >= math.sqrt(2 * (division**2 / 12 + (0.3 * division) ** 2)) - 0.001


def test_a_slow_scale_shows_a_spoon_in_one_result_and_it_counts(tmp_path: Path) -> None:
    """Four results a second: what is set down is there from one to the next, as if a key had been pressed."""
    for seed in range(BENCHES):
        bench = started(seed)
        for mass in (100, 100, 100):
            bench.put(mass, 0.1).rest(1.5)
        bench.rest(4)
        for mass in (20, 20, 20):
            bench.put(mass, 0.1).rest(1.5)
        bench.rest(4).put(200, 0.1).rest(5)
        record = replayed(bench, THREE, tmp_path, updates=4, omega=29.0, damping=0.9)
        assert record["state"] == "complete", record
        assert [line["actual_g"] for line in record["additions"]] == [
            pytest.approx(mass, abs=0.3) for mass in (300, 60, 200)
        ]


def test_each_row_of_the_signal_tells_its_reading_as_it_was(tmp_path: Path) -> None:
    """Times that are no round ones and values below zero; what cannot be told apart from 0 is 0, without a sign."""
    readings = [(n * 0.098765, -0.01 if n % 7 else 0.02) for n in range(60)]
    trace = tmp_path / "trace.csv"
    trace.write_text("t_s,grams\n" + "".join(f"{at:.6f},{grams:.2f}\n" for at, grams in readings), encoding="utf-8")
    rows = [row.split(",") for row in called("replay", trace, "--signal").out.splitlines()[1:]]
    assert [(row[0], float(row[1])) for row in rows] == [(f"{at:.6f}", grams) for at, grams in readings]
    assert not any(cell.startswith("-") and float(cell) == 0 for row in rows for cell in row)


def test_the_signal_row_by_row_and_as_one_document(tmp_path: Path) -> None:
    bench = started(6).pour(300).rest(5).press().rest(4)
    bench.put(-bench.load, 0.3).rest(4)
    trace = bench.write(tmp_path / "trace.csv")
    rows = called("replay", trace, "--signal").out.splitlines()
    assert rows[0] == "t_s,grams,estimate_g,u_g,rate_g_s,forecast_g,settled"
    assert len(rows) == len(trace.read_text(encoding="utf-8").splitlines())
    assert {row.rsplit(",", 1)[1] for row in rows[1:]} == {"0", "1"}
    document = called("replay", trace, "--signal", "--json").document
    assert list(document) == ["settled", "happened"]
    assert all(list(rest) == ["at_s", "grams", "u_g"] for rest in document["settled"])
    assert all(list(thing) == ["from_s", "to_s", "what", "change_g"] for thing in document["happened"])
    assert [thing["what"] for thing in document["happened"]] == ["vessel on", "addition", "press", "vessel off"]
    changes = [thing["change_g"] for thing in document["happened"]]
    assert changes == [pytest.approx(change, abs=0.3) for change in (812, 300, 0, -1112)]
    assert [rest["grams"] for rest in document["settled"]] == [
        pytest.approx(grams, abs=0.3) for grams in (0, 812, 1112, 0)
    ]
