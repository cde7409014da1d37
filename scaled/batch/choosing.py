"""From a running batch to the ways out: what is in as the scale shows it, what can come out, what is to be had.

What came out of a tub of its own goes back; from a shared bowl only the last thing poured can be taken, until the
next has begun or its stage is closed. What was kept out of band on purpose is not asked about again: its band is
widened to hold it. What a rebalancing has changed is weighed to what it asked for, and is not changed a second time.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from scaled.batch.acceptance import is_guarded, shown_mg
from scaled.batch.batch import Batch
from scaled.batch.capacity import capacity_mg
from scaled.formula.advice import Advice, advice, is_left_by_itself
from scaled.formula.balance import water_of_flour
from scaled.formula.correct import correct
from scaled.formula.front import KEEP
from scaled.formula.situation import MOST_UP_UNKEPT, Content, Offer, Situation
from scaled.formula.values import Addition, Side, Tolerance


class WaysOut(NamedTuple):
    """The offers, the recommended one first, what a good cook would say to them, and see `OffersMade.more_water`."""

    offers: tuple[Offer, ...]
    advice: Advice
    more_water: Fraction | None


def ways_out(batch: Batch, net_mg: int) -> WaysOut:
    """The ways out when the open weighing has gained `net_mg` and lies outside its band."""
    stands = situation(batch, net_mg)
    offers = correct(stands).offers
    kept = next(offer for offer in offers if offer.offer == KEEP)
    water = water_of_flour(stands, kept.bowl_mg)
    return WaysOut(offers, advice(batch.formula, stands, offers), None if water is None else round(water, 4))


def is_left(batch: Batch, addition: Addition, net_mg: int) -> bool:
    """Whether the open weighing, of this addition, is so little above its band that it is left without a question.

    Only where the settings say `leave_small: yes`, and never where a guard asks for more than the band.
    """
    if not batch.facts.leaves_small or is_guarded(batch, addition):
        return False
    content = next(c for c in situation(batch, net_mg).contents if c.key == addition.key)
    return is_left_by_itself(content, batch.factor, batch.facts.division_mg)


def situation(batch: Batch, net_mg: int) -> Situation:
    """What the solver is told of the batch with `net_mg` in of the open weighing."""
    weights = [a.weight_mg for a in batch.formula.weighed if a.weight_mg is not None]
    low, high = batch.formula.limits
    return Situation(
        contents=tuple(_content(batch, addition, net_mg) for addition in batch.formula.weighed),
        factor=batch.factor,
        limits=(low * batch.planned, high * batch.planned),
        capacity_mg=capacity_mg(batch),
        pieces=batch.formula.pieces,
        step=Fraction(batch.facts.division_mg) / max(weights),
        most_up=None if batch.formula.keeps else MOST_UP_UNKEPT * batch.planned,
    )


def _content(batch: Batch, addition: Addition, net_mg: int) -> Content:
    weighing = batch.weighing
    is_open = weighing is not None and weighing.key == addition.key
    held = batch.content(addition.key)
    in_mg = shown_mg(max(0, held.in_mg + (net_mg if is_open else 0)), batch.facts.division_mg)
    stage = batch.formula.stage(addition.stage)
    is_closed = addition.stage in batch.closed
    is_short = is_open and in_mg < batch.band_mg(addition)[0]
    is_spent = held.has_run_out or is_short or (is_closed and not stage.is_late)
    return Content(
        _asked(batch, addition, in_mg),
        Fraction(in_mg),
        is_in=held.is_in or is_open,
        out_mg=_can_come_out_mg(batch, addition, in_mg, net_mg if is_open else None),
        more_mg=Fraction(0) if is_spent else None,
    )


def _asked(batch: Batch, addition: Addition, in_mg: int) -> Addition:
    """The addition as this batch asks for it."""
    share, tolerance = batch.share_of(addition), _tolerance(batch, addition, in_mg)
    if tolerance is not addition.tolerance:
        addition = replace(addition, tolerance=tolerance)
    if batch.product_of(addition.key) is not None:  # what it consists of and costs now is not known
        addition = replace(addition, composition=None, price_per_kg=None)
    # Without its composition nothing is rebalanced again: 5 % of what the formula says is the most.
    return addition if share == 1 else replace(addition, weight_mg=addition.target_mg(share), composition=None)


def _tolerance(batch: Batch, addition: Addition, in_mg: int) -> Tolerance | None:
    tolerance = addition.tolerance
    if tolerance is None or not batch.content(addition.key).is_kept:
        return tolerance
    share = Fraction(in_mg) / batch.target_mg(addition) - 1
    target = batch.target_mg(addition)
    if in_mg > tolerance.hi_mg(target):
        return replace(tolerance, over=Side(share, is_relative=True))
    if in_mg < tolerance.lo_mg(target):
        return replace(tolerance, under=Side(-share, is_relative=True))
    return tolerance


def _can_come_out_mg(batch: Batch, addition: Addition, in_mg: int, net_mg: int | None) -> Fraction:
    if addition.stage in batch.closed:
        return Fraction(0)
    if batch.is_in_tubs(addition):
        return Fraction(in_mg)
    if net_mg is None:
        return Fraction(0)
    return min(Fraction(in_mg), max(Fraction(0), Fraction(net_mg))) * addition.share_out
