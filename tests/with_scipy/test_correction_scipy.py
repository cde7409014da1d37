"""The correction agrees with scipy on random cases, and the comparison catches a solver that forgets something.

`SCALED_CORRECTION_CASES` sets how many cases are drawn (2,000 if not given), `SCALED_CORRECTION_SEED` which.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import correction_balance
import correction_highs
import correction_search
from correction_runs import compare

import scaled

CASES = int(os.environ.get("SCALED_CORRECTION_CASES", "2000"))
SEED = os.environ.get("SCALED_CORRECTION_SEED", "correction")
MUTANT_CASES = 400


def test_the_same_verdict_and_the_same_factor_as_highs() -> None:
    wrong, seen = compare(correction_highs.wrong_in, CASES, SEED)
    print(dict(seen))
    assert wrong == []
    for kind in ("infeasible", "with pieces", "bound by capacity"):
        assert seen[kind] >= CASES / 4, f"too few cases {kind}: {dict(seen)}"
    for offer in ("take out", "scale down", "scale up, least", "whole pieces", "scale up, exact"):
        assert seen[offer] >= CASES / 100, f"too few cases end in {offer}: {dict(seen)}"


def test_the_same_balance_as_bounded_least_squares() -> None:
    wrong, seen = compare(correction_balance.wrong_in, CASES, SEED)
    print(dict(seen))
    assert wrong == []
    assert CASES / 10 <= seen["rebalanced"] <= CASES / 2, f"too few or too many cases are rebalanced: {dict(seen)}"


def test_no_bowl_found_by_random_search_beats_an_offer() -> None:
    wrong, seen = compare(correction_search.wrong_in, CASES, SEED)
    print(dict(seen))
    assert wrong == []
    assert seen["bowls tried"] >= 20 * CASES, f"too few bowls were tried: {dict(seen)}"
    assert seen["factors tried"] >= 10 * CASES, f"too few factors were tried: {dict(seen)}"
    for offer in ("take out", "scale down", "scale up, least", "whole pieces", "scale up, exact"):
        assert seen[offer] >= CASES / 100, f"too few offers {offer}: {dict(seen)}"


FEASIBLE, BOWLS, CORRECT, SITUATION = "feasible.py", "bowls.py", "correct.py", "situation.py"
ASKED, PROBLEM = "asked.py", "problem.py"
BALANCE, SQUARES = "balance.py", "least_squares.py"
MUTANTS = {
    "forgets the capacity": (FEASIBLE, "    if problem.capacity is None:\n        return p, q\n", "    return p, q\n"),
    "forgets the capacity in the bowl": (
        BOWLS,
        "is_full = problem.capacity is not None and bowl.total(problem) > problem.capacity * q",
        "is_full = False",
    ),
    "forgets the stock": (SITUATION, "else stock_mg.get(addition.key)", "else None"),
    "forgets what is late": (SITUATION, "if is_closed and not stage.is_late else stock", "if False else stock"),
    "lets nothing out of a closed stage in tubs": (
        SITUATION,
        'if mixing == "tubs":\n        return Fraction(1)',
        'if mixing == "tubs":\n        return Fraction(0 if is_closed and not stage.is_late else 1)',
    ),
    "forgets absolute tolerances below": (ASKED, "else (slope, (-less, less_of))", "else (slope, nothing)"),
    "forgets absolute tolerances above": (ASKED, "else (slope, (more, more_of))", "else (slope, nothing)"),
    "lets absolute tolerances grow with the factor": (
        ASKED,
        "else (slope, (more, more_of))",
        "else ((weight * more_of + more * of, of * more_of), nothing)",
    ),
    "takes nothing out": (
        CORRECT,
        "free = feasible(problem, problem.floors)",
        "free = feasible(problem, problem.inside)",
    ),
    "takes out while it scales up": (CORRECT, "else feasible(problem, problem.inside)", "else free"),
    "forgets the limits": (FEASIBLE, "(limit.as_integer_ratio() for limit in problem.limits)", "((1, 100), (100, 1))"),
    "takes the share of the last addition for each": (
        SITUATION,
        "return addition.share_out if is_top else Fraction(0)",
        "return addition.share_out",
    ),
    "rounds out of the band": (BOWLS, "masses[place] -= 1\n            elif", "pass\n            elif"),
    "takes every band for a wide one": (
        PROBLEM,
        "is_wide=2 * asked.narrowest * min(least, of) >= units * of",
        "is_wide=True",
    ),
    "looks at no lightest for the worst deviation": (
        CORRECT,
        "if may_stop and 2 * units * of < off * weight:",
        "if may_stop:",
    ),
    "weighs once more what lies in its band": (
        BOWLS,
        "if is_in and mass * q >= slope * p + rest * q",
        "if is_in and mass * q >= problem.weights[place] * p",
    ),
    "makes up for salt": (CORRECT, "return bool(asking) and set(asking) <= set(problem.tight)", "return False"),
    "changes by more than 5 %": (BALANCE, "MOST_CHANGE = Fraction(5, 100)", "MOST_CHANGE = Fraction(6, 100)"),
    "forgets the stock when it rebalances": (BALANCE, "high if content.more_mg is None else", "high if True else"),
    "changes salt for balance": (BALANCE, "if content.is_tight or", "if"),
    "rebalances what salt has spoiled": (BALANCE, "if all(contents[i].is_tight for i in off):", "if not off:"),
    "rebalances into a bowl that is too small": (BALANCE, "sum(masses) > situation.capacity_mg", "False"),
    "rebalances for nothing": (BALANCE, "MUST_REMAIN = 0.75", "MUST_REMAIN = 0.95"),
    "never frees what is held": (SQUARES, "if back is None:", "if True:"),
    "stops at no bound": (SQUARES, "if low[i] <= goal <= high[i]:", "if True:"),
}


SEARCHED = {
    "shows what another beats": (
        "front.py",
        "if not any(other.is_as_good_as(way) for other in front):",
        "if way.name:",
    ),
    "weighs what is in its band": (
        BOWLS,
        "if is_in and mass * q >= slope * p + rest * q",
        "if is_in and mass * q >= problem.weights[place] * p",
    ),
    "takes more pieces than it must": (CORRECT, "(made // of + 1) *", "(made // of + 2) *"),
    "tops up to the end of the band": (
        BOWLS,
        "masses = [weight * self.scale for weight",
        "masses = [weight * self.scale * 1005 // 1000 for weight",
    ),
}


def script_for(name: str) -> ModuleType:
    """The comparison that a mutant, or the solver as it is, is given to."""
    if name == "nothing of the search" or name in SEARCHED:
        return correction_search
    is_balance = name in MUTANTS and MUTANTS[name][0] in (BALANCE, SQUARES)
    return correction_balance if is_balance or name == "nothing of the balance" else correction_highs


@pytest.mark.parametrize("name", ["nothing", "nothing of the balance", "nothing of the search", *MUTANTS, *SEARCHED])
def test_a_solver_that_forgets_something_is_caught(name: str, tmp_path: Path) -> None:
    mutants = MUTANTS | SEARCHED
    source = Path(str(scaled.__file__)).parent
    product = tmp_path / "scaled"
    product.mkdir()
    for part in ("__init__.py", "errors.py", "formula"):
        (shutil.copytree if (source / part).is_dir() else shutil.copy)(source / part, product / part)
    if name in mutants:
        file, right, wrong = mutants[name]
        text = (product / "formula" / file).read_text()
        assert text.count(right) == 1, f"the mutant no longer fits {file}"
        (product / "formula" / file).write_text(text.replace(right, wrong))
    run = subprocess.run(
        [sys.executable, str(script_for(name).__file__), str(MUTANT_CASES), "mutant"],
        env=os.environ | {"PYTHONPATH": str(tmp_path), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.stderr == ""
    assert run.returncode == (1 if name in mutants else 0), run.stdout[-2000:]
    assert ("case mutant-" in run.stdout) == (name in mutants)
