"""What a bowl consists of, and how what is not in yet can be changed so that it consists of what it was meant to.

The balance of a bowl is what share of it is water, fat, sugars and other solids. A bowl that has 7 g of egg too much
has too much water; where the milk is still to come, a little less of it puts that right. What is not in yet is changed
by at most 5 % (never salt, leavening, gelling or acid, nor what is weighed by feel), so that the four shares come as
near as they can to those of the formula, by least squares with a slight pull towards no change. Changes within a
tolerance, which would not be noticed, are not made.

Where an ingredient's composition is not known nothing is worked out; tight ones count as solids then, since there is
little of them. Too much of a tight one is no matter of balance: a dough is as salty as it is.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction
from math import ceil, floor, hypot
from typing import NamedTuple

from scaled.formula.least_squares import bounded
from scaled.formula.situation import Content, Situation
from scaled.formula.values import Composition

MOST_CHANGE = Fraction(5, 100)
PULL = 0.1  # a gram of change counts as much as a tenth of a gram out of balance
MUST_REMAIN = 0.75  # of what is out of balance: with more left than this it is no better than keeping

ALL_SOLIDS = Composition(Fraction(0), Fraction(0), Fraction(0))


class Shares(NamedTuple):
    """What share (0 to 1) of an ingredient or of a bowl is what."""

    water: float
    fat: float
    sugars: float
    solids: float


def shares_of(composition: Composition) -> Shares:
    """A composition in floats, as the sums of many need it."""
    water, fat, sugars = float(composition.water), float(composition.fat), float(composition.sugars)
    return Shares(water, fat, sugars, 1.0 - water - fat - sugars)


def known_shares(situation: Situation) -> list[Shares] | None:
    """The shares of each content; None where a composition is not known that matters."""
    if any(content.composition is None and not content.is_tight for content in situation.contents):
        return None
    return [shares_of(content.composition or ALL_SOLIDS) for content in situation.contents]


def balance(known: Sequence[Shares], masses: Sequence[float]) -> Shares:
    """The shares of a bowl of these masses (any unit); all 0 where there is none."""
    total = sum(masses) or 1.0
    return Shares(
        *[sum([m * part for m, part in zip(masses, parts, strict=True)]) / total for parts in zip(*known, strict=True)]
    )


def balances(situation: Situation, bowl_mg: Sequence[int]) -> tuple[Shares, Shares, Shares] | None:
    """The shares of a bowl, of going on as it is, and of the formula as written; None where they are not known."""
    known = known_shares(situation)
    if known is None:
        return None
    return (
        balance(known, bowl_mg),
        balance(known, [_kept_mg(content, situation.factor) for content in situation.contents]),
        balance(known, [float(content.weight_mg) for content in situation.contents]),
    )


def water_of_flour(situation: Situation, bowl_mg: Sequence[int]) -> Fraction | None:
    """How much more water than was meant goes with the flour, as a share of the flour; None where it is not known.

    Only what is off its target counts, so that only its composition must be known.
    """
    flour = sum((content.weight_mg for content in situation.contents if content.is_flour), Fraction(0))
    water = Fraction(0)
    for content, mass in zip(situation.contents, bowl_mg, strict=True):
        more = mass - content.weight_mg * situation.factor
        if round(more) and content.composition is None:
            return None
        water += more * (content.composition or ALL_SOLIDS).water
    return water / (flour * situation.factor) if flour else None


def rebalanced(situation: Situation, off: Collection[int]) -> dict[int, int] | None:
    """What is not in yet and is changed, by place in whole mg, so that the bowl comes back into balance.

    `off` are the places of what is in and out of its band. None where compositions are not known, nothing can be
    changed, the bowl would not hold it or it does no better than keeping.
    """
    factor, contents = situation.factor, situation.contents
    if all(contents[i].is_tight for i in off):
        return None
    places = [i for i, content in enumerate(contents) if not content.is_in and _can_change(content, factor)]
    known = known_shares(situation) if places else None
    if known is None:
        return None
    meant = balance(known, [float(content.weight_mg) for content in contents])
    kept = [_kept_mg(content, factor) for content in contents]
    changed: dict[int, int] = {}
    while places:
        changed = _changed(situation, known, kept, meant, places)
        small = {i for i in places if _is_too_small(contents[i], changed[i], factor)}
        if not small:
            break
        places = [i for i in places if i not in small]
    masses = [changed[i] if i in places else mass for i, mass in enumerate(kept)]
    if not places or (situation.capacity_mg is not None and sum(masses) > situation.capacity_mg):
        return None
    is_better = _off_balance(known, masses, meant) <= MUST_REMAIN * _off_balance(known, kept, meant)
    return {i: changed[i] for i in places} if is_better else None


def _kept_mg(content: Content, factor: Fraction) -> float:
    if content.is_in:
        return float(content.in_mg)
    target = content.weight_mg * factor
    return float(target if content.more_mg is None else min(target, content.more_mg))


def _can_change(content: Content, factor: Fraction) -> bool:
    if content.is_tight or content.tolerance is None:
        return False
    return content.more_mg is None or content.more_mg > content.weight_mg * factor * (1 - MOST_CHANGE)


def _bounds_mg(content: Content, target_mg: Fraction) -> tuple[Fraction, Fraction]:
    high = target_mg * (1 + MOST_CHANGE)
    return target_mg * (1 - MOST_CHANGE), high if content.more_mg is None else min(high, content.more_mg)


def _is_too_small(content: Content, mass_mg: int, factor: Fraction) -> bool:
    target = content.weight_mg * factor
    return content.tolerance is None or content.tolerance.lo_mg(target) <= mass_mg <= content.tolerance.hi_mg(target)


def _changed(
    situation: Situation, known: list[Shares], kept_mg: Sequence[float], meant: Shares, places: list[int]
) -> dict[int, int]:
    """The whole mg of those that are changed, by place. The unknowns are grams away from the target.

    A gram of an ingredient moves the bowl away from the shares that are meant by what its own differ from them.
    """
    targets = {i: situation.contents[i].weight_mg * situation.factor for i in places}
    base = [float(targets.get(i, mass)) / 1000 for i, mass in enumerate(kept_mg)]
    pulls = [[part - share for part, share in zip(parts, meant, strict=True)] for parts in known]
    bounds = [_bounds_mg(situation.contents[i], target) for i, target in targets.items()]
    found = bounded(
        columns=[pulls[i] for i in places],
        right=[
            -sum([mass * pull for mass, pull in zip(base, parts, strict=True)]) for parts in zip(*pulls, strict=True)
        ],
        damping=PULL,
        low=[float(low - target) / 1000 for target, (low, _) in zip(targets.values(), bounds, strict=True)],
        high=[float(high - target) / 1000 for target, (_, high) in zip(targets.values(), bounds, strict=True)],
    )
    return {
        i: min(max(round(target + Fraction(round(change * 1_000_000), 1000)), ceil(low)), floor(high))
        for (i, target), change, (low, high) in zip(targets.items(), found, bounds, strict=True)
    }


def _off_balance(known: Sequence[Shares], masses: Sequence[float], meant: Shares) -> float:
    """How far a bowl is from the shares that are meant, as a length."""
    return hypot(*[now - then for now, then in zip(balance(known, masses), meant, strict=True)])
