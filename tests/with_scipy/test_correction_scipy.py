"""The correction agrees with scipy on random cases, and the comparison catches a solver that forgets something.

`SCALED_CORRECTION_CASES` sets how many cases are drawn (2,000 if not given), `SCALED_CORRECTION_SEED` which.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import correction_balance
import correction_highs

import scaled

CASES = int(os.environ.get("SCALED_CORRECTION_CASES", "2000"))
SEED = os.environ.get("SCALED_CORRECTION_SEED", "correction")
MUTANT_CASES = 400


def test_the_same_verdict_and_the_same_factor_as_highs() -> None:
    wrong, seen = correction_highs.compare(CASES, SEED)
    print(dict(seen))
    assert wrong == []
    for kind in ("infeasible", "with pieces", "bound by capacity"):
        assert seen[kind] >= CASES / 4, f"too few cases {kind}: {dict(seen)}"
    for offer in ("take out", "scale down", "scale up, least", "whole pieces", "scale up, exact"):
        assert seen[offer] >= CASES / 100, f"too few cases end in {offer}: {dict(seen)}"


def test_the_same_balance_as_bounded_least_squares() -> None:
    wrong, seen = correction_balance.compare(CASES, SEED)
    print(dict(seen))
    assert wrong == []
    assert CASES / 10 <= seen["rebalanced"] <= CASES / 2, f"too few or too many cases are rebalanced: {dict(seen)}"


FEASIBLE, BOWLS, CORRECT, SITUATION = "feasible.py", "bowls.py", "correct.py", "situation.py"
BALANCE, SQUARES = "balance.py", "least_squares.py"
MUTANTS = {
    "forgets the capacity": (FEASIBLE, "    if problem.capacity is None:\n        return high\n", "    return high\n"),
    "forgets the capacity in the bowl": (
        BOWLS,
        "if problem.capacity is None or sum(masses) <= problem.capacity * q:",
        "if problem.factor:",
    ),
    "forgets the stock": (SITUATION, "else stock_mg.get(addition.key)", "else None"),
    "forgets what is late": (SITUATION, "if is_closed and not stage.is_late else stock", "if False else stock"),
    "lets nothing out of a closed stage in tubs": (
        SITUATION,
        'if mixing == "tubs":\n        return Fraction(1)',
        'if mixing == "tubs":\n        return Fraction(0 if is_closed and not stage.is_late else 1)',
    ),
    "forgets absolute tolerances below": (FEASIBLE, "lo_rest = -_in_units(under, units)", "lo_rest = 0"),
    "forgets absolute tolerances above": (FEASIBLE, "hi_rest = _in_units(over, units)", "hi_rest = 0"),
    "lets absolute tolerances grow with the factor": (
        FEASIBLE,
        "            hi_rest = _in_units(over, units)",
        "            hi_slope += _in_units(over, units)",
    ),
    "takes nothing out": (
        CORRECT,
        "free = feasible(problem, problem.floors)",
        "free = feasible(problem, problem.kept)",
    ),
    "takes out while it scales up": (CORRECT, "else feasible(problem, problem.kept)", "else free"),
    "forgets the limits": (FEASIBLE, "(limit.as_integer_ratio() for limit in problem.limits)", "((1, 100), (100, 1))"),
    "takes the share of the last addition for each": (
        SITUATION,
        "return addition.share_out if is_top else Fraction(0)",
        "return addition.share_out",
    ),
    "rounds out of the band": (BOWLS, "whole -= 1\n            elif", "pass\n            elif"),
    "makes up for salt": (CORRECT, "return bool(asking) and all(asking)", "return False and all(asking)"),
    "changes by more than 5 %": (BALANCE, "MOST_CHANGE = Fraction(5, 100)", "MOST_CHANGE = Fraction(6, 100)"),
    "forgets the stock when it rebalances": (BALANCE, "high if content.more_mg is None else", "high if True else"),
    "changes salt for balance": (BALANCE, "if content.is_in or content.is_tight or", "if content.is_in or"),
    "rebalances what salt has spoiled": (BALANCE, "if all(contents[i].is_tight for i in off):", "if not off:"),
    "rebalances into a bowl that is too small": (BALANCE, "sum(masses) > situation.capacity_mg", "False"),
    "rebalances for nothing": (BALANCE, "MUST_REMAIN = 0.75", "MUST_REMAIN = 0.95"),
    "never frees what is held": (SQUARES, "if back is None:", "if True:"),
    "stops at no bound": (SQUARES, "if low[i] <= goal <= high[i]:", "if True:"),
}


BY_BALANCE = ["nothing of the balance", *(name for name, (file, *_) in MUTANTS.items() if file in (BALANCE, SQUARES))]


@pytest.mark.parametrize("name", ["nothing", "nothing of the balance", *MUTANTS])
def test_a_solver_that_forgets_something_is_caught(name: str, tmp_path: Path) -> None:
    source = Path(str(scaled.__file__)).parent
    product = tmp_path / "scaled"
    product.mkdir()
    for part in ("__init__.py", "errors.py", "formula"):
        (shutil.copytree if (source / part).is_dir() else shutil.copy)(source / part, product / part)
    if name in MUTANTS:
        file, right, wrong = MUTANTS[name]
        text = (product / "formula" / file).read_text()
        assert text.count(right) == 1, f"the mutant no longer fits {file}"
        (product / "formula" / file).write_text(text.replace(right, wrong))
    script = correction_balance if name in BY_BALANCE else correction_highs
    run = subprocess.run(
        [sys.executable, str(script.__file__), str(MUTANT_CASES), "mutant"],
        env=os.environ | {"PYTHONPATH": str(tmp_path), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.stderr == ""
    assert run.returncode == (1 if name in MUTANTS else 0), run.stdout[-2000:]
    assert ("case mutant-" in run.stdout) == (name in MUTANTS)
