"""What happened is told for what it was: pours, lifts, tools, bumps, presses, keys, knocked scoops, in any order.

SCALED_SCRIPTS sets how many scripts of eight steps are played (2,000 for the whole), SCALED_SEED which.
"""

from __future__ import annotations

import os
from collections.abc import Callable

from scene_draw import first_seed, seeds
from scene_gate import most
from scene_script import script
from scene_told import pushes_taken, unlike

from scaled.weighing import Weigher, WeigherSettings

SCRIPTS = int(os.environ.get("SCALED_SCRIPTS", "150"))
CONFIRM_S = 1.0
HELD_BOOKED, HELD_NAMED = 0.002, 0.027  # of the scripts; wanted: 0 (seen: 1 and 36 of 2,000)
HELD_UNKNOWABLE = 0.005  # of the scripts: what nobody can know must stay rare
HELD_SETTLED, HELD_FINISHED = 0.005, 0.001  # of the pushes


def test_nothing_is_booked_to_a_wrong_ingredient(say: Callable[[str], None]) -> None:
    booked, named, unknowable, pushes, settled, finished = [], [], [], 0, 0, 0
    for seed in seeds(SCRIPTS, "scripts"):
        scene, did = script(seed)
        weigher = Weigher(WeigherSettings())
        weights = [weigher.see(reading) for reading in scene.readings]
        happened = [*(h for w in weights for h in w.happened), *weigher.close()]
        assert all(h.from_at <= h.to_at for h in happened)
        found = unlike(did, happened, scene)
        booked += [(seed, found.booked)] if found.booked else []
        named += [(seed, found.named)] if found.named and not found.booked else []
        unknowable += [(seed, found.unknowable)] if found.unknowable else []
        taken = pushes_taken(did, weights, scene, CONFIRM_S)
        pushes, settled, finished = pushes + taken[0], settled + taken[1], finished + taken[2]
    say(
        f"\nseed {first_seed()}, {SCRIPTS} scripts: {len(booked)} with something booked wrongly, "
        f"{len(named)} more with something named wrongly, {len(unknowable)} with what nobody can know; "
        f"{pushes} pushes: {settled} taken for a settled weight, {finished} for a finished one"
    )
    for seed, wrong in [*booked, *named, *unknowable][:12]:
        say(f"  {seed}: {'; '.join(wrong)}")
    assert len(booked) <= most(SCRIPTS, HELD_BOOKED)
    assert len(named) <= most(SCRIPTS, HELD_NAMED)
    assert len(unknowable) <= most(SCRIPTS, HELD_UNKNOWABLE)
    assert settled <= most(pushes, HELD_SETTLED)
    assert finished <= most(pushes, HELD_FINISHED)


def test_a_story_that_is_not_what_was_done_is_caught() -> None:
    """The planted fault: what one script tells is held against what was done in another."""
    (scene, did), (other, _) = (script(seed) for seed in seeds(2, "planted"))
    weigher = Weigher()
    happened = [h for reading in other.readings for h in weigher.see(reading).happened]
    assert unlike(did, happened, scene).booked
