"""`decide(batch, bench, input)`: what follows from an input, as events, or why it is refused.

The interpreter of the table and the actions that answer a cook's wishes; what the weight decides by itself is
`scaled.batch.watching`. Pure: the bench has already taken note of the input, nothing is changed here.
"""

from __future__ import annotations

from collections.abc import Callable

from scaled.batch import answering, watching
from scaled.batch import events as e
from scaled.batch.acceptance import verdict
from scaled.batch.batch import Batch
from scaled.batch.bench import (
    PRESS_TAKEN_AFTER_S,
    Bench,
    MachinePhase,
    noticed_mg,
)
from scaled.batch.comparing import LOSS_SHARE
from scaled.batch.doubting import settle_the_doubt, watch_the_doubt
from scaled.batch.emptying import is_not_empty, said_to_be_empty
from scaled.batch.inputs import (
    BeginBatch,
    Input,
    NameLot,
    Restarted,
    ScaleBack,
    ScaleLost,
    SwapProduct,
    TakeOffer,
    Tick,
    Wanted,
    WeightSeen,
)
from scaled.batch.outcome import Outcome, Refusal
from scaled.batch.phase import phase_of
from scaled.batch.swapping import swapped
from scaled.batch.table import TABLE, Action, Kind
from scaled.errors import WrongUsage
from scaled.formula.names import find_key


def kind_of(given: Input) -> Kind:
    """The kind of an input: the column of the table."""
    return given.wish if isinstance(given, Wanted) else _KINDS[type(given)]


def decide(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    """The events that follow from an input, none, or a refusal."""
    phase = phase_of(batch, bench)
    action = TABLE[phase][kind_of(given)]
    if action == "ignore":
        return ()
    if action == "refuse":
        return Refusal(_why_not(batch, phase, kind_of(given)))
    return _ACTIONS[action](batch, bench, given)


def _why_not(batch: Batch | None, phase: MachinePhase, kind: Kind) -> str:
    if batch is None or not batch.is_open:
        return f"no batch runs, so '{kind}' means nothing: begin one"
    if kind == "begin":
        which = f"batch {batch.id} ({batch.formula.title}) is {batch.state}"
        return f"{which}: weigh it to its end, or end it with 'abort', before another begins"
    question = batch.question
    if question is None and kind == "start again":
        return "a stage is started again where something went in wrong, and nothing did: go on"
    if question is not None and kind == "later":
        ingredient = batch.formula.addition(question.key).ingredient
        return f"some of {ingredient} is in already, so that it cannot wait: pour more of it, or take an offer"
    if question is not None and phase in ("vessel off", "settling"):
        return "what is asked is about what is in the vessel: put it on the scale and wait until it rests there"
    return f"'{kind}' does not fit now ({phase})"


def _opened(batch: Batch | None) -> Batch:
    if batch is None:
        raise ValueError("the table let an action of an open batch through without one")
    return batch


def _watch(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    batch = _opened(batch)
    addition = batch.addition
    if addition is not None and addition.kind == "by feel" and _has_been_pressed(bench):
        outcome = _finish_here(batch, bench, given)
        if not isinstance(outcome, Refusal):
            return outcome
    return watching.watch(batch, bench)


def _watch_the_end(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return () if batch is None else watching.watch_complete(batch, bench)


def _has_been_pressed(bench: Bench) -> bool:
    """Once, and the plate has been still since then: a second press may follow."""
    presses = bench.presses
    is_over = bench.rest is not None and bench.at - presses.released_at >= PRESS_TAKEN_AFTER_S
    return presses.count == 1 and is_over


def _watch_the_question(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    batch = _opened(batch)
    if _has_been_pressed(bench):
        return _say_yes(batch, bench, given)
    return watching.watch(batch, bench)


def _watch_the_doubt(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    batch = _opened(batch)
    is_lost = batch.doubted is not None and batch.doubted.doubt == "zero lost"
    if not is_lost and _has_been_pressed(bench):  # where it is lost a bump on an empty plate would be a yes
        outcome = _settle_the_doubt(batch, bench, given)
        if not isinstance(outcome, Refusal):
            return outcome
    return watch_the_doubt(batch, bench)


def _settle_the_doubt(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return settle_the_doubt(_opened(batch), bench)


def _begin(before: Batch | None, bench: Bench, given: Input) -> Outcome:
    if not isinstance(given, BeginBatch):
        raise TypeError(f"{given} begins nothing")
    standing_mg = _left_standing_mg(before, bench)
    return (e.BatchStarted(given.at, given.batch, given.formula, given.factor, given.bench, standing_mg),)


def _left_standing_mg(before: Batch | None, bench: Bench) -> int | None:
    """What the plate shows, if that is the vessel of the batch before with all that is in it."""
    if before is None or before.reference_mg is None or bench.weight is None:
        return None
    if before.emptying is not None:  # given up before its vessel was seen empty
        return bench.weight.shown_mg if is_not_empty(before, bench.weight.shown_mg) else None
    if before.contents_mg == 0:
        return None
    more_mg = bench.weight.shown_mg - before.reference_mg
    most_mg = before.band_mg(before.addition)[1] if before.addition is not None else 0  # it was given up half in
    slack = round(max(noticed_mg(before), LOSS_SHARE * before.contents_mg))
    return bench.weight.shown_mg if -slack <= more_mg <= most_mg + slack else None


def _note_restart(_batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    if not isinstance(given, Restarted):
        raise TypeError(f"{given} is no restart")
    return (e.BenchRestarted(bench.at, given.is_same_boot),)


def _tare_as_it_is(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    """A vessel that was tared with the scale's own key shows nothing: a yes says that it is there.

    Where it should be back and is not seen, the same yes says that the scale's zero has moved.
    """
    batch = _opened(batch)
    rest = bench.rest
    if rest is None:
        return Refusal("the weight is not at rest: wait until it is, then say yes")
    if batch.emptying is not None:
        return said_to_be_empty(batch, bench, rest)
    if batch.reference_mg is not None:
        return (e.DoubtRaised(bench.at, "zero lost", rest.mass_mg),)
    return (e.VesselTared(bench.at, rest.mass_mg, is_known=False),)


def _finish_here(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    """`next` with something in: that is all there is, or yes, this is right."""
    batch = _opened(batch)
    addition, rest = batch.addition, bench.rest
    if addition is None or rest is None or bench.must_check is not None:
        return Refusal("the weight is not at rest: wait until it is")
    if batch.weighing is not None and batch.weighing.kind == "pour in":
        return watching.finished(batch, e.PouredIn(bench.at, addition.key, rest.mass_mg))
    total = batch.total_mg(rest.mass_mg)
    if total < noticed_mg(batch):
        return Refusal(f"nothing of {addition.ingredient} is in: add it, or say 'later'")
    is_good = addition.kind == "by feel" or verdict(batch, addition, total) == "in band"
    if is_good:
        return watching.finished(batch, watching.confirmation(batch, bench.at, rest))
    return (watching.offers_made(batch, bench.at, rest),)


def _say_yes(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return answering.taken(_opened(batch), bench, 0)


def _take_offer(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    if not isinstance(given, TakeOffer):
        raise TypeError(f"{given} takes no offer")
    return answering.taken(_opened(batch), bench, given.index)


def _take_back(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return answering.taken_back(_opened(batch), bench)


def _start_again(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return answering.started_again(_opened(batch), bench)


def _postpone(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return answering.postponed(_opened(batch), bench)


def _hold(_batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return (e.BatchHeld(bench.at),)


def _resume(_batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return (e.BatchResumed(bench.at),)


def _abort(_batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    return (e.BatchAborted(bench.at),)


def _close_stage(batch: Batch | None, bench: Bench, _given: Input) -> Outcome:
    """Close the earliest stage that is all in and open still."""
    batch = _opened(batch)
    if batch.correcting or batch.question is not None:
        return Refusal("a correction is under way: finish it before the stage is closed")
    for stage in batch.formula.stages:
        keys = [a.key for a in stage.additions if not a.is_told]
        if stage.name not in batch.closed and keys:
            if all(batch.content(key).is_in for key in keys):
                return (e.StageClosed(bench.at, stage.name),)
            break
    return Refusal("no stage is all in and still open")


def _say_again(_batch: Batch | None, _bench: Bench, _given: Input) -> Outcome:
    return ()


def _name_lot(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    if not isinstance(given, NameLot):
        raise TypeError(f"{given} names no lot")
    try:
        key = find_key(given.ingredient, [a.key for a in _opened(batch).formula.additions])
    except WrongUsage as error:
        return Refusal(str(error), "unknown")
    return (e.LotNamed(bench.at, key, given.lot),)


def _swap(batch: Batch | None, bench: Bench, given: Input) -> Outcome:
    if not isinstance(given, SwapProduct):
        raise TypeError(f"{given} swaps no product")
    batch = _opened(batch)
    try:
        key = find_key(given.ingredient, [a.key for a in batch.formula.additions])
    except WrongUsage as error:
        return Refusal(str(error), "unknown")
    return swapped(batch, bench, batch.formula.addition(key), given.product, is_yes=given.is_yes)


_KINDS: dict[type, Kind] = {
    WeightSeen: "weight",
    Tick: "tick",
    ScaleLost: "scale lost",
    ScaleBack: "scale back",
    Restarted: "restarted",
    BeginBatch: "begin",
    TakeOffer: "offer",
    NameLot: "lot",
    SwapProduct: "swap",
}

_ACTIONS: dict[Action, Callable[[Batch | None, Bench, Input], Outcome]] = {
    "watch": _watch,
    "watch the end": _watch_the_end,
    "watch the doubt": _watch_the_doubt,
    "watch the question": _watch_the_question,
    "begin": _begin,
    "note restart": _note_restart,
    "tare as it is": _tare_as_it_is,
    "finish here": _finish_here,
    "say yes": _say_yes,
    "settle the doubt": _settle_the_doubt,
    "take offer": _take_offer,
    "start again": _start_again,
    "take back": _take_back,
    "postpone": _postpone,
    "hold": _hold,
    "resume": _resume,
    "abort": _abort,
    "close stage": _close_stage,
    "say again": _say_again,
    "name lot": _name_lot,
    "swap": _swap,
}
