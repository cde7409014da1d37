"""A doubt that stands: how the weight itself settles it, and what one yes to it means.

About the zero first: while that may be another, nothing can be said of the load. Lifted and put back the vessel settles
it, whatever the zero is.
"""

from __future__ import annotations

from scaled.batch import events as e
from scaled.batch.batch import Batch
from scaled.batch.bench import VESSEL_RESTS_S, Bench, is_below_vessel, noticed_mg, rested_s, shows_the_plate
from scaled.batch.comparing import expected_mg, fits, is_believed, is_the_plate, moved_by_the_scale, zero_found
from scaled.batch.outcome import Events, Outcome, Refusal
from scaled.weighing.values import Rest


def watch_the_doubt(batch: Batch, bench: Bench) -> Events:
    """What the present weight makes of a doubt: the vessel itself may settle it."""
    doubted, rest = batch.doubted, bench.rest
    if doubted is None or rest is None:
        return ()
    moved = moved_by_the_scale(batch, bench)
    if moved and doubted.doubt != "zero lost":
        return moved
    settled = e.DoubtSettled(bench.at, doubted.doubt)
    if is_the_plate(batch, bench, rest):
        return (*zero_found(batch, bench, rest), settled)
    if doubted.doubt == "load heavier":
        return (settled,) if rest.mass_mg < doubted.gross_mg / 2 else ()
    if doubted.doubt == "zero lost":
        return _where_the_zero_is(batch, bench, rest)
    if bench.must_check != "zero":
        return (settled,) if fits(batch, bench, rest.mass_mg) else ()
    if rested_s(bench) < VESSEL_RESTS_S:
        return ()
    if is_believed(batch, bench, rest):
        return (settled,)
    return (e.DoubtRaised(bench.at, "zero lost", rest.mass_mg),)  # nothing can be said of the load before the zero


def _where_the_zero_is(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """Found by what shows itself: the empty plate, or the vessel on a scale that was switched on with nothing on it."""
    if batch.plate_mg is None:
        return ()
    settled = e.DoubtSettled(bench.at, "zero lost")
    if shows_the_plate(batch, rest.mass_mg):
        return (settled,)
    if not is_believed(batch, bench, rest, -batch.plate_mg):
        return ()
    if batch.plate_mg == 0:
        return (settled,)
    return (e.ReferenceMoved(bench.at, -batch.plate_mg, "zero at switch-on"), settled)


def settle_the_doubt(batch: Batch, bench: Bench) -> Outcome:
    """Yes: what stands there is right as it is; a refusal where that cannot be said now."""
    doubted, rest = batch.doubted, bench.rest
    if doubted is None or rest is None:
        return Refusal("the weight is not at rest: wait until it is, then say yes")
    settled = e.DoubtSettled(bench.at, doubted.doubt)
    change = rest.mass_mg - expected_mg(batch, bench)
    match doubted.doubt:
        case "load heavier":
            return (settled, e.VesselTared(bench.at, rest.mass_mg))
        case "zero lost" if batch.emptying is not None:
            return Refusal("lift the vessel off and put it back, empty: only that tells what is in it")
        case "zero lost":
            if batch.plate_mg is None and fits(batch, bench, rest.mass_mg) and abs(rest.mass_mg) > noticed_mg(batch):
                return (settled,)  # a scale that was off would show 0: it was only silent
            return (e.ReferenceMoved(bench.at, change, "zero at switch-on"), settled)
    if bench.must_check == "zero":
        return Refusal("the scale was away: wait until the weight is at rest, then look again")
    if is_below_vessel(batch, rest.mass_mg):
        return Refusal("the vessel is not on the scale: put it back first")
    return _as_it_came_back(batch, bench, rest, change) or (settled,)


def _as_it_came_back(batch: Batch, bench: Bench, rest: Rest, change_mg: int) -> Events:
    """What a changed load means once it is right as it is; nothing where it is of what is open."""
    if change_mg > 0 or batch.net_mg(rest.mass_mg) >= 0:
        return ()
    last = batch.confirmed
    if last is not None and not batch.closed and batch.content(last.key).in_mg + change_mg > 0:
        return (e.AdditionAmended(bench.at, last.key, change_mg, rest.mass_mg),)
    return e.ReferenceMoved(bench.at, change_mg, "vessel back"), e.DoubtSettled(bench.at, "load changed")
