"""What there is to say, as phrase keys with values; `scaled.phrases` knows the words in each language.

`about` names the thing that is worth saying now, as a tuple that stays the same while it stays the same thing;
`words` makes phrase and values of it.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.batch.acceptance import verdict
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench, MachinePhase
from scaled.batch.capacity import too_much_for_the_bowl
from scaled.batch.cue import CueWord
from scaled.batch.emptying import is_all_in, still_in_mg
from scaled.formula.situation import Offer
from scaled.formula.values import Addition

Told = tuple[str, tuple[tuple[str, str], ...]]
About = tuple[object, ...]

_SAID_SINCE: tuple[About, ...] = (("too much for the bowl",), ("told",), ("next",))


def about(batch: Batch | None, bench: Bench, phase: MachinePhase, word: CueWord) -> About:
    """What is worth saying now; empty where there is nothing (the last thing said stays the last)."""
    if batch is None:
        return ()
    if word == "scale lost":
        return ("scale lost",)
    if phase in ("idle", "held"):
        return (batch.state, batch.id) if word != "idle" else ()
    if phase == "doubt" and batch.doubted is not None:
        return ("doubt", batch.doubted.doubt, batch.doubted.raised_at)
    if phase == "asking" and batch.question is not None:
        return ("asking", batch.question.key, batch.question.asked_at)
    if word == "empty vessel":
        return _emptying(batch, bench)
    if word in ("vessel on", "put back", "stop"):
        return (word, batch.weighing, word == "vessel on" and _is_full_one_on(batch, bench))
    if phase == "waiting" and bench.spoken_for[:1] not in _SAID_SINCE and too_much_for_the_bowl(batch):
        return ("too much for the bowl", batch.vessel)
    if phase == "waiting" and told_now(batch) and bench.spoken_for[:2] not in _spoken_of(batch):
        return ("told", batch.weighing)
    if phase == "waiting" or (word == "take out" and phase == "over"):
        return ("next", batch.weighing, batch.factor, batch.swaps)
    if phase == "under" and bench.rest is not None:
        return ("under", batch.weighing, bench.rest.known_at)
    return ()


def _emptying(batch: Batch, bench: Bench) -> About:
    """That the vessel is to be emptied, that it goes back, or that something is still in it."""
    if bench.is_vessel_off:
        return ("put back empty", batch.emptying)
    inside_mg, rest = still_in_mg(batch, bench), bench.rest
    if inside_mg is None or rest is None:
        return ()
    is_whole = is_all_in(batch, rest.mass_mg)
    return ("empty the vessel", batch.emptying) if is_whole else ("not empty", rest.known_at)


def _spoken_of(batch: Batch) -> tuple[About, ...]:
    return ("told", batch.weighing), ("next", batch.weighing)


def words(batch: Batch | None, bench: Bench, thing: About) -> Told:
    """The phrase and its values for what `about` named; raises ValueError for what it cannot have named now."""
    if batch is None:
        return "scale lost", ()
    match thing[0]:
        case "complete":
            return "complete", (("title", batch.formula.title),)
        case "doubt":
            return _doubt(batch, bench)
        case "asking":
            return _asking(batch)
        case "vessel on":
            return _vessel_on(batch, bench)
        case "too much for the bowl":
            return "too much for the bowl", _too_much(batch)
        case "empty the vessel" | "not empty" as phrase:
            return phrase, (("grams", grams_text(still_in_mg(batch, bench) or 0)),)
        case "put back":
            return "put the bowl back", ()
        case "next":
            return _next(batch)
        case "told":
            line = told_now(batch)[0]
            amount = line.told_at(batch.factor) or ""
            return "told count", (("amount", amount), ("ingredient", line.ingredient))
        case "under":
            return "under", _missing(batch, bench)
        case name:
            return str(name), ()


def told_now(batch: Batch) -> tuple[Addition, ...]:
    """The lines that are told, not weighed, and stand right before what is open, or at the end where nothing is."""
    upto = batch.weighing.key if batch.weighing and batch.weighing.kind == "addition" else None
    if upto is None and batch.weighing is not None:
        return ()
    lines: list[Addition] = []
    for addition in batch.formula.additions:
        if addition.key == upto:
            break
        if addition.is_told:
            lines.append(addition)
        else:
            lines.clear()
    return tuple(lines)


def grams_text(mass_mg: Fraction | int) -> str:
    return str(abs(Fraction(mass_mg)) / 1000)


def _vessel_on(batch: Batch, bench: Bench) -> Told:
    addition = batch.addition
    if addition is not None and batch.needs_a_tub:
        return "put a tub on", (("ingredient", batch.name_of(addition)),)
    return "take the full one off" if _is_full_one_on(batch, bench) else "put the bowl on", ()


def _is_full_one_on(batch: Batch, bench: Bench) -> bool:
    """Whether a vessel that is done with still stands there."""
    return batch.standing_mg is not None and not bench.has_lifted


def _too_much(batch: Batch) -> tuple[tuple[str, str], ...]:
    masses = too_much_for_the_bowl(batch) or (Fraction(0), Fraction(0))
    return tuple((name, grams_text(mass)) for name, mass in zip(("grams", "capacity_grams"), masses, strict=True))


def _next(batch: Batch) -> Told:
    weighing, addition = batch.weighing, batch.addition
    if weighing is None or addition is None:
        return "complete", (("title", batch.formula.title),)
    ingredient = ("ingredient", batch.name_of(addition))
    if addition.feel_mg is not None:
        low, high = (grams_text(end * batch.factor) for end in addition.feel_mg)
        return "next by feel", (ingredient, ("from_grams", low), ("to_grams", high))
    held = batch.content(weighing.key).in_mg
    missing = held if weighing.kind == "pour in" else batch.target_mg(addition) - held
    phrase = {"addition": "next", "top-up": "top up", "take out": "take out", "pour in": "pour in"}[weighing.kind]
    return phrase, (ingredient, ("grams", grams_text(missing)))


def _missing(batch: Batch, bench: Bench) -> tuple[tuple[str, str], ...]:
    addition, rest = batch.addition, bench.rest
    if addition is None or rest is None:
        return ()
    missing = batch.target_mg(addition) - batch.total_mg(rest.mass_mg)
    return (("ingredient", batch.name_of(addition)), ("grams", grams_text(missing)))


def _doubt(batch: Batch, bench: Bench) -> Told:
    doubted = batch.doubted
    if doubted is None:
        raise ValueError("no doubt stands")
    addition = batch.addition
    if doubted.doubt == "zero lost" and batch.plate_mg is None and addition is not None:
        return "addition unknown", (("ingredient", batch.name_of(addition)),)  # a lift would not tell
    if doubted.doubt != "load changed":
        return doubted.doubt, ()
    change = doubted.gross_mg - (bench.expected_mg or batch.reference_mg or 0)
    return ("came back heavier" if change > 0 else "came back lighter"), (("grams", grams_text(change)),)


def _asking(batch: Batch) -> Told:
    question = batch.question
    if question is None:
        raise ValueError("no question stands")
    addition = batch.formula.addition(question.key)
    total = batch.content(question.key).in_mg + question.net_mg
    is_over = verdict(batch, addition, total) == "over"
    grams = total - batch.target_mg(addition) if is_over else total
    values = (("ingredient", batch.name_of(addition)), ("grams", grams_text(grams)))
    return ("over" if is_over else "ran out"), values + advised(batch, question.offers[0])


def advised(batch: Batch, offer: Offer) -> tuple[tuple[str, str], ...]:
    """The advice that an offer is, with its values: "make 12 % more", "take 7 g out"."""
    pieces = batch.formula.pieces
    change = (offer.factor / batch.factor - 1) * 100
    match offer.offer:
        case "take out":
            question = batch.question
            key = question.key if question else batch.order[0]
            out = ("out_ingredient", batch.formula.addition(key).ingredient)
            return ("advice", "advise take out"), out, ("out_grams", grams_text(offer.taken_out_mg))
        case "keep":
            return (("advice", "advise keep"),)
        case "rebalance":
            return (("advice", "advise rebalance"),)
        case _ if change == 0:
            return (("advice", "advise top up"),)
    if pieces is not None and offer.makes is not None and offer.makes.denominator == 1:
        phrase = "advise pieces" if change > 0 else "advise fewer"
        before = pieces * batch.factor
        if before.denominator == 1:
            return ("advice", phrase), ("new_pieces", str(offer.makes)), ("old_pieces", str(before))
    return ("advice", "advise more" if change > 0 else "advise less"), ("percent", str(abs(change)))
