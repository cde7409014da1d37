"""`apply(batch, event) -> batch`: the only way in which a batch changes. One small function an event.

Applying is total and silent: what was decided has happened. An event that cannot follow (one of another batch, a
first event that starts none) is a programmer's mistake and raises ValueError.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import reduce
from typing import Any

from scaled.batch import events as e
from scaled.batch.answered import is_short, offer_revoked, offer_taken, stage_started_again, vessel_emptied
from scaled.batch.batch import Batch, Confirmed, Content, Doubted, Question, Swap
from scaled.batch.capacity import vessel_of

LONG_AGO = float("-inf")


def apply(batch: Batch | None, event: e.Event) -> Batch:
    """The batch after the event; `batch` None only for `BatchStarted`."""
    if isinstance(event, e.BatchStarted):
        return _started(event)
    if batch is None:
        raise ValueError(f"{type(event).__name__} before any BatchStarted")
    return _CHANGES[type(event)](batch, event)


def fold(events: list[e.Event]) -> Batch:
    """The batch that these events make, the first of them a `BatchStarted`."""
    batch = reduce(apply, events, None)
    if batch is None:
        raise ValueError("no events, no batch")
    return batch


def _started(event: e.BatchStarted) -> Batch:
    first = sorted(event.formula.weighed, key=lambda a: not a.is_weighed_first)
    keys = tuple(a.key for a in first)
    return Batch(
        id=event.batch,
        formula=event.formula,
        factor=event.factor,
        planned=event.factor,
        ordered=event.factor,
        facts=event.bench,
        started_at=event.at,
        order=keys,
        contents=tuple(Content(a.key) for a in event.formula.weighed),
        standing_mg=event.standing_mg,
    )


def _vessel_tared(batch: Batch, event: e.VesselTared) -> Batch:
    addition = batch.addition
    inside_mg = batch.content(addition.key).in_mg if addition is not None and batch.needs_a_tub else 0
    empty_mg = event.gross_mg - inside_mg
    batch = replace(
        batch,
        reference_mg=event.gross_mg,
        vessel_mg=empty_mg,
        vessel=vessel_of(batch.facts, empty_mg) if event.is_known else None,
        standing_mg=None,
        plate_mg=batch.plate_mg if event.is_known else None,
        doubted=None,
    )
    return vessel_emptied(batch)


def _confirmed(batch: Batch, event: e.AdditionConfirmed) -> Batch:
    content = batch.content(event.key)
    content = replace(
        content, in_mg=content.in_mg + event.net_mg, is_in=True, weighings=content.weighings + event.weighings
    )
    return _gone_on(batch.with_content(content), event.key, event.at, event.gross_mg)


def _reopened(batch: Batch, event: e.AdditionReopened) -> Batch:
    content = replace(batch.content(event.key), in_mg=0, is_in=False, weighings=0)
    return replace(batch.with_content(content), reference_mg=event.gross_mg, confirmed=None)


def _topped_up(batch: Batch, event: e.ToppedUp) -> Batch:
    content = batch.content(event.key)
    content = replace(
        content,
        in_mg=content.in_mg + event.net_mg,
        weighings=content.weighings + event.weighings,
        mends=content.mends + 1,
    )
    batch = replace(batch.with_content(content), correcting=batch.correcting[1:])
    return _gone_on(batch, event.key, event.at, event.gross_mg)


def _gone_on(batch: Batch, key: str, at: float, gross_mg: int) -> Batch:
    """The open weighing is done: the next one starts at this gross, or with a vessel of its own."""
    batch = replace(batch, confirmed=Confirmed(key, at, gross_mg), question=None, before_yes=None)
    return replace(batch, reference_mg=gross_mg).opened(standing=key)


def _factor_followed(batch: Batch, event: e.FactorFollowed) -> Batch:
    return replace(batch, factor=event.factor, planned=event.factor)


def _poured_in(batch: Batch, event: e.PouredIn) -> Batch:
    batch = replace(batch, poured=batch.poured | {event.key}, confirmed=Confirmed(event.key, event.at, event.gross_mg))
    return replace(batch, reference_mg=event.gross_mg).opened(standing=event.key)


def _amended(batch: Batch, event: e.AdditionAmended) -> Batch:
    content = batch.content(event.key)
    batch = batch.with_content(replace(content, in_mg=content.in_mg + event.more_mg))
    reference = None if batch.reference_mg is None else event.gross_mg
    confirmed = batch.confirmed and replace(batch.confirmed, gross_mg=event.gross_mg)
    return replace(batch, reference_mg=reference, confirmed=confirmed, doubted=None)


def _offers_made(batch: Batch, event: e.OffersMade) -> Batch:
    question = Question(
        key=event.key,
        net_mg=event.net_mg,
        gross_mg=event.gross_mg,
        settled_at=event.settled_at,
        offers=event.offers,
        asked_at=event.at,
        advice=event.advice,
        more_water=event.more_water,
    )
    return replace(batch, question=question)


def _offers_withdrawn(batch: Batch, _event: e.OffersWithdrawn) -> Batch:
    return replace(batch, question=None)


def _doubt_raised(batch: Batch, event: e.DoubtRaised) -> Batch:
    return replace(batch, doubted=Doubted(event.doubt, event.gross_mg, event.at))


def _doubt_settled(batch: Batch, _event: e.DoubtSettled) -> Batch:
    return replace(batch, doubted=None)


def moved(mass_mg: int | None, change_mg: int) -> int | None:
    """A gross that shows at another value from now on; None stays unknown."""
    return None if mass_mg is None else mass_mg + change_mg


def _reference_moved(batch: Batch, event: e.ReferenceMoved) -> Batch:
    is_zero = event.why in ("re-zeroed", "zero at switch-on")
    question = batch.question and replace(batch.question, gross_mg=batch.question.gross_mg + event.change_mg)
    confirmed = batch.confirmed and replace(batch.confirmed, gross_mg=batch.confirmed.gross_mg + event.change_mg)
    doubted = batch.doubted and replace(batch.doubted, gross_mg=batch.doubted.gross_mg + event.change_mg)
    return replace(
        batch,
        reference_mg=moved(batch.reference_mg, event.change_mg),
        vessel_mg=moved(batch.vessel_mg, event.change_mg) if is_zero else batch.vessel_mg,
        plate_mg=moved(batch.plate_mg, event.change_mg) if is_zero else batch.plate_mg,
        standing_mg=moved(batch.standing_mg, event.change_mg),
        question=question,
        confirmed=confirmed,
        doubted=doubted,
        before_yes=batch.before_yes and _reference_moved(batch.before_yes, event),
    )


def _postponed(batch: Batch, event: e.AdditionPostponed) -> Batch:
    stage = batch.formula.addition(event.key).stage
    rest = [key for key in batch.order if key != event.key]
    last = max(i for i, key in enumerate(rest) if batch.formula.addition(key).stage == stage)
    return replace(batch, order=(*rest[: last + 1], event.key, *rest[last + 1 :])).opened()


def _stage_closed(batch: Batch, event: e.StageClosed) -> Batch:
    return replace(batch, closed=batch.closed | {event.stage})


def _lot_named(batch: Batch, event: e.LotNamed) -> Batch:
    """A lot that is named where something ran out is that of the next pack; else it puts the one before right."""
    question, before = batch.question, dict(batch.lots).get(event.key)
    is_next = question is not None and question.key == event.key and is_short(batch, question)
    lot = f"{before}, {event.lot}" if before and is_next else event.lot
    return replace(batch, lots=(*(pair for pair in batch.lots if pair[0] != event.key), (event.key, lot)))


def _product_swapped(batch: Batch, event: e.ProductSwapped) -> Batch:
    return replace(batch, swaps=(*batch.swaps, Swap(event.key, event.product, event.in_mg)))


def _held(batch: Batch, _event: e.BatchHeld) -> Batch:
    return replace(batch, state="held")


def _resumed(batch: Batch, _event: e.BatchResumed) -> Batch:
    return replace(batch, state="running")


def _aborted(batch: Batch, _event: e.BatchAborted) -> Batch:
    return replace(batch, state="aborted", question=None, doubted=None)


def _completed(batch: Batch, _event: e.BatchCompleted) -> Batch:
    return replace(batch, state="complete", before_yes=None)


def _restarted(batch: Batch, event: e.BenchRestarted) -> Batch:
    """What is asked is asked anew; seconds of another boot say nothing, so that no late grains are waited for."""
    confirmed = batch.confirmed
    if confirmed is not None and not event.is_same_boot:
        confirmed = replace(confirmed, at=LONG_AGO)
    return replace(
        batch,
        question=batch.question and replace(batch.question, asked_at=event.at),
        doubted=batch.doubted and replace(batch.doubted, raised_at=event.at),
        confirmed=confirmed,
    )


_CHANGES: dict[type[Any], Callable[[Batch, Any], Batch]] = {
    e.VesselTared: _vessel_tared,
    e.AdditionConfirmed: _confirmed,
    e.AdditionAmended: _amended,
    e.AdditionReopened: _reopened,
    e.ToppedUp: _topped_up,
    e.FactorFollowed: _factor_followed,
    e.PouredIn: _poured_in,
    e.OffersMade: _offers_made,
    e.OffersWithdrawn: _offers_withdrawn,
    e.OfferTaken: offer_taken,
    e.OfferRevoked: offer_revoked,
    e.StageStartedAgain: stage_started_again,
    e.DoubtRaised: _doubt_raised,
    e.DoubtSettled: _doubt_settled,
    e.ReferenceMoved: _reference_moved,
    e.AdditionPostponed: _postponed,
    e.StageClosed: _stage_closed,
    e.LotNamed: _lot_named,
    e.ProductSwapped: _product_swapped,
    e.BatchHeld: _held,
    e.BatchResumed: _resumed,
    e.BatchAborted: _aborted,
    e.BatchCompleted: _completed,
    e.BenchRestarted: _restarted,
}
