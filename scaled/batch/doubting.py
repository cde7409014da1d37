"""A doubt that stands: how the weight itself settles it, and what one yes to it means.

About the zero first: while that may be another, nothing can be said of the load. Lifted and put back the vessel settles
it, whatever the zero is.
"""

from __future__ import annotations

from scaled.batch import events as e
from scaled.batch.batch import Batch
from scaled.batch.bench import VESSEL_RESTS_S, Bench, is_below_vessel, rested_s, shows_the_plate
from scaled.batch.comparing import expected_mg, fits, is_the_plate, may_be_zeroed, moved_by_the_scale, zero_found
from scaled.weighing.values import Rest

Events = tuple[e.Event, ...]


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
    if fits(batch, bench, rest.mass_mg) and not may_be_zeroed(batch, bench, rest):
        return (settled,)
    if doubted.doubt == "load changed" and bench.must_check == "zero" and rested_s(bench) >= VESSEL_RESTS_S:
        return (e.DoubtRaised(bench.at, "zero lost", rest.mass_mg),)  # nothing can be said of the load before the zero
    if doubted.doubt != "zero lost" or batch.plate_mg is None:
        return ()
    if shows_the_plate(batch, rest.mass_mg):
        return (settled,)
    if fits(batch, bench, rest.mass_mg + batch.plate_mg):  # it was switched on with nothing on it
        return (e.ReferenceMoved(bench.at, -batch.plate_mg, "zero at switch-on"), settled)
    return ()


def settle_the_doubt(batch: Batch, bench: Bench) -> Events | str:
    """Yes: what stands there is right as it is; or why that cannot be said now."""
    doubted, rest = batch.doubted, bench.rest
    if doubted is None or rest is None:
        return "the weight is not at rest: wait until it is, then say yes"
    settled = e.DoubtSettled(bench.at, doubted.doubt)
    change = rest.mass_mg - expected_mg(batch, bench)
    match doubted.doubt:
        case "load heavier":
            return (settled, e.VesselTared(bench.at, rest.mass_mg))
        case "zero lost":
            return (e.ReferenceMoved(bench.at, change, "zero at switch-on"), settled)
    if bench.must_check == "zero":
        return "the scale was away: wait until the weight is at rest, then look again"
    if is_below_vessel(batch, rest.mass_mg):
        return "the vessel is not on the scale: put it back first"
    return _as_it_came_back(batch, bench, rest, change) or (settled,)


def _as_it_came_back(batch: Batch, bench: Bench, rest: Rest, change_mg: int) -> Events:
    """What a changed load means once it is right as it is; nothing where it is of what is open."""
    if change_mg > 0 and (batch.question is not None or (batch.weighing and batch.weighing.kind == "take out")):
        return ()  # what is more is of the addition that is too much already
    if change_mg < 0 <= batch.net_mg(rest.mass_mg):
        return ()  # what is missing was of the open addition
    last = batch.confirmed
    if last is not None and change_mg < 0 and not batch.closed and batch.content(last.key).in_mg + change_mg > 0:
        return (e.AdditionAmended(bench.at, last.key, change_mg, rest.mass_mg),)
    return e.ReferenceMoved(bench.at, change_mg, "vessel back"), e.DoubtSettled(bench.at, "load changed")
