"""A correction as the document of the contract: grams rounded to 0.001, percentages to 0.01, factors as doubles."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from scaled.formula.figures import grams
from scaled.formula.situation import Correction, Offer, Situation
from scaled.formula.values import Formula


def correction_json(formula: Formula, situation: Situation, correction: Correction) -> dict[str, Any]:
    """What `scaled formula correct --json` prints."""
    factors = correction.factor_range
    return {
        "formula": formula.stem,
        "title": formula.title,
        "factor_range": None if factors is None else [float(factors[0]), float(factors[1])],
        "offers": [
            offer_json(offer, [content.key for content in situation.contents], changes(situation, offer))
            for offer in correction.offers
        ],
    }


def offer_json(offer: Offer, keys: Iterable[str], changed: Iterable[tuple[str, int, int]]) -> dict[str, Any]:
    """One offer: `keys` of its bowl in order, and of what changes the key and the mg before and after."""
    return {
        "offer": offer.offer,
        "factor": float(offer.factor),
        "factor_exact": str(offer.factor),
        "bowl": {key: grams(mass) for key, mass in zip(keys, offer.bowl_mg, strict=True)},
        "changes": [
            {"ingredient": key, "from_g": grams(before), "to_g": grams(after)} for key, before, after in changed
        ],
        "extra_mass_g": grams(offer.extra_mass_mg),
        "extra_weighings": offer.extra_weighings,
        "taken_out_g": grams(offer.taken_out_mg),
        "worst_deviation_pct": float(round(offer.worst_deviation * 100, 2)),
        "makes": None if offer.makes is None else float(offer.makes),
        "cost": None if offer.cost is None else float(round(offer.cost, 2)),
    }


def changes(situation: Situation, offer: Offer) -> list[tuple[str, int, int]]:
    """Each addition whose whole mg change, in order: its key, what is in (or was planned), what it comes to."""
    rows = []
    for content, after in zip(situation.contents, offer.bowl_mg, strict=True):
        before = round(content.in_mg if content.is_in else content.weight_mg * situation.factor)
        if before != after:
            rows.append((content.key, before, after))
    return rows
