"""No offer on the front is beaten by a bowl found by random search under the conditions of its row.

Each bowl tried is made of what each addition may come to, as `rows_of` reads it from the design: left as it is, at
its target, at an end of its band or anywhere between, some of them as the offer has them. What is held of an offer:

- its factor: nothing that is tried between the factor before and the least (above a scale down: up to the factor
  before) is in proportion with what its row lets come out, and no fewer pieces above the least are;
- at its factor no bowl takes fewer weighings, of those that take as few none has a smaller worst deviation, and none
  is better in each of extra mass, weighings, worst deviation and mass taken out;
- no other offer shown is as good in all four and better in one.

A full bowl is the exception: there the design has all give way by the same share of what they can, which may mean
more weighings than it would take. Of those only the factor is held, and what beats them is counted.

Run by hand, or by the test of the mutants: `python correction_search.py CASES SEED` prints the first disagreement
and ends with 1 if there was one.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "correction"))

from correction_cases import Case, Row, costs, draw, is_possible, rows_of
from correction_runs import run

from scaled.formula.correct import correct
from scaled.formula.situation import Offer

TRIES = 40  # bowls, and as many factors, for each offer
UPWARDS = ("scale up, least", "whole pieces", "scale up, exact")

Costs = tuple[Fraction, ...]


def beaten(case: Case, seed: str, seen: Counter[str]) -> Iterator[str]:
    """What beats an offer of this case; `seen` counts the offers and what was tried."""
    rng = random.Random(f"search-{seed}")
    rows = rows_of(case)
    offers = [offer for offer in correct(case.situation).offers if offer.offer != "keep"]
    for offer in offers:
        seen[offer.offer] += 1
        yield from (f"{offer.offer}: {wrong}" for wrong in _by_factor(case, rows, offer, rng, seen))
        yield from (f"{offer.offer}: {wrong}" for wrong in _by_bowl(case, rows, offer, rng, seen))
    for offer in offers:
        for other in offers:
            if other is not offer and _is_clearly_beaten(_told(offer), _told(other), _by_rounding(rows, offer)):
                yield f"{offer.offer} is beaten by {other.offer}"


def _by_rounding(rows: list[Row], offer: Offer) -> Fraction:
    """What whole mg can do to a worst deviation."""
    return 2 / min(row.weight * offer.factor for row in rows)


def _is_clearly_beaten(mine: Costs, theirs: Costs, off: Fraction) -> bool:
    """The other is better in one of the four and no worse in any, by more than whole mg can do to either."""
    slack = (Fraction(20), Fraction(0), off, Fraction(20))
    is_as_good = all(t == m or t < m - s for t, m, s in zip(theirs, mine, slack, strict=True))
    return is_as_good and theirs != mine and (theirs[2] != mine[2] or off < mine[2])


def _told(offer: Offer) -> Costs:
    """What an offer says that it costs; that it is so is `correction_highs`' subject."""
    return (offer.extra_mass_mg, Fraction(offer.extra_weighings), offer.worst_deviation, Fraction(offer.taken_out_mg))


def _by_factor(case: Case, rows: list[Row], offer: Offer, rng: random.Random, seen: Counter[str]) -> Iterator[str]:
    is_kept = offer.offer in UPWARDS
    if offer.offer == "whole pieces" and case.formula.pieces is not None:
        pieces = case.formula.pieces
        least = correct_least(case, rows, offer.factor)
        tried = [Fraction(k) / pieces for k in range(int(least * pieces) + 1, int(offer.factor * pieces))]
    elif offer.offer in ("scale up, least", "scale down"):
        span = offer.factor - case.factor
        tried = [case.factor + span * Fraction(rng.randint(0, 999_999), 1_000_000) for _ in range(TRIES)]
        tried += [offer.factor - span / 10**n for n in range(2, 9)]
    else:
        return
    for factor in tried:
        seen["factors tried"] += 1
        if factor != offer.factor and is_possible(case, rows, factor, is_kept=is_kept):
            yield f"factor {factor} would do, not only {offer.factor}"
            return


def correct_least(case: Case, rows: list[Row], most: Fraction) -> Fraction:
    """The least factor with nothing coming out, from the rows: what is in sets it."""
    bounds = [(row.inside - row.hi_rest) / row.hi_slope for row in rows if row.is_in and not row.is_by_feel]
    return min(most, max(case.factor, case.formula.limits[0] * case.factor, *bounds))


def _by_bowl(case: Case, rows: list[Row], offer: Offer, rng: random.Random, seen: Counter[str]) -> Iterator[str]:
    is_kept = offer.offer in UPWARDS
    mine = _told(offer)
    is_full = case.capacity_mg is not None and sum(offer.bowl_mg) + 2 * len(rows) >= case.capacity_mg
    is_settled = offer.offer == "whole pieces" and case.formula.pieces is None  # whole eggs stand where they stand
    off = _by_rounding(rows, offer)
    for _ in range(TRIES):
        bowl = [_mass(row, offer, mass, rng, is_kept=is_kept) for row, mass in zip(rows, offer.bowl_mg, strict=True)]
        if case.capacity_mg is not None and sum(bowl) > case.capacity_mg:
            continue
        seen["bowls tried"] += 1
        theirs = costs(case, rows, offer.factor, bowl)
        wrong = _wrong(mine, theirs, off, is_settled=is_settled)
        if wrong is not None:
            seen["beaten where the bowl is full"] += is_full
            if not is_full:
                yield f"{wrong}: {[float(mass) for mass in bowl]}"
            return


def _wrong(mine: Costs, theirs: Costs, off: Fraction, *, is_settled: bool) -> str | None:
    """In what a bowl at the same factor beats the offer; `off` is what whole mg do to a worst deviation."""
    if theirs[1] < mine[1]:
        return f"{mine[1]} weighings, {theirs[1]} would do"
    if theirs[1] == mine[1] and theirs[2] < mine[2] - off and not is_settled:
        return f"off by {float(mine[2])}, {float(theirs[2])} can be had"
    if all(t < m for t, m in zip(theirs, mine, strict=True)):
        return f"{theirs} is better in each than {mine}"
    return None


def _mass(row: Row, offer: Offer, offered: int, rng: random.Random, *, is_kept: bool) -> Fraction:
    """One mass that this addition may come to at the offer's factor."""
    low, high = row.reach(offer.factor, is_kept=is_kept)
    top = row.hi(offer.factor) if high is None else high
    chance = rng.random()
    if chance < 0.35 and low <= offered <= top:
        return Fraction(offered)
    if chance < 0.6 and low <= row.inside <= top:
        return row.inside
    if chance < 0.8:
        return min(max(row.weight * offer.factor, low), top)
    return low + (top - low) * Fraction(rng.choice([0, 1, 2, 2, *range(1, 64)]), 64) if chance < 0.95 else low


def wrong_in(name: str, seen: Counter[str]) -> Iterator[str]:
    """All that beats an offer of one random case."""
    yield from beaten(draw(name), name, seen)


if __name__ == "__main__":
    sys.exit(run(wrong_in))
