"""How much a batch may come to: what the scale takes, and what the bowl holds by the ingredients' densities.

A bowl is known by its empty weight when it is tared; how full it may be and what a batch takes up in it is
`formula.volume`'s. Where densities are not known for nearly all of it nothing is said of the volume.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.batch.batch import Batch, once_a_batch
from scaled.batch.events import BenchFacts
from scaled.formula.volume import USUAL_FILL, in_the_bowl, mg_per_ml

VESSEL_SHARE = Fraction(5, 1000)  # a bowl with what clings to it may weigh so much more than empty


def vessel_of(facts: BenchFacts, gross_mg: int) -> str | None:
    """The name of the vessel that weighs this much when it is empty, the nearest of those; None: none of them does."""
    slack_mg = 2 * facts.division_mg
    near = [
        (abs(empty - gross_mg), name)
        for name, empty in facts.vessels_mg
        if abs(empty - gross_mg) <= max(Fraction(slack_mg), VESSEL_SHARE * empty)
    ]
    return min(near)[1] if near else None


def capacity_mg(batch: Batch) -> Fraction | None:
    """What all that is weighed may come to, by the scale and by the bowl; None where neither limits it.

    A bowl that is fuller than it should be is no reason to refuse what was planned, only to add to it.
    """
    limits = []
    scale = scale_room_mg(batch)
    if scale is not None:
        limits.append(scale)
    bowl = bowl_room_mg(batch)
    if bowl is not None:
        limits.append(max(bowl, _as_it_goes_mg(batch)))
    return min(limits) if limits else None


def scale_room_mg(batch: Batch) -> Fraction | None:
    """What the scale takes beside the vessel; None where its capacity is not known or nothing shares a vessel."""
    if batch.facts.capacity_mg is None or batch.formula.vessel == "separate tubs":
        return None
    return Fraction(max(0, batch.facts.capacity_mg - (batch.vessel_mg or 0)))


@once_a_batch
def bowl_room_mg(batch: Batch) -> Fraction | None:
    """How much of this batch the bowl on the scale takes; None where its volume or the densities are not known."""
    holds_ml = dict(batch.facts.holds_ml).get(batch.vessel or "")
    if holds_ml is None or batch.needs_a_tub or batch.formula.vessel == "separate tubs":
        return None
    density = mg_per_ml(in_the_bowl(batch.formula))
    return None if density is None else holds_ml * USUAL_FILL * density


def too_much_for_the_bowl(batch: Batch) -> tuple[Fraction, Fraction] | None:
    """The mass of the batch and what the bowl takes of it, where that is less and nothing is in yet; mg."""
    room = bowl_room_mg(batch) if batch.is_open and batch.last_in is None else None
    if room is None:
        return None
    planned = sum((batch.target_mg(addition) for addition in in_the_bowl(batch.formula)), Fraction(0))
    return (planned, room) if planned > room else None


def _as_it_goes_mg(batch: Batch) -> Fraction:
    """What it comes to if everything goes on as it is."""
    total = Fraction(0)
    for addition in batch.formula.weighed:
        content = batch.content(addition.key)
        total += content.in_mg if content.is_in else batch.target_mg(addition)
    return total
