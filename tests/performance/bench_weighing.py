"""Bytes -> Weight beside bytes -> Reading alone, and how many calls are wrong against how soon they come.

The lines are what a scale sends, three to each result, with a pour every ten seconds; each line is timed on its own.
The floor is the parser without the weigher. The second part plays scenes of `tests/weighing` to ours and to the
controls, each for a range of patience: how long a rest must have stood before it is believed. The curves are drawn in
`tests/.seen/weighing-wrong-against-time.svg`.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from typing import NamedTuple

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent / "weighing")]

from figures import Row, Size
from scene_controls import See, equal_lines, ours, own_flag
from scene_draw import seeds, session
from scene_gate import quantile
from scene_score import Outcome, outcomes

from scaled.instruments.formats import installed_formats
from scaled.instruments.parser import LineParser
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.scale import SimulatedScale
from scaled.weighing import Reading, Rest, Weigher

SEEN = HERE.parent / ".seen"
SCENES = {"small": 40, "full": 1000}
SECONDS = {"small": 60.0, "full": 600.0}
PATIENCE_S = (0.0, 0.1, 0.2, 0.4, 0.8)
DETECTORS: dict[str, Callable[[], See]] = {"ours": ours, "nine equal lines": equal_lines, "its own flag": own_flag}
COLOURS = {"ours": "#1b6e3c", "nine equal lines": "#b3541e", "its own flag": "#4a4a8a"}


class Point(NamedTuple):
    """Seconds until it is settled, half of the times and 95 % of them, and wrong calls per 10,000 additions."""

    median_s: float
    most_s: float
    wrong: float


def lines(seconds: float) -> list[bytes]:
    """What a scale sends: 18 results a second, each three times, a pour of five seconds every ten."""
    scale = SimulatedScale(ScaleParameters(lines_per_s=54.0, updates_per_s=18.0), seed=1)
    for start in range(1, int(seconds), 10):
        scale.pour(25.0, float(start), 5.0)
    return [line for _, line in scale.advance_to(seconds)]


def each_line(said: list[bytes], *, is_weighed: bool) -> list[float]:
    """Seconds that each line took, from its bytes to its Reading or to its Weight."""
    parser = LineParser(installed_formats()["header"])
    weigher = Weigher()
    taken: list[float] = []
    for index, line in enumerate(said):
        start = time.perf_counter()
        for reading in parser.feed(line, index / 54):
            if is_weighed:
                weigher.see(reading)
        taken.append(time.perf_counter() - start)
    return taken


def instructions(seconds: float) -> float:
    """Instructions of one Reading -> Weight by callgrind: the difference between twice and once as many readings."""
    counted = [_counted(times * seconds) for times in (1, 2)]
    return (counted[1][0] - counted[0][0]) / (counted[1][1] - counted[0][1])


def _counted(seconds: float) -> tuple[int, int]:
    with tempfile.TemporaryDirectory() as folder:
        call = [
            "valgrind",
            "--tool=callgrind",
            f"--callgrind-out-file={folder}/out",
            sys.executable,
            __file__,
            str(seconds),
        ]
        done = subprocess.run(call, capture_output=True, text=True, check=True, cwd=HERE.parents[1])
    found = re.search(r"Collected : (\d+)", done.stderr)
    if found is None:
        raise RuntimeError(f"callgrind told no count: {done.stderr[-400:]}")
    return int(found.group(1)), int(done.stdout)


def weigh_alone(seconds: float) -> int:
    """What callgrind counts: the readings of so many seconds, weighed; how many they were."""
    readings = SimulatedScale(ScaleParameters(lines_per_s=54.0, updates_per_s=18.0), seed=1).readings_to(seconds)
    weigher = Weigher()
    for reading in readings:
        weigher.see(reading)
    return len(readings)


def patient(make: Callable[[], See], seconds: float) -> See:
    """The same, believed only where it has stood for so long."""
    see, known_at, since = make(), 0.0, 0.0

    def believed(reading: Reading) -> Rest | None:
        nonlocal known_at, since
        rest = see(reading)
        if rest is None:
            return None
        if rest.known_at != known_at:
            known_at, since = rest.known_at, reading.at
        is_old = reading.at - since >= seconds
        return Rest(rest.mass_mg, rest.u_mg, rest.since, rest.known_at + seconds) if is_old else None

    return believed


def against_time(size: Size) -> dict[str, list[Point]]:
    """The curve of each way, over the patiences."""
    found: dict[tuple[str, float], list[Outcome]] = {(name, s): [] for name in DETECTORS for s in PATIENCE_S}
    for seed in seeds(SCENES[size], "bench"):
        scene = session(seed)
        for (name, seconds), into in found.items():
            if name != "its own flag" or scene.parameters.shape != "plain":
                into.extend(outcomes(scene, patient(DETECTORS[name], seconds)))
    curves: dict[str, list[Point]] = {name: [] for name in DETECTORS}
    for (name, _), every in found.items():
        settled = [o.settled_s for o in every if o.settled_s is not None]
        wrong = 10_000 * sum(bool(o.wrong) for o in every) / len(every)
        curves[name].append(Point(quantile(settled, 0.5), quantile(settled, 0.95), wrong))
    return curves


def drawn(curves: dict[str, list[Point]]) -> str:
    """The curves as SVG: seconds to the right, wrong calls upwards by their square root, so that few are seen too."""
    right = max(s for curve in curves.values() for s, _, _ in curve)
    top = max(1.0, *(w for curve in curves.values() for _, _, w in curve))
    marks = []
    for row, (name, curve) in enumerate(curves.items()):
        at = [(60 + 500 * s / right, 340 - 300 * (w / top) ** 0.5) for s, _, w in curve]
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in at)
        marks.append(f'<polyline fill="none" stroke="{COLOURS[name]}" stroke-width="2" points="{points}"/>')
        marks += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{COLOURS[name]}"/>' for x, y in at]
        marks.append(f'<text x="400" y="{30 + 18 * row}" fill="{COLOURS[name]}">{name}</text>')
    axes = (
        '<path d="M60 30V340H570" fill="none" stroke="#333"/>'
        f'<text x="300" y="375">median seconds to settled (right end: {right:.2f})</text>'
        f'<text x="10" y="20">wrong calls per 10,000 additions (top: {top:.0f}, square root)</text>'
    )
    box = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 390" font-family="sans-serif" font-size="13">'
    return f'{box}<rect width="600" height="390" fill="#fff"/>{axes}{"".join(marks)}</svg>\n'


def rows(size: Size) -> Iterator[Row]:
    said = lines(SECONDS[size])
    each_line(said, is_weighed=True)
    floor, ours_s = each_line(said, is_weighed=False), each_line(said, is_weighed=True)
    yield Row(
        "bytes -> Weight, median",
        figure=median(ours_s) * 1e6,
        unit="us/line",
        floor=median(floor) * 1e6,
        floor_is="bytes -> Reading alone",
        figure_at_most=25.0,
    )
    yield Row("bytes -> Weight, mean", sum(ours_s) / len(ours_s) * 1e6, "us/line", figure_at_most=25.0)
    yield Row("Reading -> Weight, by callgrind", instructions(SECONDS[size] / 3), "instructions")
    curves = against_time(size)
    SEEN.mkdir(exist_ok=True)
    (SEEN / "weighing-wrong-against-time.svg").write_text(drawn(curves), encoding="utf-8")
    for name, curve in curves.items():
        for patience_s, point in zip(PATIENCE_S, curve, strict=True):
            note = f"settled: median {point.median_s:.2f} s, 95 % {point.most_s:.2f} s"
            yield Row(f"wrong, {name}, {patience_s} s more patience", point.wrong, "in 10,000", note=note)


if __name__ == "__main__":
    print(weigh_alone(float(sys.argv[1])))
