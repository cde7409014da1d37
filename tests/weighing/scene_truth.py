"""A scene: what a scale said of all that was done to its plate, and what a perfect observer would have seen.

A scene is played on the product's own simulated scale. Its truth is played a second time on the same scale without
noise, creep or rounding and read 100 times a second: that is the scale's true response. What changes by less than half
a division nobody can see; so a load rests from when it is within that of where it stays.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass, replace

from scene_plate import Added, Plate

from scaled.simulator.parameters import ScaleParameters
from scaled.weighing import Reading

TRUE_HZ = 100.0
LINGERS_S = 3.0


@dataclass(frozen=True)
class Scene:
    """The readings, and the truth in grams over time."""

    parameters: ScaleParameters
    seed: int
    readings: tuple[Reading, ...]
    added: tuple[Added, ...]
    load_at: tuple[float, ...]
    load_g: tuple[float, ...]
    response_mg: tuple[int, ...]
    end: float

    @property
    def half_g(self) -> float:
        return self.parameters.division_mg / 2000

    def load(self, at: float) -> float:
        """Grams truly on the plate at a time."""
        return self.load_g[max(0, bisect.bisect_right(self.load_at, at) - 1)]

    def response(self, at: float) -> float:
        """The true response in grams, before noise and rounding."""
        return self.response_mg[min(len(self.response_mg) - 1, max(0, int(at * TRUE_HZ)))] / 1000

    def rests_from(self, at: float, room_g: float | None = None) -> float:
        """Since when the load has been within half a division (or `room_g`) of what it is at a time."""
        room_g = self.half_g if room_g is None else room_g
        index = bisect.bisect_right(self.load_at, at + 1e-9) - 1
        level_g = self.load_g[index]
        while index > 0 and abs(self.load_g[index - 1] - level_g) <= room_g:
            index -= 1
        return self.load_at[index]


def play(plate: Plate, parameters: ScaleParameters, seed: int, *, is_truth_wanted: bool = True) -> Scene:
    """Let the scale weigh what was put on the plate; without the truth only readings and load are there."""
    end = plate.at + LINGERS_S
    digit_mg = 10 ** int(math.log10(parameters.division_mg))  # a line shows its last digit, not its division
    told = plate.weighed_by(parameters, seed).readings_to(end)
    readings = tuple(reading._replace(shown_division_mg=digit_mg) for reading in told)
    level_g, load_at, load_g = 0.0, [0.0], [0.0]
    for at, mass_g in sorted(plate.masses):
        level_g += mass_g
        load_at.append(at)
        load_g.append(level_g)
    response = _true_response(plate, parameters, seed, end) if is_truth_wanted else ()
    scene = Scene(parameters, seed, readings, tuple(plate.added), tuple(load_at), tuple(load_g), response, end)
    for one, following in zip(plate.added, [*plate.added[1:], None], strict=True) if is_truth_wanted else ():
        one.next_at = following.start if following else end
        one.end = max(one.start, scene.rests_from(one.end))
        one.inside_at = _inside_at(scene, one)
    return scene


def _true_response(plate: Plate, parameters: ScaleParameters, seed: int, end: float) -> tuple[int, ...]:
    perfect = replace(
        parameters,
        division_mg=1,
        updates_per_s=TRUE_HZ,
        lines_per_s=TRUE_HZ,
        noise_d=0.0,
        creep_d=0.0,
        mixer_g=0.0,
        blips_per_min=0.0,
        wild_per_1000=0.0,
        zero_tracking_d_s=0.0,
        shows_negatives=True,
    )
    return tuple(r.value_mg or 0 for r in plate.weighed_by(perfect, seed, with_keys=False).readings_to(end))


def _inside_at(scene: Scene, one: Added) -> float:
    """From when the true response stays within half a division of the end of an addition."""
    half_mg, final_mg, response = scene.half_g * 1000, one.after_g * 1000, scene.response_mg
    index = min(int(one.next_at * TRUE_HZ), len(response)) - 1
    while index > one.end * TRUE_HZ and abs(response[index] - final_mg) <= half_mg:
        index -= 1
    return max(one.end, (index + 1) / TRUE_HZ)
