"""`scaled formula correct`, seen from outside: the worked cases, and random kitchens against a second reckoning.

`SCALED_CONTRACT_KITCHENS` sets how many kitchens are drawn (a full run: 20000).
"""

from __future__ import annotations

import os
import random
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest
from contract_command import called, scaled
from contract_kitchens import arguments, draw_kitchen, write_formula
from contract_ways_back import Kitchen, feasible, interval, rows_of, ways_back

KITCHENS = int(os.environ.get("SCALED_CONTRACT_KITCHENS", "400"))
MG = 0.0015  # a bowl squeezed into a capacity may be rounded either way

DOUGH = """formula: Worked
pieces: 8
limits: {{factor: 0.5 to 2}}
stages:
  - stage: dry
    {late}
    additions:
      - {{ingredient: oat flour, weight: 240 g, tolerance: ±1 %}}
      - {{ingredient: salt, weight: 3 g, tolerance: ±0.3 g}}
      - {{ingredient: butter, weight: 220 g, tolerance: ±1 %}}
  - stage: creamed
    additions:
      - {{ingredient: whole egg, weight: 50 g, tolerance: ±2 %{egg}}}
"""

# What is told, then per offer: name, exact factor, extra mass, weighings, taken out, worst deviation; then the range.
WORKED = {
    "egg mixed": (
        {},
        ["--in", "egg=57 g", "--mixed"],
        [
            ("scale up, least", "19/17", 61.47, 3, 0.0, 2.0),
            ("whole pieces", "9/8", 64.875, 3, 0.0, 1.33),
            ("scale up, exact", "57/50", 71.82, 3, 0.0, 0.0),
            ("keep", "1", 7.0, 0, 0.0, 14.0),
        ],
        [1.117647, 2.0],
    ),
    "egg comes out": (
        {"egg": ", comes out: yes"},
        ["--in", "egg=57 g"],
        [
            ("take out", "1", 0.0, 1, 7.0, 0.0),
            ("scale up, least", "19/17", 61.47, 3, 0.0, 2.0),
            ("whole pieces", "9/8", 64.875, 3, 0.0, 1.33),
            ("keep", "1", 7.0, 0, 0.0, 14.0),
        ],
        [0.990099, 2.0],
    ),
    "late no": (
        {"late": "late: no"},
        ["--in", "egg=57 g", "--mixed", "--closed", "dry"],
        [("keep", "1", 7.0, 0, 0.0, 14.0)],
        None,
    ),
    "butter ran out": (
        {},
        ["--in", "butter=180 g", "--stock", "butter=0 g"],
        [("keep", "1", -40.0, 0, 0.0, 18.18)],
        None,
    ),
    "butter ran out in tubs": (
        {},
        ["--in", "butter=180 g", "--stock", "butter=0 g", "--tubs"],
        [("scale down", "100/121", -90.852, 2, 42.174, 1.0), ("keep", "1", -40.0, 0, 0.0, 18.18)],
        [0.5, 0.826446],
    ),
}


@pytest.mark.parametrize("case", WORKED)
def test_the_worked_cases_to_the_milligram(case: str, tmp_path: Path) -> None:
    words, said, offers, reach = WORKED[case]
    file = tmp_path / "worked.yaml"
    file.write_text(DOUGH.format(**{"late": "late: yes", "egg": "", **words}), encoding="utf-8")
    answer = scaled("formula", "correct", file, *said, "--json")
    assert (answer.code, answer.err) == (0, "")
    document = answer.document
    keys = ("offer", "factor_exact", "extra_mass_g", "extra_weighings", "taken_out_g", "worst_deviation_pct")
    assert [tuple(offer[key] for key in keys) for offer in document["offers"]] == offers
    assert document["factor_range"] == (None if reach is None else pytest.approx(reach, abs=5e-7))


def test_the_worked_bowls(tmp_path: Path) -> None:
    file = tmp_path / "worked.yaml"
    file.write_text(DOUGH.format(late="late: yes", egg=""), encoding="utf-8")
    bowls = [
        list(offer["bowl"].values())
        for offer in called("formula", "correct", file, "--in", "egg=57 g", "--mixed", "--json").document["offers"]
    ]
    assert bowls[0] == [268.235, 3.353, 245.882, 57.0]
    assert bowls[1] == [270.0, 3.375, 247.5, 57.0]


def _differences(document: dict[str, object], mine: dict[str, object]) -> list[str]:
    theirs, ours = document["offers"], mine["offers"]
    assert isinstance(theirs, list)
    assert isinstance(ours, list)
    if [offer["offer"] for offer in theirs] != [offer["offer"] for offer in ours]:
        return [f"offers {[o['offer'] for o in theirs]} for {[o['offer'] for o in ours]}"]
    wrong = []
    for their, our in zip(theirs, ours, strict=True):
        slack = {"factor": 1e-12, "makes": 1e-9}
        slack["worst_deviation_pct"] = 0.011 + 0.1 / max(
            0.1, min(our["bowl"].values())
        )  # before or after rounding to the mg
        slack |= dict.fromkeys(("extra_mass_g", "taken_out_g"), MG * len(our["bowl"]))
        slack |= dict.fromkeys(("factor_exact", "extra_weighings", "cost"), 0)
        wrong += [
            f"{our['offer']}: {key} is {their[key]}, not {our[key]}"
            for key, most in slack.items()
            if their[key] != our[key] and (not most or their[key] != pytest.approx(our[key], abs=most))
        ]
        if list(their["bowl"]) != list(our["bowl"]):
            wrong.append(f"{our['offer']}: the bowl's keys are {list(their['bowl'])}")
        elif any(abs(their["bowl"][key] - our["bowl"][key]) > MG for key in our["bowl"]):
            wrong.append(f"{our['offer']}: the bowl is {their['bowl']}, not {our['bowl']}")
    reach, our_reach = document["factor_range"], mine["factor_range"]
    if (reach is None) != (our_reach is None) or reach != (None if our_reach is None else pytest.approx(our_reach)):
        wrong.append(f"the range is {reach}, not {our_reach}")
    return wrong


def test_random_kitchens_against_a_second_reckoning(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    wrong: list[str] = []
    for seed in range(KITCHENS):
        kitchen = draw_kitchen(random.Random(seed))
        said = arguments(kitchen, write_formula(kitchen, tmp_path / "drawn.yaml"))
        answer = called(*said)
        assert (answer.code, answer.err) == (0, ""), (seed, answer.err)
        seen.update(offer["offer"] for offer in answer.document["offers"])
        wrong += [f"kitchen {seed}: {difference}" for difference in _differences(answer.document, ways_back(kitchen))]
    print(dict(seen))
    assert not wrong, "\n".join(wrong[:20])
    assert set(seen) >= {"take out", "scale down", "scale up, least", "whole pieces", "scale up, exact", "keep"}


def test_a_dense_search_finds_no_factor_that_was_missed() -> None:
    """The interval of the second reckoning itself, against trying factor after factor."""
    empty = 0
    for seed in range(150):
        kitchen = draw_kitchen(random.Random(seed))
        rows = rows_of(kitchen)
        reach = interval(kitchen, rows, out=True)
        empty += reach is None
        for step in range(200, 3001, 7):
            factor = kitchen.before * Fraction(step, 1000)
            inside = reach is not None and reach[0] <= factor <= reach[1]
            assert feasible(kitchen, rows, factor, out=True) == inside, (seed, factor, reach)
    assert 15 < empty < 135


def test_the_second_reckoning_notices_a_forgotten_rule(tmp_path: Path) -> None:
    """A slip in what is told (no stock, no capacity, no closed stage) shows as a difference."""
    caught: Counter[str] = Counter()
    for seed in range(200):
        kitchen = draw_kitchen(random.Random(seed))
        document = called(*arguments(kitchen, write_formula(kitchen, tmp_path / "drawn.yaml"))).document
        for what, other in _slips(kitchen).items():
            caught[what] += bool(_differences(document, ways_back(other)))
    assert all(caught[what] > 3 for what in ("stock", "capacity", "closed", "pieces")), caught


def _slips(kitchen: Kitchen) -> dict[str, Kitchen]:
    from dataclasses import replace

    return {
        "stock": replace(kitchen, stock={}),
        "capacity": replace(kitchen, capacity=None),
        "closed": replace(kitchen, closed=()),
        "pieces": replace(kitchen, pieces=None),
    }
