"""Run the benchmarks and print their table: figure, floor, ratio, budget.

    python tests/performance/run.py              all, at a small size
    python tests/performance/run.py serial page  only bench_serial.py and bench_page.py
    python tests/performance/run.py --full       all, at full size (minutes; alone on the machine)

Each module runs in a process of its own, so that neither memory nor imports mix. Ends with 1 where a ratio is more
than twice its budget, a module fails or there is nothing to run. Such a module is measured twice more: what the
machine did in one minute passes, what the code does is there each time.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import importlib.util
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(Path(__file__).parent), str(ROOT)]  # what is measured is this checkout, in either environment

from figures import Row, Size

TRIES = 3
LONGEST_S = {"small": 300, "full": 3600}
SCIPY = os.environ.get("SCALED_SCIPY_PYTHON", str(ROOT / ".venv-scipy/bin/python"))


def interpreter(module: Path) -> str:
    """The Python that a module asks for by `ENVIRONMENT = "scipy"`, else this one."""
    for node in ast.parse(module.read_text()).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "ENVIRONMENT":
            return {"scipy": SCIPY}[ast.literal_eval(node.value)]
    return sys.executable


def measure(module: Path, size: Size) -> None:
    """Run one module in this process and print its rows as JSON, one a line."""
    spec = importlib.util.spec_from_file_location(module.stem, module)
    assert spec and spec.loader
    bench = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(bench)
    for row in bench.rows(size):
        print(json.dumps(dataclasses.asdict(row)), flush=True)


def rows_of(module: Path, size: Size) -> list[Row]:
    """Run one module in a process of its own; raises RuntimeError where it does not end well or yields nothing."""
    call = [interpreter(module), __file__, "--measure", str(module)] + (["--full"] if size == "full" else [])
    environment = os.environ | {"PYTHONHASHSEED": "0"}
    try:
        done = subprocess.run(
            call, stdout=subprocess.PIPE, text=True, timeout=LONGEST_S[size], env=environment, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise RuntimeError(f"{module.name}: {error}") from error
    rows = [Row(**json.loads(line)) for line in done.stdout.splitlines()]
    if done.returncode or not rows:
        raise RuntimeError(f"{module.name}: exit code {done.returncode} after {len(rows)} rows")
    return rows


def lasting(module: Path, size: Size) -> list[Row]:
    """The rows of a module, measured anew, up to three times, while one of them fails or it does not end well."""
    for tried in range(1, TRIES + 1):
        try:
            rows = rows_of(module, size)
        except RuntimeError as error:
            if tried == TRIES:
                raise
            print(f"measured again: {error}", file=sys.stderr, flush=True)
            continue
        failed = [row.what for row in rows if row.verdict == "FAIL"]
        if not failed or tried == TRIES:
            return rows
        print(f"measured again, for its {', '.join(failed)}:\n{table(rows)}", file=sys.stderr, flush=True)
    raise AssertionError("a module is measured at least once")


def number(value: float | None) -> str:
    return "" if value is None else f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def budget(row: Row) -> str:
    parts = []
    if row.ratio_at_most is not None:
        parts.append(f"<= {number(row.ratio_at_most)} x floor")
    if row.figure_at_most is not None:
        parts.append(f"<= {number(row.figure_at_most)} {row.unit}")
    return ", ".join(parts)


def table(rows: Iterable[Row]) -> str:
    head = ("what", "figure", "floor", "ratio", "budget", "", "the floor is")
    lines = [head]
    for row in rows:
        floor = f"{number(row.floor)} {row.unit}" if row.floor is not None else ""
        about = "; ".join(part for part in (row.floor_is, row.note) if part)
        figure = f"{number(row.figure)} {row.unit}"
        lines.append((row.what, figure, floor, number(row.ratio), budget(row), row.verdict, about))
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    padded = ("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)) for line in lines)
    return "\n".join(line.rstrip() for line in padded)


def main() -> int:
    asked = argparse.ArgumentParser(description="Measure beside a floor in the same run.")
    asked.add_argument("subject", nargs="*", help="the <subject> of bench_<subject>.py; all without any")
    asked.add_argument("--full", action="store_true", help="full size: minutes, and alone on the machine")
    asked.add_argument("--folder", type=Path, default=Path(__file__).parent, help=argparse.SUPPRESS)
    asked.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    options = asked.parse_args()
    size: Size = "full" if options.full else "small"
    if options.measure:
        measure(options.measure, size)
        return 0
    found = {module.stem.removeprefix("bench_"): module for module in sorted(options.folder.glob("bench_*.py"))}
    if not found or not set(options.subject) <= set(found):
        print(f"no such benchmark; there are: {', '.join(found) or 'none'}", file=sys.stderr)
        return 1
    rows, broken = [], []
    for subject in options.subject or found:
        start = time.perf_counter()
        try:
            rows += lasting(found[subject], size)
        except RuntimeError as error:
            broken.append(str(error))
        print(f"measured {subject} in {time.perf_counter() - start:.0f} s", file=sys.stderr, flush=True)
    print(table(rows))
    failed = [row.what for row in rows if row.verdict == "FAIL"]
    for what in failed:
        print(f"more than twice its budget: {what}", file=sys.stderr)
    for what in broken:
        print(f"did not run: {what}", file=sys.stderr)
    return 1 if failed or broken else 0


if __name__ == "__main__":
    sys.exit(main())
