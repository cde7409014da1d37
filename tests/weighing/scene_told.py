"""What was told of a script, held against what was done: what is booked wrongly, and what only has a wrong name.

Booked are additions and removals: those are what a batch counts as its ingredients. A tool is first told as an
addition and taken back when it is lifted, as it must be: nobody knows it before.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from scene_script import Did
from scene_truth import Scene

from scaled.weighing import Happening, Weight

BOOKED = ("addition", "removal")
EARLY_S, LATE_S = 0.6, 1.0
TOOL_AGAIN_S = 30.0
STRAY_S = 0.8  # after a push the value still swings for so long


def as_told(happened: Iterable[Happening]) -> list[Happening]:
    """As one tells it afterwards: without the additions that turned out to be tools, and without drift."""
    every = list(happened)
    tools = [h for h in every if h.what == "tool"]
    return [
        h
        for h in every
        if h.what != "drift"
        and not (h.what == "addition" and any(t.from_at <= h.from_at and h.to_at <= t.to_at for t in tools))
    ]


def _fits(one: Did, h: Happening, slack_mg: float) -> bool:
    is_then = one.from_at - EARLY_S <= h.to_at and h.from_at <= one.to_at + LATE_S
    return (
        h.what == one.what and is_then and (one.change_g is None or abs(h.change_mg - one.change_g * 1000) <= slack_mg)
    )


def _is_part(one: Did, h: Happening) -> bool:
    return (
        h.what == one.what and h.what in BOOKED and one.from_at - EARLY_S <= h.to_at and h.from_at <= one.to_at + LATE_S
    )


def _is_seen(one: Did, scene: Scene) -> bool:
    """Whether at least two results of the scale showed a push or a knock."""
    shown = [r.value_mg or 0 for r in scene.readings if one.from_at - 0.3 <= r.at <= one.to_at + 0.3]
    least = 36_000 if one.what == "press" else 720
    return len({v for v in shown if abs(v - shown[0]) > least}) >= 2


def unlike(did: Sequence[Did], happened: Iterable[Happening], scene: Scene) -> tuple[list[str], list[str]]:
    """What was booked to a wrong ingredient or with a wrong mass, and what else was told wrongly or not at all."""
    left = as_told(happened)
    booked, named = [], []
    for one in did:
        slack_mg = max(3 * scene.parameters.division_mg, 0.003 * abs(one.change_g or 0) * 1000)
        found = next((h for h in left if _fits(one, h, slack_mg)), None)
        parts = [h for h in left if _is_part(one, h)]
        if found is not None:
            left.remove(found)
        elif parts and abs(sum(h.change_mg for h in parts) - (one.change_g or 0) * 1000) <= slack_mg:
            named.append(f"{one} was told in {len(parts)} parts")
            left = [h for h in left if h not in parts]
        elif one.what != "drift" and (one.what not in ("bump", "press") or _is_seen(one, scene)):
            (booked if one.what in BOOKED else named).append(f"{one} was not told")
    for h in left:
        (booked if h.what in BOOKED else named).append(f"{h} was not done")
    return booked, named


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
