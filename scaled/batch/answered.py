"""What the answer to a question makes of a batch: an offer is taken or taken back, or the stage is started again.

To start again undoes all that was thrown away: its additions are open again, and what only it asked for is no longer
asked for. So the factor, and what a rebalancing had changed, go back to what they were before the first offer that was
taken about any of it; the piece that set the factor sets it anew. What stands in a vessel of its own is not thrown
away. Lots and products stay named, since it is the same pack that is poured from next.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from scaled.batch import events as e
from scaled.batch.acceptance import shown_mg
from scaled.batch.batch import Batch, Content, Corrected, Emptying, Question, Swap, Weighing
from scaled.formula.situation import Offer


def offer_taken(batch: Batch, event: e.OfferTaken) -> Batch:
    before, question = batch, batch.question
    if question is None:
        raise ValueError("an offer taken without a question")
    content = batch.content(event.key)
    is_keep = event.offer.offer == "keep"
    content = replace(
        content,
        in_mg=content.in_mg + question.net_mg,
        weighings=content.weighings + 1,
        mends=content.mends + (1 if content.is_in else 0),
        is_in=True,
        is_kept=is_keep,
        has_run_out=content.has_run_out or is_short(batch, question),
    )
    corrected = (*batch.corrected, Corrected(event.key, batch.factor, batch.shares))
    batch = replace(batch.with_content(content), factor=event.offer.factor, question=None, corrected=corrected)
    if event.offer.offer == "rebalance":
        batch = replace(batch, shares=_rebalanced(batch, event.offer))
    batch = replace(batch, correcting=batch.correcting[1:] if is_keep else _weighings_of(batch, event.offer))
    batch = replace(batch, reference_mg=question.gross_mg, confirmed=None, before_yes=before)
    return batch.opened(standing=event.key)


def _rebalanced(batch: Batch, offer: Offer) -> tuple[tuple[str, Fraction], ...]:
    """The shares of the nominal weights that a rebalancing asks for, of what is not in yet."""
    shares = dict(batch.shares)
    for addition, goal in zip(batch.formula.weighed, offer.bowl_mg, strict=True):
        if not batch.content(addition.key).is_in and goal != round(batch.target_mg(addition)):
            shares[addition.key] = Fraction(goal) / addition.target_mg(batch.factor)
    return tuple(sorted(shares.items()))


def is_short(batch: Batch, question: Question) -> bool:
    total = batch.content(question.key).in_mg + question.net_mg
    return total < batch.band_mg(batch.formula.addition(question.key))[0]


def _weighings_of(batch: Batch, offer: Offer) -> tuple[Weighing, ...]:
    """What an offer asks to be weighed of what is in already: takings out first, then top-ups in order.

    What came out last must come out before anything else goes in. A change that the scale could not show, the
    addition being in its band as it is shown, is none.
    """
    out: list[str] = []
    more: list[str] = []
    bowl = dict(zip((a.key for a in batch.formula.weighed), offer.bowl_mg, strict=True))
    for content in batch.contents:
        lo, hi = batch.band_mg(batch.formula.addition(content.key))
        goal = bowl[content.key]
        if not content.is_in or goal == content.in_mg:
            continue
        if lo <= shown_mg(content.in_mg, batch.facts.division_mg) <= hi:
            continue
        (more if goal > content.in_mg else out).append(content.key)
    return tuple(Weighing(key, "take out") for key in out) + tuple(Weighing(key, "top-up") for key in more)


def offer_revoked(batch: Batch, event: e.OfferRevoked) -> Batch:
    before = batch.before_yes
    if before is None or before.question is None:
        raise ValueError("no yes to take back")
    question, closed = replace(before.question, asked_at=event.at), before.closed | batch.closed
    return replace(before, question=question, lots=batch.lots, swaps=batch.swaps, closed=closed)


def thrown_away(batch: Batch) -> tuple[tuple[str, int], ...]:
    """What is in the vessel that the question is about, mg by key: what starting its stage again throws away."""
    question = batch.question
    if question is None:
        return ()
    asked = batch.formula.addition(question.key)
    is_tub = batch.is_in_tubs(asked)
    thrown = []
    for content in batch.contents:
        addition, is_asked = batch.formula.addition(content.key), content.key == question.key
        is_with_it = not is_tub and content.is_in and addition.stage == asked.stage and not batch.is_in_tubs(addition)
        if is_asked or is_with_it:
            thrown.append((content.key, content.in_mg + (question.net_mg if is_asked else 0)))
    return tuple(thrown)


def stage_started_again(batch: Batch, event: e.StageStartedAgain) -> Batch:
    """The vessel counts as empty, and is awaited so."""
    before, thrown = batch, {key for key, _mass_mg in event.thrown_mg}
    contents = tuple(Content(c.key) if c.key in thrown else c for c in batch.contents)
    batch = _as_before_it(replace(batch, contents=contents), thrown)
    return replace(
        batch,
        reference_mg=batch.vessel_mg,
        question=None,
        confirmed=None,
        correcting=(),
        closed=batch.closed - {event.stage},
        poured=batch.poured - thrown,
        emptying=Emptying(event.stage, event.thrown_mg),
        before_yes=before,
    )


def _as_before_it(batch: Batch, thrown: set[str]) -> Batch:
    """With factor and shares as they were before the first offer about any of these; what is still in must bear it."""
    left = [content for content in batch.contents if content.is_in]
    if not left and any(batch.formula.addition(key).is_weighed_first for key in thrown):
        return replace(batch, factor=batch.ordered, planned=batch.ordered, shares=(), corrected=())
    first = next((i for i, corrected in enumerate(batch.corrected) if corrected.key in thrown), None)
    if first is None:
        return batch
    was = batch.corrected[first]
    back = replace(batch, factor=was.factor, shares=was.shares, corrected=batch.corrected[:first])
    return back if all(content.is_kept or _is_in_band(back, content) for content in left) else batch


def _is_in_band(batch: Batch, content: Content) -> bool:
    lo, hi = batch.band_mg(batch.formula.addition(content.key))
    return lo <= shown_mg(content.in_mg, batch.facts.division_mg) <= hi


def vessel_emptied(batch: Batch) -> Batch:
    """An empty vessel stands there: the stage goes on from its first addition, of a product that was swapped from 0."""
    emptying, addition = batch.emptying, batch.addition
    if emptying is None:
        return batch
    thrown = {key for key, _mass_mg in emptying.thrown_mg}
    newest = {swap.key: Swap(swap.key, swap.product, 0) for swap in batch.swaps if swap.key in thrown}
    swaps = (*(swap for swap in batch.swaps if swap.key not in thrown), *newest.values())
    is_tub_of_it = addition is not None and addition.key in thrown and batch.is_in_tubs(addition) and len(thrown) == 1
    batch = replace(batch, emptying=None, before_yes=None, swaps=swaps)
    return batch.opened(standing=addition.key if addition is not None and is_tub_of_it else None)
