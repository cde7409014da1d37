"""Unplugged and killed at random moments while a cook works: it goes on where it was, and nothing is lost or doubled.

CI runs a few of each; the full size is

    SCALED_UNPLUGS=50 SCALED_KILLS=100 python -m pytest tests/daemon/test_daemon_survives.py -s
"""

from __future__ import annotations

import os
from statistics import median

from daemon_cook import Bakery
from daemon_process import Place

from scaled.simulator.pseudo_terminal import PtyScale

UNPLUGS = int(os.environ.get("SCALED_UNPLUGS", "3"))
KILLS = int(os.environ.get("SCALED_KILLS", "3"))
SEED = int(os.environ.get("SCALED_SEED", "20261124"))
PATIENCE_S = 60.0  # of a machine that is busy with something else; what it really took is told


def bake_for(bakery: Bakery, seconds: float) -> None:
    """Cook for a while, beginning another batch where one is complete."""
    end_at = bakery.clock.monotonic() + seconds
    while bakery.clock.monotonic() < end_at:
        if bakery.is_between_batches:
            bakery.begin()
        bakery.bake(lambda: bakery.clock.monotonic() >= end_at or bakery.is_between_batches, seconds + PATIENCE_S)


def seconds(taken: list[float]) -> str:
    return f"{median(taken):.2f} s (median), {max(taken):.2f} s at most"


def test_unplugged_at_random_moments(place: Place, scale: PtyScale) -> None:
    """The same process goes on, the scale is back within 2 s (median), every mass is the simulator's."""
    bakery = Bakery(scale, SEED)
    took = []
    with place.run() as running:
        bakery.running = running.until_ready()
        running.until(lambda s: s["weight"], "the scale")
        for _ in range(UNPLUGS):
            bake_for(bakery, bakery.source.uniform(0.5, 6.0))
            scale.unplug()
            away_until = bakery.clock.monotonic() + bakery.source.uniform(0.1, 4.0)
            bakery.bake(lambda at=away_until: bakery.clock.monotonic() >= at, PATIENCE_S)
            scale.replug()
            back_at = bakery.clock.monotonic()
            seq = running.status["seq"]
            running.until(
                lambda s, seq=seq: s["scale"]["state"] == "ready" and s["seq"] > seq, "the scale is back", PATIENCE_S
            )
            took.append(bakery.clock.monotonic() - back_at)
        bakery.bake(lambda: bakery.is_between_batches, 5 * PATIENCE_S)
        metrics = running.text("/metrics")
        running.terminated()
    assert "mistake in the program" not in running.log.read_text()
    assert "scaled_mistakes_total 0" in metrics
    print(f"{UNPLUGS} unplugs, {len(bakery.baked)} batches: back in {seconds(took)}")
    assert median(took) <= 2.0
    bakery.assert_recorded(place)


def test_killed_at_random_moments(place: Place, scale: PtyScale) -> None:
    """Each time the first Snapshot of the next daemon has the same batch, and all that was said to be in is in."""
    bakery = Bakery(scale, SEED)
    ready = []
    for _ in range(KILLS + 1):
        with place.run() as running:
            bakery.running = running
            bakery.bake(running.heard, PATIENCE_S)
            ready.append(bakery.clock.monotonic() - running.started_at)
            if bakery.status is not None and bakery.status["batch"] is not None:
                before, now = bakery.status, running.status
                assert now["batch"] is not None or before["batch"]["state"] == "complete"
                if now["batch"] is not None:
                    assert now["batch"]["id"] == before["batch"]["id"]
                    assert now["done"][: len(before["done"])] == before["done"]
            if len(ready) <= KILLS:
                bake_for(bakery, bakery.source.uniform(0.3, 6.0))
                running.kill()
            else:
                bakery.bake(lambda: bakery.is_between_batches, 5 * PATIENCE_S)
                running.terminated()
        assert "mistake in the program" not in running.log.read_text()
    print(f"{KILLS} kills, {len(bakery.baked)} batches: ready in {seconds(ready)}")
    bakery.assert_recorded(place)
