"""The record of a batch: what really went in, folded from its events; and its JSON.

Times are seconds since the batch began. Within one boot they are differences of the monotonic clock; across a
restart of the machine only the wall clock is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from typing import Any

from scaled.batch import events as e
from scaled.batch.acceptance import is_guarded, net_u_mg, p_in_band, shown_mg, verdict
from scaled.batch.apply import apply
from scaled.batch.batch import Batch, Swap
from scaled.batch.envelope import Envelope
from scaled.formula.figures import grams
from scaled.formula.situation import Offer
from scaled.formula.values import Addition


@dataclass(frozen=True)
class Mend:
    """A top-up (negative: taken out) and when it was declared settled, seconds since the batch began."""

    net_mg: int
    settled_at_s: float


@dataclass(frozen=True)
class Correction:
    after: str
    offer: str
    factor: Fraction


@dataclass(frozen=True)
class Thrown:
    """A stage was started again, seconds since the batch began: what its vessel held then, mg by addition key."""

    stage: str
    at_s: float
    thrown_mg: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Record:
    """A batch with the times that only its envelopes know. `settled` and `mends` by addition key.

    Of what was thrown away only `thrown` tells: neither its top-ups nor the offers that were taken about it count.
    """

    batch: Batch
    started: str
    ended: str | None
    settled: dict[str, float]
    mends: dict[str, tuple[Mend, ...]]
    corrections: tuple[Correction, ...]
    thrown: tuple[Thrown, ...]
    events: int
    chain: str


@dataclass
class _Folding:
    batch: Batch | None = None
    settled: dict[str, float] = field(default_factory=dict)
    mends: dict[str, tuple[Mend, ...]] = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()
    thrown: tuple[Thrown, ...] = ()
    ended: str | None = None
    asked_s: float = 0.0
    before_yes: _Folding | None = None


def record_from(envelopes: Sequence[Envelope]) -> Record:
    """The record of one batch from all its envelopes in order; raises ValueError where they make none."""
    if not envelopes or not isinstance(envelopes[0].event, e.BatchStarted):
        raise ValueError("a record begins with BatchStarted")
    folding = _Folding()
    for envelope in envelopes:
        _take(folding, envelope, _elapsed_s(envelopes[0], envelope) - _settled_before_s(envelope.event))
    if folding.batch is None:
        raise ValueError("no batch")
    return Record(
        batch=folding.batch,
        started=envelopes[0].wall,
        ended=folding.ended,
        settled=folding.settled,
        mends=folding.mends,
        corrections=folding.corrections,
        thrown=folding.thrown,
        events=len(envelopes),
        chain=envelopes[-1].chain,
    )


def _elapsed_s(first: Envelope, envelope: Envelope) -> float:
    if envelope.boot == first.boot:
        return envelope.at - first.at
    return (datetime.fromisoformat(envelope.wall) - datetime.fromisoformat(first.wall)).total_seconds()


def _settled_before_s(event: e.Event) -> float:
    """How long before it was told the weight of an event had been declared settled."""
    if isinstance(event, e.AdditionConfirmed | e.ToppedUp):
        return event.at - event.settled_at
    return 0.0


def _take(folding: _Folding, envelope: Envelope, elapsed_s: float) -> None:
    before = folding.batch
    match envelope.event:
        case e.AdditionConfirmed(key=key):
            folding.settled[key] = elapsed_s
        case e.AdditionReopened(key=key):
            folding.settled.pop(key, None)
        case e.ToppedUp(key=key, net_mg=net_mg):
            _mended(folding, key, Mend(net_mg, elapsed_s))
        case e.OffersMade(at=at, settled_at=settled_at):
            folding.asked_s = elapsed_s - (at - settled_at)
        case e.OfferTaken(key=key, offer=offer):
            _chosen(folding, before, key, offer)
        case e.StageStartedAgain() as event:
            _thrown(folding, event, elapsed_s)
        case e.OfferRevoked() if folding.before_yes is not None:
            was = folding.before_yes
            folding.settled, folding.mends = was.settled, was.mends
            folding.corrections, folding.thrown = was.corrections, was.thrown
        case e.BatchCompleted() | e.BatchAborted():
            folding.ended = envelope.wall
    folding.batch = apply(before, envelope.event)
    folding.corrections = folding.corrections[: len(folding.batch.corrected)]


def _mended(folding: _Folding, key: str, mend: Mend) -> None:
    folding.mends[key] = (*folding.mends.get(key, ()), mend)


def _chosen(folding: _Folding, batch: Batch | None, key: str, offer: Offer) -> None:
    """An offer ends the weighing that it was made for: the addition itself, or a top-up that went over."""
    folding.before_yes = replace(folding, settled=dict(folding.settled), mends=dict(folding.mends), before_yes=None)
    if batch is None or batch.question is None:
        raise ValueError("an offer taken without a question")
    if batch.content(key).is_in:
        _mended(folding, key, Mend(batch.question.net_mg, folding.asked_s))
    else:
        folding.settled[key] = folding.asked_s
    folding.corrections = (*folding.corrections, Correction(key, offer.offer, offer.factor))


def _thrown(folding: _Folding, event: e.StageStartedAgain, elapsed_s: float) -> None:
    """What was weighed, topped up and chosen of it does not count any more."""
    folding.before_yes = replace(folding, settled=dict(folding.settled), mends=dict(folding.mends), before_yes=None)
    thrown = {key for key, _mass_mg in event.thrown_mg}
    folding.mends = {key: mends for key, mends in folding.mends.items() if key not in thrown}
    folding.thrown = (*folding.thrown, Thrown(event.stage, elapsed_s, event.thrown_mg))


def record_json(record: Record) -> dict[str, Any]:
    """The record as the contract spells it; `thrown_away` stands there only where something was."""
    batch = record.batch
    thrown = [_thrown_json(thrown, batch.facts.division_mg) for thrown in record.thrown]
    return {
        "batch": batch.id,
        "formula": batch.formula.stem,
        "title": batch.formula.title,
        "state": batch.state,
        "factor": float(batch.factor),
        "factor_exact": str(batch.factor),
        "started": record.started,
        "ended": record.ended,
        "scale": batch.facts.scale,
        "additions": [addition_json(record, addition) for addition in batch.formula.additions],
        "corrections": [{"after": c.after, "offer": c.offer, "factor": float(c.factor)} for c in record.corrections],
        **({"thrown_away": thrown} if thrown else {}),
        "events": record.events,
        "chain": record.chain,
    }


def _thrown_json(thrown: Thrown, division_mg: int) -> dict[str, Any]:
    masses = {key: grams(shown_mg(mass_mg, division_mg)) for key, mass_mg in thrown.thrown_mg}
    return {"stage": thrown.stage, "at_s": round(thrown.at_s, 3), "grams": masses}


def _product_json(swap: Swap) -> dict[str, Any]:
    allergens = swap.product.allergens
    return {
        "name": swap.product.name,
        "after_g": grams(swap.in_mg),
        "allergens": None if allergens is None else list(allergens),
    }


def addition_json(record: Record, addition: Addition) -> dict[str, Any]:
    """One addition of a record; a told line has no masses, one not weighed yet no actual mass.

    `product` stands there only where another product was weighed: each with what was in before it.
    """
    batch = record.batch
    lot = dict(batch.lots).get(addition.key)
    empty: dict[str, Any] = {
        "ingredient": addition.ingredient,
        "stage": addition.stage,
        "target_g": None,
        "actual_g": None,
        "band_g": None,
        "in_tolerance": None,
        "guarded": is_guarded(batch, addition),
        "u_g": None,
        "p_in_tolerance": None,
        "lot": lot,
        "settled_at_s": None,
        "topups": [],
    }
    if addition.is_told:
        return empty
    products = [_product_json(swap) for swap in batch.swaps if swap.key == addition.key]
    if products:
        empty["product"] = products
    lo, hi = band = batch.band_mg(addition)
    empty |= {"target_g": grams(batch.target_mg(addition)), "band_g": [grams(lo), grams(hi)]}
    content = batch.content(addition.key)
    if not content.is_in:
        return empty
    u = net_u_mg(batch.facts, content.weighings)
    return empty | {
        "actual_g": grams(shown_mg(content.in_mg, batch.facts.division_mg)),
        "in_tolerance": verdict(batch, addition, content.in_mg, content.weighings) == "in band",
        "u_g": round(u) / 1000,
        "p_in_tolerance": round(p_in_band(content.in_mg, band, u), 4),
        "settled_at_s": round(record.settled[addition.key], 3),
        "topups": [
            {"grams": grams(shown_mg(m.net_mg, batch.facts.division_mg)), "settled_at_s": round(m.settled_at_s, 3)}
            for m in record.mends.get(addition.key, ())
        ],
    }
