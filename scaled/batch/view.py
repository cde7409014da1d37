"""A Snapshot of a batch and its bench: what page, lights and cooks are shown."""

from __future__ import annotations

from fractions import Fraction

from scaled.batch import telling
from scaled.batch.acceptance import shown_mg, verdict
from scaled.batch.batch import Batch, once_a_batch
from scaled.batch.bench import Bench
from scaled.batch.capacity import too_much_for_the_bowl
from scaled.batch.counsel import counsel
from scaled.batch.snapshot import (
    Phase,
    ScaleShown,
    ShownAddition,
    ShownBatch,
    ShownDone,
    ShownOffer,
    ShownTarget,
    ShownWeight,
    Snapshot,
)
from scaled.batch.swapping import cautions_of_swap
from scaled.formula.situation import Offer
from scaled.weighing.flow import forecast
from scaled.weighing.values import Weight

MENDS_BEFORE_ADVICE = 3
SHAKEN = "the bench shakes and the weight cannot be told: let the mixer stand for the weighing"


def snapshot_of(
    batch: Batch | None, bench: Bench, *, seq: int, wall: str, scale: str | None, is_recorded: bool = True
) -> Snapshot:
    """The picture now. A batch that has ended is shown with what it came to, and no open addition."""
    return Snapshot(
        seq=seq,
        at=bench.at,
        wall=wall,
        is_recorded=is_recorded,
        scale=scale,
        scale_state=_scale_state(bench),
        weight=_weight(batch, bench),
        batch=_batch(batch) if batch else None,
        addition=_addition(batch, bench) if batch else None,
        upcoming=_upcoming(batch) if batch else (),
        done=_done(batch) if batch else (),
        offers=_offers(batch) if batch and bench.phase == "asking" else (),
        cue=bench.cue,
        cautions=_cautions_now(batch, bench),
        division_mg=bench.weight.division_mg if bench.weight else None,
        start_again=batch.stage_to_start_again if batch and bench.phase == "asking" else None,
    )


@once_a_batch
def _batch(batch: Batch) -> ShownBatch:
    return ShownBatch(batch.id, batch.formula.stem, batch.formula.title, batch.factor, batch.state)


def _scale_state(bench: Bench) -> ScaleShown:
    if bench.is_scale_lost:
        return "lost"
    return "waiting" if bench.weight is None else bench.weight.state


def _weight(batch: Batch | None, bench: Bench) -> ShownWeight | None:
    weight = bench.weight
    if weight is None:
        return None
    is_weighing = batch is not None and batch.is_open and batch.reference_mg is not None
    net = batch.net_mg(weight.shown_mg) if is_weighing and batch is not None else weight.shown_mg
    return ShownWeight(
        gross_mg=weight.shown_mg,
        net_mg=net,
        is_settled=bench.rest is not None,
        rate_g_s=weight.rate_g_s,
        forecast_mg=_forecast_mg(batch, bench, weight),
    )


def _forecast_mg(batch: Batch | None, bench: Bench, weight: Weight) -> int:
    """The gross at rest if the cook stopped now, with what was learned of the open ingredient's after-flow."""
    addition = batch.addition if batch is not None and batch.is_open else None
    if batch is None or addition is None or weight.rest is not None:
        return round(weight.forecast_g * 1000)
    tail = bench.pours.tail(batch.name_of(addition))
    return round(1000 * forecast(weight.estimate_g, weight.rate_g_s, tail.seconds))


def _addition(batch: Batch, bench: Bench) -> ShownAddition | None:
    if not batch.is_open:
        return None
    weighing, addition = batch.weighing, batch.addition
    if weighing is None or addition is None:
        return None
    target, product = batch.target_mg(addition), batch.product_of(addition.key)
    gross = bench.weight.shown_mg if bench.weight is not None else batch.reference_mg or 0
    is_off = bench.is_vessel_off or batch.reference_mg is None or batch.emptying is not None
    total = batch.content(weighing.key).in_mg + (0 if is_off else batch.net_mg(gross))
    return ShownAddition(
        key=addition.key,
        ingredient=addition.ingredient,
        stage=addition.stage,
        target_mg=target,
        remaining_mg=Fraction(batch.content(weighing.key).in_mg * 2 - total)
        if weighing.kind == "pour in"
        else target - total,
        band_mg=batch.band_mg(addition),
        phase=_shown_phase(batch, bench),
        kind=weighing.kind,
        told=_told(batch),
        product=product.name if product else None,
    )


@once_a_batch
def _told(batch: Batch) -> tuple[str, ...]:
    return tuple(f"{line.told_at(batch.factor) or 'to taste'}: {line.ingredient}" for line in telling.told_now(batch))


def _shown_phase(batch: Batch, bench: Bench) -> Phase:
    match bench.phase:
        case "held" if batch.reference_mg is None or bench.is_vessel_off:
            return "vessel off"
        case "doubt":
            return "asking"
        case "held" | "idle":
            return "waiting"
        case phase:
            return phase


@once_a_batch
def _upcoming(batch: Batch) -> tuple[ShownTarget, ...]:
    """What is still to be weighed after the open weighing: those of a correction first, then the rest in order."""
    if not batch.is_open:
        return ()
    shown = []
    for weighing in batch.correcting[1:]:
        addition = batch.formula.addition(weighing.key)
        shown.append(ShownTarget(addition.ingredient, addition.stage, batch.target_mg(addition)))
    open_key = batch.weighing.key if batch.weighing else None
    for key in batch.order:
        addition = batch.formula.addition(key)
        if not batch.content(key).is_in and key != open_key:
            shown.append(ShownTarget(addition.ingredient, addition.stage, batch.target_mg(addition)))
    return tuple(shown)


@once_a_batch
def _done(batch: Batch) -> tuple[ShownDone, ...]:
    shown = []
    for addition in batch.formula.weighed:
        content = batch.content(addition.key)
        if not content.is_in:
            continue
        shown.append(
            ShownDone(
                ingredient=addition.ingredient,
                stage=addition.stage,
                target_mg=batch.target_mg(addition),
                actual_mg=shown_mg(content.in_mg, batch.facts.division_mg),
                is_in_tolerance=verdict(batch, addition, content.in_mg, content.weighings) == "in band",
            )
        )
    return tuple(shown)


def shown_offers(batch: Batch | None) -> tuple[ShownOffer, ...]:
    """The offers of the question that stands, with what each changes."""
    return () if batch is None else _offers(batch)


@once_a_batch
def _offers(batch: Batch) -> tuple[ShownOffer, ...]:
    return () if batch.question is None else tuple(_shown_offer(batch, offer) for offer in batch.question.offers)


def _shown_offer(batch: Batch, offer: Offer) -> ShownOffer:
    keys = tuple(a.key for a in batch.formula.weighed)
    changes = []
    for key, goal in zip(keys, offer.bowl_mg, strict=True):
        before = _before_mg(batch, key)
        if before != goal:
            changes.append((key, before, goal))
    return ShownOffer(offer, keys, tuple(changes))


def _before_mg(batch: Batch, key: str) -> int:
    """What is in, or the planned target where it is not in yet; mg."""
    content, question = batch.content(key), batch.question
    if question is not None and question.key == key:
        return shown_mg(content.in_mg + question.net_mg, batch.facts.division_mg)
    if content.is_in:
        return shown_mg(content.in_mg, batch.facts.division_mg)
    return round(batch.target_mg(batch.formula.addition(key)))


def _cautions_now(batch: Batch | None, bench: Bench) -> tuple[str, ...]:
    weight = bench.weight
    cautions = _cautions(batch) if batch else ()
    is_unseen = batch is not None and (batch.vessel_mg is None or (batch.emptying and batch.plate_mg is None))
    if batch and batch.is_open and is_unseen and weight is not None and batch.last_in is None:
        cautions = (*cautions, "a vessel tared with the scale's own key is not seen: say 'next' once it stands there")
    return (SHAKEN, *cautions) if weight is not None and weight.is_shaken else cautions


@once_a_batch
def _cautions(batch: Batch) -> tuple[str, ...]:
    cautions = list(batch.formula.cautions)
    addition = batch.addition if batch.is_open else None
    if addition is not None:
        cautions += [c for c in addition.cautions if c not in cautions]
    capacity, vessel = batch.facts.capacity_mg, batch.vessel_mg or 0
    mass = batch.formula.mass_mg * batch.factor
    if batch.is_open and capacity is not None and batch.formula.vessel == "one bowl" and vessel + mass > capacity:
        cautions.insert(
            0,
            f"vessel and batch weigh {grams0(vessel + mass)} g, the scale takes {grams0(capacity)} g: "
            "make less, or weigh in separate tubs",
        )
    too_much = too_much_for_the_bowl(batch)
    if too_much is not None:
        mass, room = too_much
        cautions.insert(
            0,
            f"the batch is {grams0(mass)} g, bowl '{batch.vessel}' takes {grams0(room)} g of it at two thirds full: "
            "make less, or take a larger bowl",
        )
    if any(c.mends >= MENDS_BEFORE_ADVICE for c in batch.contents) and batch.question is not None:
        cautions.insert(0, "mended three times: leave it as it is, or give this batch up")
    if addition is not None:
        cautions[:0] = cautions_of_swap(batch, addition)
    cautions[:0] = counsel(batch)
    if batch.state == "complete":
        cautions[:0] = [f"still to go in, not weighed: {line}" for line in _told(batch)]
    return tuple(cautions)


def grams0(mass_mg: Fraction | int) -> str:
    """Whole grams, for words."""
    return str(round(Fraction(mass_mg) / 1000))
