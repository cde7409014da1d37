"""A mixer on the same bench: 2 to 12 Hz, 0.5 to 5 g, while something is set down."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from scene_draw import scale_drawn
from scene_plate import Plate
from scene_truth import Scene, play

from scaled.weighing import Weigher

DECIDED_S = 2.0
RESTS_S = 5.0
STARTS_AT = 2.0
DIVISION_MG = 100  # amplitudes are masses: on a scale of 1 g most of them would hardly show


@dataclass(frozen=True)
class Shaken:
    """One load under a mixer, `apart_hz` from the nearest multiple of the scale's rate, and what was made of it."""

    seed: int
    apart_hz: float
    wrong: str
    is_decided: bool
    is_said: bool  # that it cannot be told


def mixed(seed: int) -> tuple[Scene, float]:
    """A load put on within half a second, from `STARTS_AT` on, and when it had stopped."""
    source = random.Random(seed)
    drawn = scale_drawn(source, has_mixer=True)
    parameters = replace(drawn, division_mg=DIVISION_MG, wild_per_1000=0.0)
    plate = Plate(source, DIVISION_MG / 1000, at=STARTS_AT)
    plate.stream(source.uniform(50, 800), source.uniform(0.1, 0.5))
    end = plate.at
    plate.wait(RESTS_S)
    return play(plate, parameters, seed, is_truth_wanted=False), end


def shaken(seed: int) -> Shaken:
    """What ours makes of it; decided is counted from when the load itself had stopped and the scale had followed."""
    scene, end = mixed(seed)
    p = scene.parameters
    apart_hz = min(abs(p.mixer_hz - many * p.updates_per_s) for many in range(4))
    followed_s = 5 / (p.damping * p.natural_frequency_rad_s)
    weigher, known_at, wrong, is_decided, is_said = Weigher(), 0.0, "", False, False
    for reading in scene.readings:
        weight = weigher.see(reading)
        is_said |= weight.is_shaken
        if weight.rest is None:
            continue
        error_mg = weight.rest.mass_mg - scene.load(reading.at) * 1000
        slack_mg = max(p.division_mg, 5 * weight.rest.u_mg)
        is_right = abs(error_mg) <= slack_mg or (abs(weight.rest.mass_mg) <= slack_mg and _is_unseen(scene, reading.at))
        is_decided |= is_right and end < reading.at <= end + followed_s + DECIDED_S
        if weight.rest.known_at != known_at:
            known_at = weight.rest.known_at
            wrong = wrong if is_right else f"{reading.at:.2f} s: off by {error_mg:.0f} mg, u {weight.rest.u_mg:.0f} mg"
    return Shaken(seed, apart_hz, wrong, is_decided, is_said)


def _is_unseen(scene: Scene, at: float) -> bool:
    """Whether no more than one result was made since the load began: alone it may be a wild value."""
    updates_per_s = scene.parameters.updates_per_s
    return math.floor(at * updates_per_s) - math.floor(STARTS_AT * updates_per_s) <= 1
