"""What a good cook would say to the ways out: which one to take, and when to leave it or to start the stage again.

The order of the offers is the solver's and stays; advice may point at another of them. Common practice throughout:
a little too much of something that is not tight is left and noted, and a bowl that costs less than what it would take
to make up for it is thrown away and weighed anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from scaled.formula.front import KEEP, SCALE_UP_EXACT, SCALE_UP_LEAST, WHOLE_PIECES
from scaled.formula.situation import Content, Offer, Situation
from scaled.formula.values import MG_PER_KG, Formula

LEFT_UP_TO = Fraction(3, 2)  # of the tolerance: so much too much is left and noted
UPWARDS = frozenset({SCALE_UP_LEAST, WHOLE_PIECES, SCALE_UP_EXACT})

Why = Literal["nothing is wrong", "it is little", "it costs less than making more", "it cannot be made up for", "first"]


@dataclass(frozen=True)
class Advice:
    """`offer` is the index of the offer to take; `start_again` names a stage to be weighed anew instead."""

    offer: int
    why: Why
    start_again: str | None = None


def advice(formula: Formula, situation: Situation, offers: tuple[Offer, ...]) -> Advice:
    """What to do about a situation whose ways out are `offers`, as `correct` gave them."""
    keep = next(i for i, offer in enumerate(offers) if offer.offer == KEEP)
    off = [content for content in situation.contents if content.is_off(situation.factor)]
    if not off and len(offers) == 1:
        return Advice(keep, "nothing is wrong")
    if off and all(is_little(content, situation.factor) for content in off):
        return Advice(keep, "it is little")
    stage = _stage_on_its_own(formula, situation, off)
    if stage is not None and len(offers) == 1 and any(content.is_tight for content in off):
        return Advice(keep, "it cannot be made up for", stage)
    first = offers[0]
    if stage is not None and first.offer in UPWARDS and _is_cheaper_anew(situation, first):
        return Advice(0, "it costs less than making more", stage)
    return Advice(0, "first")


def is_little(content: Content, factor: Fraction) -> bool:
    """Whether something overshot may be left and noted: by at most 1.5 times its tolerance, and not tight."""
    if content.tolerance is None or content.is_tight:
        return False
    target = content.weight_mg * factor
    return 0 < content.in_mg - target <= LEFT_UP_TO * content.tolerance.over.width_mg(target)


def is_left_by_itself(content: Content, factor: Fraction, division_mg: int) -> bool:
    """Whether `leave_small: yes` goes on without a question: by a division or half the tolerance above the band."""
    if content.tolerance is None or content.is_tight:
        return False
    target = content.weight_mg * factor
    width = content.tolerance.over.width_mg(target)
    return 0 < content.in_mg - target - width <= max(Fraction(division_mg), width / 2)


def _stage_on_its_own(formula: Formula, situation: Situation, off: list[Content]) -> str | None:
    """The stage that holds all that is in and something overshot: thrown away, nothing else is lost."""
    stages = {formula.addition(content.key).stage for content in situation.contents if content.is_in}
    over = any(content.in_mg > content.weight_mg * situation.factor for content in off)
    if not over or len(stages) != 1:
        return None
    stage = stages.pop()
    return stage if _is_to_be_had_again(formula, situation, stage) else None


def _is_to_be_had_again(formula: Formula, situation: Situation, stage: str) -> bool:
    """Whether there is enough of all that is in to weigh it anew.

    Of a closed stage that is `late: no` nothing can be added, whatever there is of it: in an empty bowl it can.
    """
    contents = [content for content in situation.contents if content.is_in]
    if not formula.stage(stage).is_late and all(content.more_mg == 0 for content in contents):
        return True
    return all(
        content.more_mg is None or content.more_mg >= content.weight_mg * situation.factor for content in contents
    )


def worth(situation: Situation) -> Fraction | None:
    """What all that is in costs; None where the price of something in it is not known."""
    contents = [content for content in situation.contents if content.in_mg]
    if any(content.price_per_kg is None for content in contents):
        return None
    return sum((content.in_mg * (content.price_per_kg or 0) / MG_PER_KG for content in contents), Fraction(0))


def _is_cheaper_anew(situation: Situation, offer: Offer) -> bool:
    """Whether all that is in costs less than an offer costs more; unknown prices say no."""
    lost = worth(situation)
    return lost is not None and offer.cost is not None and lost < offer.cost
