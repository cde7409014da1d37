"""A mixer on the same bench, so close to the scale's own rate that its swing cannot be told from the weight."""

from __future__ import annotations

import math

from batch_plate import Plate

from scaled.batch.view import SHAKEN

SWING_G, SWING_S = 2.0, 3.0


def shaken(plate: Plate, seconds: float) -> Plate:
    for step in range(round(seconds * 10)):
        plate.reading(plate.load_g + SWING_G * math.sin(2 * math.pi * step / 10 / SWING_S))
    return plate


def test_that_the_weight_cannot_be_told_is_said_and_nothing_is_booked(plate: Plate) -> None:
    shaken(plate.set_bowl().add(120), 15)
    assert plate.snapshot.cautions[0] == SHAKEN
    assert plate.phase in ("adding", "settling", "under")
    assert plate.in_g("oat flour") == 0
    plate.rest(6)
    assert SHAKEN not in plate.snapshot.cautions
    plate.add(120)
    assert plate.in_g("oat flour") == 240


def test_a_steady_pour_is_no_shaking(plate: Plate) -> None:
    plate.set_bowl()
    for _ in range(8):
        plate.add(25, 0.0)
        assert SHAKEN not in plate.snapshot.cautions
