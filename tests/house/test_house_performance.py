"""The frame of the benchmarks: it prints what was measured, and fails where it must."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

RUN = Path(__file__).parents[1] / "performance" / "run.py"


def run(folder: Path, body: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    (folder / "bench_planted.py").write_text(f"from figures import Row\ndef rows(size):\n    {body}\n")
    call = [sys.executable, str(RUN), "--folder", str(folder), *arguments]
    return subprocess.run(call, capture_output=True, text=True, check=False, timeout=60)


def row(figure: float, ratio_at_most: float = 6) -> str:
    return f"yield Row('bytes', {figure}, 'us', floor=10, floor_is='a bare loop', ratio_at_most={ratio_at_most})"


@pytest.mark.parametrize(
    ("figure", "verdict", "code"), [(60, " ok ", 0), (61, " over ", 0), (120, " over ", 0), (121, " FAIL ", 1)]
)
def test_only_a_ratio_off_by_a_factor_of_two_fails(tmp_path: Path, figure: float, verdict: str, code: int) -> None:
    done = run(tmp_path, row(figure))
    assert done.returncode == code
    assert verdict in done.stdout
    assert f"bytes  {figure} us" in done.stdout
    assert "<= 6 x floor" in done.stdout
    assert ("more than twice its budget: bytes" in done.stderr) == (code == 1)


@pytest.mark.parametrize(("slow", "code"), [(1, 0), (2, 0), (3, 1)])
def test_what_the_machine_did_in_one_minute_passes(tmp_path: Path, slow: int, code: int) -> None:
    """Measured up to three times: only a ratio that is off each time fails."""
    said = tmp_path / "said"
    times = f"from pathlib import Path; said = Path({str(said)!r}); said.open('a').write('.')"
    done = run(
        tmp_path,
        f"{times}; figure = 121 if said.stat().st_size <= {slow} else 60; {row(0)}".replace("0, 'us'", "figure, 'us'"),
    )
    assert (done.returncode, len(said.read_text())) == (code, min(slow + 1, 3))
    assert done.stderr.count("measured again, for its bytes") == min(slow, 2)


@pytest.mark.parametrize(("slow", "code"), [(2, 0), (3, 1)])
def test_what_broke_in_one_minute_passes(tmp_path: Path, slow: int, code: int) -> None:
    """As where the machine stood still for so long that a value was passed over at the viewers."""
    said = tmp_path / "said"
    times = f"from pathlib import Path; said = Path({str(said)!r}); said.open('a').write('.')"
    done = run(tmp_path, f"{times}; 1 / (said.stat().st_size > {slow}); {row(60)}")
    assert (done.returncode, len(said.read_text())) == (code, min(slow + 1, 3))
    assert done.stderr.count("measured again: bench_planted.py") == 2


def test_a_rival_that_must_be_beaten_ten_times(tmp_path: Path) -> None:
    assert run(tmp_path, row(0.9, 0.1)).returncode == 0
    assert run(tmp_path, row(3, 0.1)).returncode == 1


def test_an_absolute_budget_is_told_and_never_fails(tmp_path: Path) -> None:
    done = run(tmp_path, "yield Row('memory', 480, 'MB', figure_at_most=48)")
    assert (done.returncode, " over" in done.stdout) == (0, True)


@pytest.mark.parametrize("body", ["1/0", "return iter(())", "yield Row('', 1, 'us')", "import os; os._exit(3)"])
def test_a_benchmark_that_breaks_or_says_nothing_fails(tmp_path: Path, body: str) -> None:
    done = run(tmp_path, body)
    assert done.returncode == 1
    assert "did not run: bench_planted.py" in done.stderr


def test_a_missing_environment_fails(tmp_path: Path) -> None:
    (tmp_path / "bench_highs.py").write_text("ENVIRONMENT = 'scipy'\ndef rows(size): return iter(())\n")
    call = [sys.executable, str(RUN), "--folder", str(tmp_path)]
    absent = os.environ | {"SCALED_SCIPY_PYTHON": str(tmp_path / "python")}
    done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=60, env=absent)
    assert done.returncode == 1
    assert "No such file" in done.stderr


def test_nothing_to_measure_fails(tmp_path: Path) -> None:
    assert run(tmp_path, row(1), "parser").returncode == 1
    (tmp_path / "bench_planted.py").unlink()
    assert subprocess.run([sys.executable, str(RUN), "--folder", str(tmp_path)], check=False).returncode == 1


def test_the_size_reaches_the_benchmark(tmp_path: Path) -> None:
    assert "\nsmall  1 us" in run(tmp_path, "yield Row(size, 1, 'us')").stdout
    assert "\nfull  1 us" in run(tmp_path, "yield Row(size, 1, 'us')", "--full").stdout
