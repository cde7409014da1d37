"""How a cook answers a question: with an offer, by starting the stage again, or by taking the answer back."""

from __future__ import annotations

from scaled.batch import events as e
from scaled.batch.answered import thrown_away
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench, noticed_mg
from scaled.batch.emptying import is_all_in
from scaled.batch.outcome import Outcome, Refusal
from scaled.batch.watching import finished


def taken(batch: Batch, bench: Bench, index: int) -> Outcome:
    """The offer at this index is taken."""
    question = batch.question
    if question is None or not 0 <= index < len(question.offers):
        return Refusal(f"there is no offer {index}, only 0 to {len(question.offers) - 1 if question else 0}", "invalid")
    return finished(batch, e.OfferTaken(bench.at, question.key, question.offers[index]))


def started_again(batch: Batch, bench: Bench) -> Outcome:
    """All that the vessel holds is thrown away, where that is what a good cook would do."""
    stage = batch.stage_to_start_again
    if stage is None:
        return Refusal("to start the stage again is no way out here: take an offer, or give the batch up")
    return (e.StageStartedAgain(bench.at, stage, thrown_away(batch)),)


def taken_back(batch: Batch, bench: Bench) -> Outcome:
    """The answer can be taken back until the first gram of the new plan is in, or until the vessel is emptied."""
    if batch.before_yes is None:
        return Refusal("there is no choice to take back")
    if batch.emptying is not None:
        is_there = bench.rest is not None and bench.must_check is None and is_all_in(batch, bench.rest.mass_mg)
        if not is_there:
            return Refusal("only while the vessel stands there with all that is in it: go on and empty it")
    elif may_have_begun(batch, bench):
        return Refusal("something of the new plan is in, or may be: it can no longer be taken back")
    return (e.OfferRevoked(bench.at),)


def postponed(batch: Batch, bench: Bench) -> Outcome:
    """What is open waits until the others of its stage are in."""
    weighing, addition = batch.weighing, batch.addition
    if weighing is None or addition is None or weighing.kind != "addition" or may_have_begun(batch, bench):
        return Refusal("only an addition of which nothing is in can wait, with its vessel on the scale or none yet")
    rest_of_stage = [
        key
        for key in batch.order
        if batch.formula.addition(key).stage == addition.stage and not batch.content(key).is_in
    ]
    if len(rest_of_stage) < 2:
        return Refusal(f"{addition.ingredient} is the last of stage {addition.stage}: nothing comes before it")
    return (e.AdditionPostponed(bench.at, addition.key),)


def may_have_begun(batch: Batch, bench: Bench) -> bool:
    """Something of the open addition is in; or may be, where the vessel is off or has not been compared yet."""
    if batch.reference_mg is None or batch.emptying is not None:
        return False
    if bench.expected_mg is None or bench.must_check is not None or bench.is_vessel_off:
        return True
    return batch.net_mg(bench.expected_mg) >= noticed_mg(batch)
