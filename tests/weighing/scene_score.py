"""How right, how soon: what a weigher says, held against the truth of a scene.

A rest is right when its mass is what is really on the plate, within max(1 d, 5 u). A load that changed so shortly
before that the scale's true response had hardly left the mass told cannot be known by anybody: such calls are counted
apart ("not seen yet"). A rest that still stands a second after the load left it is wrong too.

An addition is finished at the first line at which a rest that belongs to it has lasted `CONFIRM_S` in the band; in the
lowest third of the band `LOW_S` longer, and that is not counted. It is ended in a pause where more than a division was
still to come although the plate had not really rested that long at any time of that rest; less than a division nobody
can surely see, so what comes by less does not end a rest there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from scene_controls import See
from scene_plate import Added
from scene_truth import Scene

from scaled.weighing import Rest

CONFIRM_S, LOW_S = 1.0, 1.5
STALE_S = 1.0
LOOK_BACK_S = 1.0
STILL_S = 0.2
UNSEEN_D = 1.5
FAST_RAD_S, FAST_UPDATES = 10, 9
SURELY_OVER_S = 2.0  # what has not been called finished by then never was


@dataclass
class Outcome:
    """What came of one addition; seconds are None where it did not come to that."""

    seed: int
    one: Added
    wrong: list[str] = field(default_factory=list)
    unseen: int = 0
    calls: int = 0
    errors_u: list[float] = field(default_factory=list)  # of each call, in its own u
    settled_s: float | None = None
    finished_s: float | None = None
    in_a_pause_at: float | None = None
    rested_between: bool = False  # the plate really rested for CONFIRM_S, and then more came
    is_outside: bool = False  # what is shown at last lies just outside the band: nothing ends there
    overtaken: int = 0  # finished after the last grain had landed, before it could be seen
    is_fast: bool = False

    @property
    def may_finish(self) -> bool:
        """Whether it was not called finished before its end, rightly or wrongly, and is shown in its band."""
        return self.in_a_pause_at is None and not self.rested_between and not self.is_outside


Standing = list[tuple[float, Rest | None]]


def outcomes(scene: Scene, see: See) -> list[Outcome]:
    """Run one weigher over a scene: what came of each addition."""
    standing: Standing = [(reading.at, see(reading)) for reading in scene.readings]
    p = scene.parameters
    is_fast = p.natural_frequency_rad_s >= FAST_RAD_S and p.updates_per_s >= FAST_UPDATES
    found = [Outcome(scene.seed, one, is_fast=is_fast) for one in scene.added]
    _judge_calls(scene, standing, found)
    for outcome in found:
        _time_settled(scene, standing, outcome)
        _time_finished(scene, standing, outcome)
    return found


def _judge_calls(scene: Scene, standing: Standing, found: list[Outcome]) -> None:
    known: float | None = None
    off_since: float | None = None
    index = -1
    for at, rest in standing:
        while index + 1 < len(found) and found[index + 1].one.start <= at:
            index += 1
        if rest is None or index < 0:
            off_since = None
            continue
        into = found[index]
        error_mg = rest.mass_mg - scene.load(at) * 1000
        is_right = abs(error_mg) <= _slack(scene, rest)
        if rest.known_at != known:
            known, off_since = rest.known_at, None
            into.calls += 1
            is_unseen = not is_right and _is_unseen(scene, at, rest)
            into.unseen += is_unseen
            if rest.u_mg and not is_unseen:
                into.errors_u.append(error_mg / rest.u_mg)
            if not is_right and not is_unseen:
                into.wrong.append(f"{at:.3f} s: {rest.mass_mg} mg, off by {error_mg:.0f}")
        if is_right:
            off_since = None
        elif off_since is None:
            off_since = at
        elif at - off_since > STALE_S:
            into.wrong.append(f"{at:.3f} s: {rest.mass_mg} mg still stands, off by {error_mg:.0f}")
            off_since = math.inf


def _slack(scene: Scene, rest: Rest) -> float:
    return max(scene.parameters.division_mg, 5 * rest.u_mg)


def _is_unseen(scene: Scene, at: float, rest: Rest) -> bool:
    """Whether the load lay still at the mass told until so shortly before that no result could show the change.

    That is, the true response had by the last result moved by less than a division and a half since the load left:
    rounding and noise move what is shown as far. A stream that flows on is no such excuse.
    """
    slack, d_g = _slack(scene, rest), 2 * scene.half_g
    updates_per_s = scene.parameters.updates_per_s
    result_at = math.floor(at * updates_per_s + 1e-6) / updates_per_s
    shown_g = scene.response(result_at)
    age = 0.0
    while age < LOOK_BACK_S:
        then = result_at - age
        if abs(scene.response(then) - shown_g) > UNSEEN_D * d_g:
            return False
        if abs(rest.mass_mg - scene.load(then) * 1000) <= slack and then - scene.rests_from(then) >= STILL_S:
            return True
        age += 0.01
    return False


def _is_right(scene: Scene, one: Added, rest: Rest) -> bool:
    return abs(rest.mass_mg - one.after_g * 1000) <= _slack(scene, rest)


def _time_settled(scene: Scene, standing: Standing, outcome: Outcome) -> None:
    one = outcome.one
    for at, rest in standing:
        if one.inside_at <= at < one.next_at and rest is not None and _is_right(scene, one, rest):
            outcome.settled_s = at - one.inside_at
            return


def _has_rested(scene: Scene, since: float, at: float) -> bool:
    """Whether the plate really rested for `CONFIRM_S` at a time of that rest, be it that more is coming on by now."""
    times = (since + 0.01 * k for k in range(round((at - since) * 100) + 1))
    return any(then - scene.rests_from(then, 2 * scene.half_g) >= CONFIRM_S for then in times)


def _time_finished(scene: Scene, standing: Standing, outcome: Outcome) -> None:
    one, d_g = outcome.one, scene.parameters.division_mg / 1000
    low_g, high_g = one.band_g
    was_low = False
    for at, rest in standing:
        if at >= one.next_at:
            return
        if at < one.start or rest is None or rest.since < one.start - 0.5:
            continue
        shown_g = round(rest.mass_mg / 1000 / d_g) * d_g
        outcome.is_outside = at >= one.end and not low_g <= shown_g <= high_g
        if at < rest.since + CONFIRM_S or not low_g <= shown_g <= high_g:
            continue
        is_low = shown_g < low_g + (high_g - low_g) / 3
        was_low |= is_low
        if is_low and at < rest.since + CONFIRM_S + LOW_S:
            continue
        if at < one.end and abs(one.after_g - scene.load(at)) > d_g:
            is_of_before = abs(rest.mass_mg / 1000 - one.before_g) <= 2 * d_g
            if rest.since < one.start and is_of_before:
                continue
            outcome.rested_between = _has_rested(scene, rest.since, at)
            if not outcome.rested_between:
                outcome.in_a_pause_at = at
            return
        if _is_right(scene, one, rest):
            outcome.finished_s = at - one.end - LOW_S * was_low
            return
        outcome.overtaken = 1
