"""One immutable picture of the bench, as page, lights and cooks read it.

`snapshot_json` gives the document of the HTTP contract: grams rounded to 0.001, absent things null.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from scaled.batch.cue import Cue
from scaled.formula.correction_json import offer_json
from scaled.formula.figures import grams as grams  # noqa: PLC0414  the page reads no formula room
from scaled.formula.situation import Offer

Phase = Literal["waiting", "adding", "settling", "in band", "under", "over", "asking", "vessel off"]
BatchState = Literal["running", "held", "complete", "aborted"]
WeighingKind = Literal["addition", "top-up", "take out", "pour in"]
ScaleShown = Literal["ready", "lost", "waiting", "over capacity", "under zero"]


@dataclass(frozen=True)
class ShownWeight:
    gross_mg: int
    net_mg: int
    is_settled: bool
    rate_g_s: float
    forecast_mg: int


@dataclass(frozen=True)
class ShownBatch:
    id: str
    formula: str
    title: str
    factor: Fraction
    state: BatchState


@dataclass(frozen=True)
class ShownAddition:
    """The weighing that is open. At a top-up `remaining_mg` is what is still to be topped up.

    `told` are the lines that are told, not weighed, and stand before it: "1 lemon: lemon zest"; `product` what
    is weighed in place of the ingredient.
    """

    key: str
    ingredient: str
    stage: str
    target_mg: Fraction
    remaining_mg: Fraction
    band_mg: tuple[int, int]
    phase: Phase
    kind: WeighingKind = "addition"
    told: tuple[str, ...] = ()
    product: str | None = None


@dataclass(frozen=True)
class ShownTarget:
    ingredient: str
    stage: str
    target_mg: Fraction


@dataclass(frozen=True)
class ShownDone:
    ingredient: str
    stage: str
    target_mg: Fraction
    actual_mg: int
    is_in_tolerance: bool


@dataclass(frozen=True)
class ShownOffer:
    """An offer with the keys of its bowl and, in order, what changes (key, from, to in mg)."""

    offer: Offer
    keys: tuple[str, ...]
    changes: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class Snapshot:
    """`seq` grows by one with each Snapshot of a daemon; `at` is the bench's monotonic time, `wall` ISO 8601.

    `division_mg` is the scale's division, None where it is not known yet; `start_again` the stage that can be started
    again instead of any of the offers, None where that would be refused.
    """

    seq: int
    at: float
    wall: str
    is_recorded: bool
    scale: str | None
    scale_state: ScaleShown
    weight: ShownWeight | None
    batch: ShownBatch | None
    addition: ShownAddition | None
    upcoming: tuple[ShownTarget, ...]
    done: tuple[ShownDone, ...]
    offers: tuple[ShownOffer, ...]
    cue: Cue
    cautions: tuple[str, ...]
    division_mg: int | None = None
    start_again: str | None = None


def _weight_json(weight: ShownWeight | None) -> dict[str, Any] | None:
    if weight is None:
        return None
    return {
        "gross_g": grams(weight.gross_mg),
        "net_g": grams(weight.net_mg),
        "settled": weight.is_settled,
        "rate_g_s": round(weight.rate_g_s, 3),
        "forecast_g": grams(weight.forecast_mg),
    }


def _batch_json(batch: ShownBatch | None) -> dict[str, Any] | None:
    if batch is None:
        return None
    return {
        "id": batch.id,
        "formula": batch.formula,
        "title": batch.title,
        "factor": float(batch.factor),
        "state": batch.state,
    }


def _addition_json(addition: ShownAddition | None) -> dict[str, Any] | None:
    if addition is None:
        return None
    return {
        "ingredient": addition.ingredient,
        "stage": addition.stage,
        "target_g": grams(addition.target_mg),
        "remaining_g": grams(addition.remaining_mg),
        "band_g": [grams(addition.band_mg[0]), grams(addition.band_mg[1])],
        "phase": addition.phase,
        "kind": addition.kind,
        "told": list(addition.told),
        "product": addition.product,
    }


def snapshot_json(snapshot: Snapshot) -> dict[str, Any]:
    """The Snapshot as the HTTP contract spells it."""
    return {
        "seq": snapshot.seq,
        "at": snapshot.wall,
        "recorded": snapshot.is_recorded,
        "scale": {
            "name": snapshot.scale,
            "state": snapshot.scale_state,
            "division_g": None if snapshot.division_mg is None else grams(snapshot.division_mg),
        },
        "weight": _weight_json(snapshot.weight),
        "batch": _batch_json(snapshot.batch),
        "addition": _addition_json(snapshot.addition),
        "upcoming": [
            {"ingredient": u.ingredient, "stage": u.stage, "target_g": grams(u.target_mg)} for u in snapshot.upcoming
        ],
        "done": [
            {
                "ingredient": d.ingredient,
                "stage": d.stage,
                "target_g": grams(d.target_mg),
                "actual_g": grams(d.actual_mg),
                "in_tolerance": d.is_in_tolerance,
            }
            for d in snapshot.done
        ],
        "offers": [
            offer_json(o.offer, o.keys, o.changes) | {"index": index} for index, o in enumerate(snapshot.offers)
        ],
        "cue": snapshot.cue.word,
        "cautions": list(snapshot.cautions),
    }
