"""What a good cook would say to the question that stands, in plain words: shown first among the cautions.

Words only. Which offers there are, in which order and what a yes takes is the solver's and stays. To start a stage
again is no offer, since nothing of what is in is left by it: it is said with what it throws away, and taken by a wish
of its own.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.batch.acceptance import shown_mg, verdict
from scaled.batch.answered import thrown_away
from scaled.batch.batch import Batch, Emptying, Question
from scaled.formula.front import KEEP, SCALE_DOWN
from scaled.formula.values import MG_PER_KG, Addition

LEAST_WATER = Fraction(1, 1000)  # of the flour: less is not worth a word


def counsel(batch: Batch) -> tuple[str, ...]:
    """The advice, then what leaving it as it is would mean; what to do about a vessel that is to be emptied."""
    question = batch.question
    if batch.emptying is not None:
        return _to_be_emptied(batch, batch.emptying)
    if question is None:
        return ()
    addition = batch.formula.addition(question.key)
    content = batch.content(question.key)
    total = content.in_mg + question.net_mg
    if verdict(batch, addition, total, content.weighings + 1) == "under":
        return (_ran_out(batch, question, addition),)
    left = _left_as_it_is(batch, question, addition, total)
    said = _said(batch, question, addition)
    return (said, left) if said else (left,)


def _said(batch: Batch, question: Question, addition: Addition) -> str | None:
    """What speaks for another way than the first offer; None where nothing does."""
    advice, offers = question.advice, question.offers
    if advice is None:
        return None
    if advice.start_again is not None:
        is_cheap = advice.why == "it costs less than making more"
        why = "what is in costs less than making more" if is_cheap else f"{addition.ingredient} cannot be made up for"
        return f"start stage {advice.start_again} again: {why}; that throws away {_lost(batch, thrown_away(batch))}"
    if advice.why == "it is little":
        return "it is little: leave it, note it"
    if advice.why == "nothing is wrong":
        return "it is in its tolerance, but too near the limit for the guard: leave it, note it"
    if offers[advice.offer].offer != KEEP:
        return None
    if len(offers) == 1:
        return "nothing sensible makes up for it: leave it, note it"
    return "leave it, note it: the rest would have to change too much"


def _to_be_emptied(batch: Batch, emptying: Emptying) -> tuple[str, ...]:
    """What is thrown away, what follows, and how another vessel is taken."""
    addition = batch.addition
    then = f"{batch.name_of(addition)}, {_grams(batch.target_mg(addition))}" if addition is not None else "on"
    return (
        f"empty the vessel, {_lost(batch, emptying.thrown_mg)}, and put it back; stage {emptying.stage} begins again: "
        f"{then}",
        "is it empty, or another vessel? Say 'next' once it stands there",
    )


def _lost(batch: Batch, thrown_mg: tuple[tuple[str, int], ...]) -> str:
    """`245 g, worth 0.29`: without the worth where the price of any of it is not known."""
    worth = Fraction(0)
    for key, mass_mg in thrown_mg:
        price = batch.formula.addition(key).price_per_kg
        if price is None or batch.product_of(key) is not None:
            return _grams(sum(mass_mg for _key, mass_mg in thrown_mg))
        worth += price * mass_mg / MG_PER_KG
    return f"{_grams(sum(mass_mg for _key, mass_mg in thrown_mg))}, worth {float(worth):.2f}"


def _grams(mass_mg: Fraction | int) -> str:
    """Whole grams from 20 g up, one decimal below."""
    grams = float(mass_mg) / 1000
    return f"{grams:.0f} g" if grams >= 20 else f"{grams:.1f} g"


def _left_as_it_is(batch: Batch, question: Question, addition: Addition, total_mg: int) -> str:
    """`left as it is: whole egg +14 %, water +2.2 % of the flour`."""
    shown = shown_mg(total_mg, batch.facts.division_mg)
    parts = [f"{addition.ingredient} {_signed(shown / batch.target_mg(addition) - 1)}"]
    water = question.more_water
    if water is not None and abs(water) >= LEAST_WATER:
        parts.append(f"water {_signed(water)} of the flour")
    return f"left as it is: {', '.join(parts)}"


def _ran_out(batch: Batch, question: Question, addition: Addition) -> str:
    """All the ways when there is no more of an ingredient."""
    less = next((offer for offer in question.offers if offer.offer == SCALE_DOWN), None)
    if less is None:
        make_less = "less cannot be made of what is in"
    else:
        make_less = f"or make {_percent(1 - less.factor / batch.factor)} less"
    return (
        f"is there another pack? Go on pouring {batch.name_of(addition)} and name its lot; {make_less}; "
        "or leave it, note it. It cannot wait for the others: some of it is in"
    )


def _signed(share: Fraction) -> str:
    return f"{'-' if share < 0 else '+'}{_percent(abs(share))}"


def _percent(share: Fraction) -> str:
    """Whole per cent from 10 up, one decimal below."""
    percent = float(share * 100)
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.1f} %"
