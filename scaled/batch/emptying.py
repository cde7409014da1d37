"""A stage is started again: the vessel is lifted, emptied and put back, and nothing is weighed before it is empty.

It is known by its empty weight, and tared anew with what clings to it. With anything more in it it waits. A lighter
vessel cannot hold what was in and is tared; so is one that is heavier than the full one and was put on just now. Of
what lies between nobody can tell but the cook: one `next` says that it is another vessel, empty. A press is no yes
here, since a vessel that is scraped out on the scale is pressed as well.
"""

from __future__ import annotations

from scaled.batch import events as e
from scaled.batch.batch import Batch
from scaled.batch.bench import VESSEL_RESTS_S, Bench, is_below_vessel, load_threshold_mg, noticed_mg, rested_s
from scaled.batch.capacity import VESSEL_SHARE
from scaled.batch.comparing import LOSS_SHARE, LOSS_SHARE_CLOSED, is_believed
from scaled.batch.outcome import Events, Outcome, Refusal
from scaled.weighing.values import Rest


def emptied(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """A vessel is tared as soon as it is sure to be empty."""
    if batch.vessel_mg is None or rested_s(bench) < VESSEL_RESTS_S:
        return ()
    if bench.must_check == "zero":
        if batch.plate_mg is None:
            return ()  # no lift would tell where the zero is: the cook says when an empty vessel stands there
        if not is_believed(batch, bench, rest):
            return (e.DoubtRaised(bench.at, "zero lost", rest.mass_mg),)
    if is_not_empty(batch, rest.mass_mg):
        return ()
    if rest.mass_mg - batch.vessel_mg <= _full_mg(batch):
        return (_tared(batch, bench, rest),)
    return (heavier_than_any(batch, bench, rest) or (_tared(batch, bench, rest),)) if bench.is_vessel_off else ()


def heavier_than_any(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """A vessel heavier than all that are known: it is asked whether something is in it."""
    heaviest = max((mass for _name, mass in batch.facts.vessels_mg), default=None)
    load_mg = rest.mass_mg - (batch.plate_mg or 0)
    if heaviest is None or load_mg <= heaviest * (1 + LOSS_SHARE) + noticed_mg(batch):
        return ()
    return (e.DoubtRaised(bench.at, "load heavier", rest.mass_mg),)


def said_to_be_empty(batch: Batch, bench: Bench, rest: Rest) -> Outcome:
    """The cook says that an empty vessel stands there; a refusal where that cannot be."""
    plate_mg = batch.plate_mg
    if plate_mg is not None and bench.must_check == "zero":
        return Refusal("the scale was away: wait until the weight is at rest, then look again")
    if plate_mg is not None and rest.mass_mg - plate_mg < load_threshold_mg(batch.facts.division_mg):
        return Refusal("nothing stands on the scale: put the vessel back, empty")
    if bench.must_check != "zero" and is_all_in(batch, rest.mass_mg):
        return Refusal("all of it is still in the vessel: lift it off, empty it and put it back")
    return (_tared(batch, bench, rest),)


def is_all_in(batch: Batch, gross_mg: int) -> bool:
    """The vessel stands there with what is to be thrown away, as it did when that was said."""
    emptying, vessel_mg = batch.emptying, batch.vessel_mg
    if emptying is None or vessel_mg is None:
        return False
    slack_mg = _full_mg(batch) - emptying.mass_mg
    return abs(gross_mg - vessel_mg - emptying.mass_mg) <= slack_mg


def is_not_empty(batch: Batch, gross_mg: int) -> bool:
    """Some or all of what is to be thrown away is in the vessel still."""
    if batch.emptying is None or batch.vessel_mg is None:
        return False
    return _clinging_mg(batch) < gross_mg - batch.vessel_mg <= _full_mg(batch)


def still_in_mg(batch: Batch, bench: Bench) -> int | None:
    """What is still in the vessel by the scale; None while it is off, in motion, or its zero is not known."""
    rest = bench.rest
    if batch.emptying is None or batch.vessel_mg is None or rest is None or bench.must_check == "zero":
        return None
    return None if is_below_vessel(batch, rest.mass_mg) else rest.mass_mg - batch.vessel_mg


def _tared(batch: Batch, bench: Bench, rest: Rest) -> e.Event:
    return e.VesselTared(bench.at, rest.mass_mg, is_known=batch.plate_mg is not None)


def _clinging_mg(batch: Batch) -> float:
    """What an empty vessel may weigh more than it did: as a vessel is known by its weight, and never more than what
    clings to it of what was in."""
    emptying, vessel_mg, plate_mg = batch.emptying, batch.vessel_mg, batch.plate_mg
    if emptying is None or vessel_mg is None:
        return 0.0
    clinging_mg = LOSS_SHARE_CLOSED * emptying.mass_mg
    if plate_mg is not None:
        clinging_mg = min(clinging_mg, float(VESSEL_SHARE * (vessel_mg - plate_mg)))
    return max(noticed_mg(batch), clinging_mg)


def _full_mg(batch: Batch) -> float:
    """The most that the vessel shows beside itself with all still in it."""
    mass_mg = batch.emptying.mass_mg if batch.emptying else 0
    return mass_mg + max(noticed_mg(batch), LOSS_SHARE * mass_mg)
