"""Scenes drawn uniformly over all that real scales and cooks were seen to be, and the histogram of what was drawn.

The seeds come from the commit that is tested, so that nothing can be tuned to them: each commit meets scenes that
nobody has seen. SCALED_SEED takes others (or the same again).
"""

from __future__ import annotations

import os
import random
import subprocess
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, replace
from pathlib import Path

from scene_plate import Plate
from scene_pours import KINDS, addition
from scene_truth import Scene, play

from scaled.simulator.parameters import LOUD_D, QUIET_D, ScaleParameters, draw_parameters

ADDITIONS = 6  # after the bowl itself, which a hand sets down
BINS = 5
TOLERANCES = (0.005, 0.1)  # either way, of what is added: flour by the half percent, spice by ten; at least 1 d
DIVISIONS_MG = (100, 200, 500, 1000)  # of bench scales up to 6 kg (common practice)


def first_seed() -> int:
    """SCALED_SEED, else what the commit's hash begins with."""
    if given := os.environ.get("SCALED_SEED"):
        return int(given)
    asked = ["git", "rev-parse", "HEAD"]
    there = Path(__file__).parent
    return int(subprocess.run(asked, cwd=there, capture_output=True, text=True, check=True).stdout[:8], 16)


def seeds(count: int, what: str) -> Iterator[int]:
    """So many seeds for scenes of one sort."""
    source = random.Random(f"{first_seed()} {what}")
    for _ in range(count):
        yield source.randrange(2**31)


def scale_drawn(source: random.Random, *, is_loud: bool = False, has_mixer: bool = False) -> ScaleParameters:
    """Any scale of 5 to 18 results a second whose line keeps up with them, each result sent three times.

    Where lines are slower than results (3 a second were seen) no weight can be known within 0.6 s.
    """
    while True:
        drawn = draw_parameters(source, noise_d=LOUD_D if is_loud else QUIET_D, mixer=has_mixer)
        if drawn.updates_per_s >= 5 and drawn.lines_per_s >= drawn.updates_per_s:
            return replace(drawn, division_mg=source.choice(DIVISIONS_MG))


def session(seed: int, *, is_loud: bool = False) -> Scene:
    """A bowl set down on an empty plate, then additions of any kind with rests of 3 to 5 s between."""
    source = random.Random(seed)
    parameters = scale_drawn(source, is_loud=is_loud)
    plate = Plate(source, parameters.division_mg / 1000, at=source.uniform(1.5, 3))
    addition(plate, "hand", has_finale=0)
    for _ in range(ADDITIONS):
        plate.wait(source.uniform(3, 5))
        addition(plate, source.choice(list(KINDS)))
    plate.wait(1.0)
    _ask_for_bands(plate, seed)
    return play(plate, parameters, seed)


def _ask_for_bands(plate: Plate, seed: int) -> None:
    """Of any width that tolerances have; what was added lies anywhere in the upper two thirds of it."""
    source = random.Random(f"{seed} bands")
    for one in plate.added:
        width_g = 2 * max(plate.d_g, source.uniform(*TOLERANCES) * abs(one.after_g - one.before_g))
        low_g = one.after_g - source.uniform(1 / 3, 1) * width_g
        one.band_g = (low_g, low_g + width_g)


def histogram(scales: Sequence[ScaleParameters], others: dict[str, Sequence[float]]) -> str:
    """What was drawn, five bins a figure, so that a kind draw would be seen."""
    rows: dict[str, Sequence[object]] = {f.name: [getattr(p, f.name) for p in scales] for f in fields(ScaleParameters)}
    rows["repeats"] = [p.repeats for p in scales]
    return "\n".join(_binned(name, values) for name, values in {**rows, **others}.items())


def _binned(name: str, values: Iterable[object]) -> str:
    numbers = [v for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
    if not numbers:
        return f"  {name}: {dict(Counter(map(str, values)))}"
    low, high = min(numbers), max(numbers)
    if low == high:
        return f"  {name}: {low:g}, {len(numbers)} times"
    counted = Counter(min(BINS - 1, int((v - low) / (high - low) * BINS)) for v in numbers)
    return f"  {name}: {low:.3g} to {high:.3g}: {[counted[index] for index in range(BINS)]}"
