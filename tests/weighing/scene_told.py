"""What was told of a script, held against what was done: what is booked wrongly, and what only has a wrong name.

Booked are additions and removals: those are what a batch counts as its ingredients. A tool is first told as an
addition and taken back when it is lifted, as it must be: nobody knows it before.

Two things nobody can know from the weight, and they are counted apart. What was added and soon as much taken out again
looks like a tool that was laid down and lifted. What is taken out or added while the plate still swings from a push,
and is no more than a push may leave behind, looks like that push.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from scene_script import Did
from scene_truth import Scene

from scaled.weighing import Happening, Weight

BOOKED = ("addition", "removal")
EARLY_S, LATE_S = 0.6, 1.0
TOOL_AGAIN_S = 31.0  # half a minute, and what is told late of it
STRAY_S = 0.8  # after a push the value still swings for so long
TOOL_ROOM_MG, TOOL_ROOM = 200, 0.01  # as much again: two divisions, or so much of it
LEFT_BY_A_PUSH = 0.02  # of the push (a press is what returns to within that)


def as_told(happened: Iterable[Happening]) -> list[Happening]:
    """As one tells it afterwards: without the additions that turned out to be tools, and without drift."""
    every = list(happened)
    tools = [h for h in every if h.what == "tool"]
    return [
        h
        for h in every
        if h.what != "drift" and not (h.what == "addition" and any(t.from_at == h.from_at for t in tools))
    ]


def _overlap(one: Did, h: Happening) -> bool:
    return one.from_at - EARLY_S <= h.to_at and h.from_at <= one.to_at + LATE_S


def _fits(one: Did, h: Happening, slack_mg: float) -> bool:
    is_as_much = one.change_g is None or abs(h.change_mg - one.change_g * 1000) <= slack_mg
    return h.what == one.what and _overlap(one, h) and is_as_much


def _is_part(one: Did, h: Happening) -> bool:
    return h.what == one.what and h.what in BOOKED and _overlap(one, h)


def _is_seen(one: Did, scene: Scene) -> bool:
    """Whether at least two results of the scale showed a push or a knock."""
    shown = [r.value_mg or 0 for r in scene.readings if one.from_at - 0.3 <= r.at <= one.to_at + 0.3]
    least = 36_000 if one.what == "press" else 720
    return len({v for v in shown if abs(v - shown[0]) > least}) >= 2


def _looks_like_a_tool(one: Did, did: Sequence[Did]) -> bool:
    """Whether it was put in and as much taken out shortly after, or is what was then taken out."""
    return one.what in BOOKED and any(
        other.what in BOOKED
        and abs(other.from_at - one.from_at) <= TOOL_AGAIN_S
        and (other.change_g or 0) * (one.change_g or 0) < 0 < (other.from_at - one.from_at) * (one.change_g or 0)
        and abs((other.change_g or 0) + (one.change_g or 0)) * 1000
        <= max(TOOL_ROOM_MG, TOOL_ROOM * abs(one.change_g or 0) * 1000)
        for other in did
    )


def _tool_over(one: Did, happened: Iterable[Happening]) -> Happening | None:
    return next((h for h in happened if h.what == "tool" and _overlap(one, h)), None)


def _is_in_a_push(one: Did, did: Sequence[Did], scene: Scene) -> bool:
    """Whether a push had not died away yet and could have left as much behind."""
    p = scene.parameters
    return one.what in BOOKED and any(
        push.what == "press"
        and push.to_at < one.from_at
        and push.peak_g * math.exp(-p.damping * p.natural_frequency_rad_s * (one.from_at - push.to_at))
        > 2 * scene.half_g
        and abs(one.change_g or 0) <= LEFT_BY_A_PUSH * push.peak_g
        for push in did
    )


@dataclass
class Unlike:
    """What was told otherwise than it was done: booked wrongly, named wrongly, and what nobody could have known."""

    booked: list[str] = field(default_factory=list)
    named: list[str] = field(default_factory=list)
    unknowable: list[str] = field(default_factory=list)


def unlike(did: Sequence[Did], happened: Iterable[Happening], scene: Scene) -> Unlike:
    """What was booked to a wrong ingredient or with a wrong mass, and what else was told wrongly or not at all."""
    left = as_told(happened)
    found, excused = Unlike(), []
    for one in did:
        slack_mg = max(3 * scene.parameters.division_mg, 0.003 * abs(one.change_g or 0) * 1000)
        parts = [h for h in left if _is_part(one, h)]
        fitting = next((h for h in left if _fits(one, h, slack_mg)), None)
        if len(parts) > 1 and abs(sum(h.change_mg for h in parts) - (one.change_g or 0) * 1000) <= slack_mg:
            found.named.append(f"{one} was told in {len(parts)} parts")
            left = [h for h in left if h not in parts]
        elif fitting is not None:
            left.remove(fitting)
        elif _looks_like_a_tool(one, did) and (tool := _tool_over(one, left)):
            found.unknowable.append(f"{one} was told as a tool")
            excused.append(tool)
        elif _is_in_a_push(one, did, scene):
            found.unknowable.append(f"{one} was told as what a push left behind")
        elif one.what != "drift" and (one.what not in ("bump", "press") or _is_seen(one, scene)):
            (found.booked if one.what in BOOKED else found.named).append(f"{one} was not told")
    for h in left:
        if h not in excused:
            (found.booked if h.what in BOOKED else found.named).append(f"{h} was not done")
    return found


def pushes_taken(did: Sequence[Did], weights: Sequence[Weight], scene: Scene, confirm_s: float) -> tuple[int, int, int]:
    """How many pushes there were, and how many were taken for a settled weight and for a finished one."""
    pushed = [one for one in did if one.what == "press"]
    settled = finished = 0
    for one in pushed:
        wrong = [
            w
            for w in weights
            if one.from_at <= w.at <= one.to_at + STRAY_S
            and w.rest is not None
            and w.rest.known_at > one.from_at
            and not _is_of_the_plate(w, did, scene)
        ]
        settled += bool(wrong)
        finished += any(w.rest is not None and w.at >= w.rest.since + confirm_s for w in wrong)
    return len(pushed), settled, finished


def _is_of_the_plate(weight: Weight, did: Sequence[Did], scene: Scene) -> bool:
    """Whether a rest is what lies on the plate, net of the scale's tare key."""
    if weight.rest is None or any(one.what == "re-zeroed" and one.from_at <= weight.at for one in did):
        return True  # after the tare key what is shown is the tare's matter
    return abs(weight.rest.mass_mg - scene.load(weight.at) * 1000) <= max(
        3 * scene.parameters.division_mg, 5 * weight.rest.u_mg
    )
