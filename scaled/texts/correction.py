"""A correction as a cook likes to read it: what is wrong, then each way out as what to do and what it costs.

Masses are whole grams from 20 g up, one decimal below and two below 1 g, since a cook weighs by them; percentages are
whole from 10 up. The exact figures are in the JSON document.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from scaled.formula.advice import Advice, advice, worth
from scaled.formula.balance import balances, water_of_flour
from scaled.formula.correction_json import changes
from scaled.formula.situation import Content, Correction, Offer, Situation
from scaled.formula.values import Formula


def correction_text(formula: Formula, situation: Situation, correction: Correction) -> str:
    """The whole answer, several lines."""
    planned = sum((content.weight_mg for content in situation.contents), Fraction(0)) * situation.factor
    makes = "" if situation.pieces is None else f", {_pieces(situation.pieces * situation.factor)}"
    lines = [f"{formula.title}, as planned: {mass_text(planned)}{makes}."]
    wrong = [line for content in situation.contents for line in _wrong(content, situation.factor)]
    lines += ["Not as it was meant:", *wrong] if wrong else ["All that is in lies in its band."]
    lines += ["", _advised(formula, situation, correction)]
    for place, offer in enumerate(correction.offers, start=1):
        lines += ["", f"{place}. {offer.offer}: {headline(situation, offer)}"]
        lines += [f"     {line}" for line in _to_do(situation, offer)]
        lines += [f"     {costing}"] if (costing := costs(offer)) else []
    return "\n".join(lines)


def headline(situation: Situation, offer: Offer) -> str:
    """What an offer means in a few words: `12 % more: 9 pieces instead of 8`."""
    share = offer.factor / situation.factor - 1
    more = f"{_percent(abs(share))} {'more' if share > 0 else 'less'}"
    pieces = ""
    if offer.makes is not None and situation.pieces is not None and share:
        pieces = f"{_pieces(offer.makes)} instead of {_number(situation.pieces * situation.factor)}"
    if offer.offer == "keep":
        return _kept(situation, offer)
    if offer.offer == "take out":
        return "make what was planned"
    if offer.offer == "rebalance":
        return "make what was planned, and change what is not in yet a little"
    if not share:
        return "top up, nothing else changes"
    if offer.offer == "whole pieces" and pieces:
        return f"{pieces}, {more}"
    extra = {"whole pieces": ", in whole eggs", "scale up, exact": ", with the overshot one on its target"}
    return more + extra.get(offer.offer, "") + (f": {pieces}" if pieces else "")


def _advised(formula: Formula, situation: Situation, correction: Correction) -> str:
    """What a good cook would do, in a line."""
    said = advice(formula, situation, correction.offers)
    if said.why == "nothing is wrong":
        return "Nothing to correct."
    if said.start_again is not None:
        return _anew(situation, said, correction.offers[said.offer])
    if said.why == "it is little":
        return "Advice: leave it, note it: it is little."
    if len(correction.offers) == 1:
        if correction.factor_range is None:
            low, high = (_number(limit, 3) for limit in situation.limits)
            return f"No factor from {low} to {high} brings everything into its band."
        return "Making more would not be sensible here."
    offer = correction.offers[said.offer]
    if offer.offer == "keep":
        return "Advice: leave it, note it: the rest would have to change too much."
    return f"Advice: {offer.offer}, {headline(situation, offer)}."


def _anew(situation: Situation, said: Advice, offer: Offer) -> str:
    """What to do to start a stage again, and what is lost by it."""
    inside = [content for content in situation.contents if content.is_in]
    because, lost = "it cannot be made up for", worth(situation)
    if said.why == "it costs less than making more" and offer.cost is not None:
        because = f"what is in costs less than making more, which is {float(offer.cost):.2f} dearer"
    money = "" if lost is None else f", worth {float(lost):.2f}"
    mass = mass_text(sum((content.in_mg for content in inside), Fraction(0)))
    return (
        f"Advice: start the stage '{said.start_again}' again: {because}.\n"
        f"     Empty the bowl ({mass}{money}), put it back empty, and weigh {_target(inside[0], situation)}"
        f"{', then the rest of the stage as planned' if len(inside) > 1 else ''}."
    )


def _target(content: Content, situation: Situation) -> str:
    return f"{mass_text(content.weight_mg * situation.factor)} of {content.key}"


def _kept(situation: Situation, offer: Offer) -> str:
    """What keeping means: `whole egg +14 %, water +2.2 % of the flour`."""
    off = []
    for content, mass in zip(situation.contents, offer.bowl_mg, strict=True):
        target = content.weight_mg * situation.factor
        share = mass / target - 1
        tolerance = content.tolerance
        if tolerance is not None and not tolerance.lo_mg(target) <= mass <= tolerance.hi_mg(target):
            off.append(f"{content.key} {_signed(share)}")
    water = water_of_flour(situation, offer.bowl_mg)
    if off and water is not None and abs(water) >= Fraction(1, 1000):
        off.append(f"water {_signed(water)} of the flour")
    return f"go on: {', '.join(off)}; noted in the record" if off else "go on"


def _signed(share: Fraction) -> str:
    return f"{'+' if share > 0 else '-'}{_percent(abs(share))}"


def mass_text(mass_mg: Fraction | int) -> str:
    """`57 g`, `3.4 g`, `0.35 g`."""
    grams = Fraction(mass_mg) / 1000
    return f"{_number(grams, 0 if abs(grams) >= 20 else 1 if abs(grams) >= 1 else 2)} g"


def _wrong(content: Content, factor: Fraction) -> Iterator[str]:
    """A line for an addition that is not as it was meant at the factor before."""
    if content.tolerance is None:
        return
    target = content.weight_mg * factor
    lo, hi = content.tolerance.lo_mg(target), content.tolerance.hi_mg(target)
    if content.is_in and not lo <= content.in_mg <= hi:
        off = content.in_mg / target - 1
        side = "over" if off > 0 else "under"
        wanted = f"{mass_text(content.in_mg)} in, {mass_text(target)} wanted"
        yield f"  {content.key}: {wanted}, {_percent(abs(off))} {side}"
    there_is = content.more_mg
    if there_is is not None and content.in_mg + there_is < lo:
        rest = "nothing more" if there_is == 0 else f"only {mass_text(there_is)} more"
        yield f"  {content.key}: {rest} to be had, {mass_text(max(Fraction(0), target - content.in_mg))} needed"


def _to_do(situation: Situation, offer: Offer) -> Iterator[str]:
    contents = {content.key: content for content in situation.contents}
    for key, before, after in changes(situation, offer):
        if not contents[key].is_in:
            yield f"{key}: {mass_text(after)} instead of {mass_text(before)}"
        elif after > before:
            yield f"top up {key} by {mass_text(after - before)}, to {mass_text(after)}"
        else:
            yield f"take out {mass_text(before - after)} of {key}, {mass_text(after)} stays"
    if offer.offer == "rebalance":
        yield _balanced(situation, offer)


def _balanced(situation: Situation, offer: Offer) -> str:
    """The balance with it, without it and as written: `water 31.2 % (32.0 % if kept, 31.0 % as written)`."""
    shares = balances(situation, offer.bowl_mg)
    if shares is None:
        return ""
    with_it, kept, written = shares
    names = ("water", "fat", "sugars")
    return "; ".join(
        f"{name} {100 * a:.1f} % ({100 * b:.1f} % if kept, {100 * c:.1f} % as written)"
        for name, a, b, c in zip(names, with_it, kept, written, strict=False)
    )


def costs(offer: Offer) -> str:
    """What an offer costs, in one line; nothing where it costs nothing."""
    parts = []
    if abs(offer.extra_mass_mg) >= 5:
        parts.append(f"{mass_text(abs(offer.extra_mass_mg))} {'more' if offer.extra_mass_mg > 0 else 'less'} in all")
    if offer.extra_weighings:
        parts.append(f"{offer.extra_weighings} weighing{'s' if offer.extra_weighings > 1 else ''}")
    if round(offer.worst_deviation, 3):  # less is what rounding to whole mg leaves
        parts.append(f"up to {_percent(offer.worst_deviation)} off target")
    if offer.cost is not None and round(offer.cost, 2):
        parts.append(f"{float(abs(offer.cost)):.2f} {'dearer' if offer.cost > 0 else 'cheaper'}")
    return ", ".join(parts)


def _pieces(count: Fraction) -> str:
    text = _number(count)
    return f"{text} piece" if text == "1" else f"{text} pieces"


def _percent(share: Fraction) -> str:
    percent = share * 100
    return f"{_number(percent, 0 if percent >= 10 else 1)} %"


def _number(value: Fraction, places: int = 1) -> str:
    """A number of at most so many decimals, without zeros at its end."""
    text = f"{float(round(value, places)):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
