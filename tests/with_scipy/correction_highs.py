"""The correction beside scipy's `linprog` (HiGHS): the same verdict and the same factor on random cases.

The rival gets the constraints as `rows_of` reads them from the design: variables are the factor and each mass,
`lo(f) <= b <= hi(f)`, `a - r <= b <= a + t`, `sum(b) <= capacity`, f within the limits; it minimises or maximises f.
Ours must lie within `1 mg / max w` of it. Bowls are checked in exact arithmetic, against the same rows.

Run by hand, or by the test of the mutants with another product on the path:
`python correction_highs.py CASES SEED` prints the first disagreement and ends with 1 if there was one.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linprog

sys.path.insert(0, str(Path(__file__).parents[1] / "correction"))

from correction_cases import Case, Row, bowl_by_rule, costs, draw, rows_of
from correction_runs import run

from scaled.formula.correct import correct
from scaled.formula.situation import Offer

UPWARDS = ("scale up, least", "whole pieces", "scale up, exact")
TIGHT = ("salt", "leavening", "gelling", "acid")


def program(case: Case, rows: list[Row], *, is_kept: bool, sign: int, capacity_mg: Fraction | None) -> dict[str, Any]:
    """What `linprog` is given to find the least (`sign` 1) or the largest (-1) feasible factor."""
    unit = max(row.weight for row in rows)
    count = len(rows)
    matrix, right = [], []
    low, high = (float(limit * case.factor) for limit in case.formula.limits)
    bounds: list[tuple[float, float | None]] = [(max(low, float(case.factor)) if is_kept else low, high)]
    for i, row in enumerate(rows):
        line = np.zeros(count + 1)
        line[i + 1] = 1
        if row.is_by_feel and row.is_in:
            bounds.append((float(row.inside / unit), float(row.inside / unit)))
            continue
        lo, hi = (row.weight, row.weight) if row.is_by_feel else (row.lo_slope, row.hi_slope)
        line[0] = -float(hi / unit)  # b - hi_slope f <= hi_rest
        matrix.append(line)
        right.append(float(row.hi_rest / unit))
        line = -line
        line[0] = float(lo / unit)  # lo_slope f - b <= -lo_rest
        matrix.append(line)
        right.append(-float(row.lo_rest / unit))
        least = row.inside if is_kept else row.least
        most = None if row.most is None or row.is_by_feel else float(row.most / unit)
        bounds.append((float(least / unit), most))
    if capacity_mg is not None:
        matrix.append(np.array([0.0] + [1.0] * count))
        right.append(float(capacity_mg / unit))
    aim = np.zeros(count + 1)
    aim[0] = sign
    return {
        "c": aim,
        "A_ub": np.array(matrix) if matrix else None,
        "b_ub": right or None,
        "bounds": bounds,
        "method": "highs",
        "options": {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    }


def linear(case: Case, rows: list[Row], *, is_kept: bool, sign: int, capacity_mg: Fraction | None) -> float | None:
    """The least (`sign` 1) or the largest (-1) feasible factor by HiGHS; None where nothing is feasible."""
    asked = program(case, rows, is_kept=is_kept, sign=sign, capacity_mg=capacity_mg)
    low, high = asked["bounds"][0]
    if low > high:
        return None
    found = linprog(**asked)
    if found.status not in (0, 2):
        raise RuntimeError(f"HiGHS gave up: {found.message}")
    return None if found.status == 2 else float(found.x[0])


def disagreements(case: Case, seen: Counter[str]) -> Iterator[str]:
    """What the correction says otherwise than HiGHS and the rows; `seen` counts what kind of case it was."""
    rows = rows_of(case)
    correction = correct(case.situation)
    unit = float(max(row.weight for row in rows))
    free = [linear(case, rows, is_kept=False, sign=sign, capacity_mg=case.capacity_mg) for sign in (1, -1)]
    kept = linear(case, rows, is_kept=True, sign=1, capacity_mg=case.capacity_mg)
    roomy = linear(case, rows, is_kept=False, sign=-1, capacity_mg=None) if case.capacity_mg is not None else free[1]
    seen["cases"] += 1
    seen["infeasible"] += free[0] is None
    seen["with pieces"] += case.formula.pieces is not None
    seen["bound by capacity"] += roomy is not None and (free[1] is None or (roomy - free[1]) * unit > 1)
    if (correction.factor_range is None) != (free[0] is None):
        yield f"range {correction.factor_range}, HiGHS {free}"
        return
    for ours, theirs in zip(correction.factor_range or (), free, strict=False):
        if theirs is None or abs(float(ours) - theirs) * unit > 1:
            yield f"an end of the range at {float(ours)}, HiGHS {theirs}"
    offers = {offer.offer: offer for offer in correction.offers}
    seen.update(list(offers))
    yield from _wrong_factors(case, rows, offers, free[1], kept)
    for offer in correction.offers:
        if offer.offer != "keep":
            yield from (f"{offer.offer}: {wrong}" for wrong in _wrong_bowl(case, rows, offer))
            yield from (f"{offer.offer}: {wrong}" for wrong in _against_the_rule(case, rows, offer))
        yield from (f"{offer.offer}: {wrong}" for wrong in _wrong_costs(case, rows, offer))


def _wrong_factors(
    case: Case, rows: list[Row], offers: dict[str, Offer], highest: float | None, kept: float | None
) -> Iterator[str]:
    unit = float(max(row.weight for row in rows))
    is_well = list(offers) == ["keep"] and all(
        row.is_by_feel or not row.is_in or row.lo(case.factor) <= row.inside <= row.hi(case.factor) for row in rows
    )
    if highest is not None and (float(case.factor) - highest) * unit > 1:
        down = offers.get("scale down")
        if down is None or abs(float(down.factor) - highest) * unit > 1:
            yield f"scale down {down}, HiGHS {highest}"
    elif highest is not None and float(case.factor) - highest < 0 and "scale down" in offers:
        yield "scale down although the factor before can be kept or raised"
    if kept is None:
        yield from (f"{name} although nothing upwards is feasible" for name in UPWARDS if name in offers)
        return
    least = offers.get("scale up, least")
    if least is not None and abs(float(least.factor) - kept) * unit > 1:
        yield f"least {float(least.factor)}, HiGHS {kept}"
    if _is_tight_alone(case, rows):
        yield from (f"{name} for the sake of a tight ingredient" for name in UPWARDS if name in offers)
    elif least is None and not is_well:
        yield from _wrongly_dropped(case, rows, offers)
    for name in UPWARDS:
        if name in offers and (kept - float(offers[name].factor)) * unit > 1:
            yield f"{name} at {float(offers[name].factor)} below the least {kept}"


def _wrongly_dropped(case: Case, rows: list[Row], offers: dict[str, Offer]) -> Iterator[str]:
    """The least way up is dropped only where another one shown is no worse in anything."""
    bounds = [(row.inside - row.hi_rest) / row.hi_slope for row in rows if row.is_in and not row.is_by_feel]
    factor = max(case.factor, *bounds, case.formula.limits[0] * case.factor)
    bowl = bowl_by_rule(case, rows, factor, is_kept=True)
    if bowl is None:
        yield f"no bowl at the least factor {float(factor)}"
        return
    dropped = costs(case, rows, factor, bowl)
    for offer in offers.values():
        made = [Fraction(mass) for mass in offer.bowl_mg]
        theirs = costs(case, rows, offer.factor, made)
        slack = (len(rows), len(rows), Fraction(len(rows), min(made) or 1), len(rows))  # whole mg
        if offer.offer != "keep" and all(t <= d + s for t, d, s in zip(theirs, dropped, slack, strict=True)):
            return
    yield f"the least way up, {float(factor)}, is missing and nothing shown is as good"


def _is_tight_alone(case: Case, rows: list[Row]) -> bool:
    """A tight ingredient alone asks for more than 5 % above the factor before: then nothing upwards is offered."""
    bounds = {row.key: (row.inside - row.hi_rest) / row.hi_slope for row in rows if row.is_in and not row.is_by_feel}
    tight = [bound for key, bound in bounds.items() if case.formula.addition(key).role in TIGHT]
    loose = [bound for key, bound in bounds.items() if case.formula.addition(key).role not in TIGHT]
    return bool(tight) and max(tight) > max([*loose, case.factor * Fraction(21, 20)])


def _wrong_bowl(case: Case, rows: list[Row], offer: Offer) -> Iterator[str]:
    """Where an offer's whole mg are not in proportion at its factor, or more than there is or fits."""
    is_kept = offer.offer in UPWARDS
    slack = 0
    for row, mass in zip(rows, offer.bowl_mg, strict=True):
        low, high = row.reach(offer.factor, is_kept=is_kept)
        if high is not None and low > high:
            yield f"{row.key} cannot be in its band at {offer.factor}"
            continue
        lowest, highest = ceil(low), None if high is None else floor(high)
        is_as_it_is = row.is_in and mass == round(row.inside)
        slack += 0 if is_as_it_is else max(0, mass - lowest)
        if row.is_by_feel or (is_as_it_is and row.lo(offer.factor) <= row.inside <= row.hi(offer.factor)):
            continue
        if highest is not None and lowest > highest:  # a band without a whole mg in it: the nearest
            is_right = low - 1 < mass < (high or 0) + 1
        else:
            is_right = lowest <= mass and (highest is None or mass <= highest)
        if not is_right:
            yield f"{row.key} comes to {mass} mg, not in {float(low)} to {high and float(high)}"
    total, capacity = sum(offer.bowl_mg), case.capacity_mg
    if capacity is not None and total > capacity and (slack > 0 or total > capacity + len(rows)):
        yield f"{total} mg in a bowl for {capacity}"


def _wrong_costs(case: Case, rows: list[Row], offer: Offer) -> Iterator[str]:
    """Where what an offer says that it costs is not what its whole mg come to, exactly."""
    shown = [replace(row, inside=Fraction(round(row.inside))) for row in rows]
    extra, weighings, worst, out = costs(case, shown, offer.factor, [Fraction(mass) for mass in offer.bowl_mg])
    told = (offer.extra_mass_mg, offer.extra_weighings, offer.worst_deviation, offer.taken_out_mg)
    if told != (extra, weighings, worst, out):
        yield f"costs {told}, worked out anew {(extra, weighings, worst, out)}"
    prices = [addition.price_per_kg for addition in case.formula.weighed]
    more = [mass - row.weight * case.factor for row, mass in zip(rows, offer.bowl_mg, strict=True)]
    unknown = any(price is None and abs(mass) > Fraction(1, 2) for price, mass in zip(prices, more, strict=True))
    money = sum(((price or 0) * mass / 1_000_000 for price, mass in zip(prices, more, strict=True)), Fraction(0))
    expected = None if unknown or not any(price is not None for price in prices) else money
    if offer.cost != expected:
        yield f"costs {offer.cost} more, worked out anew {expected}"


def _against_the_rule(case: Case, rows: list[Row], offer: Offer) -> Iterator[str]:
    """Where an offer's whole mg are not those of the design's rule; whole eggs are looked at elsewhere."""
    if offer.offer == "whole pieces" and case.formula.pieces is None:
        return
    settled = {}
    if offer.offer == "take out":
        over = [row for row in rows if row.is_in and not row.is_by_feel and row.inside > row.hi(case.factor)]
        settled = {row.key: max(row.weight * case.factor, row.least) for row in over}
    is_kept = offer.offer in UPWARDS
    bowl = bowl_by_rule(case, rows, offer.factor, is_kept=is_kept, settled=settled)
    bowl = bowl or bowl_by_rule(case, rows, offer.factor, is_kept=is_kept)
    if bowl is None:
        yield "no bowl by the rule"
        return
    for row, ours, theirs in zip(rows, offer.bowl_mg, bowl, strict=True):
        moved = 1 if case.capacity_mg is None else 2  # by rounding, into the band and below the capacity
        if abs(ours - theirs) >= moved and row.lo(offer.factor) + 1 <= row.hi(offer.factor):
            yield f"{row.key} comes to {ours} mg, by the rule {float(theirs)}"


def wrong_in(name: str, seen: Counter[str]) -> Iterator[str]:
    """All disagreements over one random case."""
    yield from disagreements(draw(name), seen)


if __name__ == "__main__":
    sys.exit(run(wrong_in))
