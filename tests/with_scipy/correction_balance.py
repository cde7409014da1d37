"""Rebalancing beside scipy's `lsq_linear`: the same masses to 1 mg on random bowls, and the small solver on its own.

Run by hand, or by the test of the mutants: `python correction_balance.py CASES SEED` prints the first disagreement
and ends with 1 if there was one.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

import numpy as np
from correction_runs import run
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from scaled.formula.balance import rebalanced
from scaled.formula.least_squares import bounded
from scaled.formula.situation import Content, Situation
from scaled.formula.values import Addition, Composition, Side, Tolerance

Array = NDArray[np.float64]

EDGE = 1e-4  # whole milligrams decide where what remains is just the share that may


def draw(seed: str) -> Situation:
    """A bowl of ingredients with known compositions, some in and one of them off, the rest still to come."""
    rng = random.Random(seed)
    count = rng.randint(2, 12)
    split = rng.randint(1, count)
    factor = Fraction(rng.choice([1, 1, 2]), rng.choice([1, 3]))
    contents = []
    for i in range(count):
        weight = Fraction(rng.randint(2_000, 500_000))
        target = weight * factor
        share = Fraction(rng.choice([2, 5, 10, 20]), 1000)
        is_in = i < split
        off = Fraction(rng.randint(-30, 40), 100) if i == split - 1 else Fraction(rng.randint(-5, 5), 1000)
        short = Fraction(rng.randint(80, 110), 100)
        contents.append(
            Content(
                _draw_addition(rng, f"ingredient {i}", weight, Tolerance(Side(share, True), Side(share, True))),
                in_mg=Fraction(round(target * (1 + off))) if is_in else Fraction(0),
                is_in=is_in,
                out_mg=Fraction(0),
                more_mg=Fraction(round(target * short)) if rng.random() < 0.2 else None,
            )
        )
    limits = (factor / 2, factor * 2)
    capacity = Fraction(round(sum(c.weight_mg for c in contents) * factor * Fraction(rng.randint(95, 130), 100)))
    return Situation(tuple(contents), factor, limits, capacity if rng.random() < 0.3 else None)


def _draw_addition(rng: random.Random, key: str, weight: Fraction, tolerance: Tolerance) -> Addition:
    role = "salt" if rng.random() < 0.1 else None
    composition = _draw_composition(rng) if rng.random() < 0.99 else None
    if rng.random() < 0.9:
        return Addition(key, "all", key, "weighed", weight, tolerance, role, composition=composition)
    return Addition(key, "all", key, "by feel", weight, None, role, feel_mg=(weight, weight), composition=composition)


def _draw_composition(rng: random.Random) -> Composition:
    water = Fraction(rng.randint(0, 100), 100)
    fat = (1 - water) * Fraction(rng.randint(0, 100), 100)
    sugars = (1 - water - fat) * Fraction(rng.randint(0, 100), 100)
    return Composition(water, fat, sugars)


def by_scipy(situation: Situation) -> tuple[dict[int, float], float] | None:
    """The masses in mg of what is changed, by the design and `lsq_linear`, and what remains off balance."""
    contents, factor = situation.contents, float(situation.factor)
    if any(c.composition is None and not c.is_tight for c in contents):
        return None
    parts = np.array([_parts(c) for c in contents])
    weights = np.array([float(c.weight_mg) for c in contents])
    targets = weights * factor
    stocks = np.array([np.inf if c.more_mg is None else float(c.more_mg) for c in contents])
    kept = np.array(
        [float(c.in_mg) if c.is_in else min(t, s) for c, t, s in zip(contents, targets, stocks, strict=True)]
    )
    meant = weights @ parts / weights.sum()
    pulls = parts - meant
    if not any(c.is_off(situation.factor) and not c.is_tight for c in contents):
        return None
    places = [
        i
        for i, c in enumerate(contents)
        if not c.is_in and not c.is_tight and c.tolerance is not None and stocks[i] > targets[i] * 0.95
    ]
    found = targets
    while places:
        base = kept.copy()
        base[places] = targets[places]
        changes = _solved(pulls, base, places, targets, stocks)
        found = base.copy()
        found[places] = targets[places] + changes
        small = [i for i in places if _is_in_band(contents[i], situation.factor, round(found[i]))]
        if not small:
            break
        places = [i for i in places if i not in small]
    if not places:
        return None
    made = kept.copy()
    made[places] = found[places]
    if situation.capacity_mg is not None and made.sum() > float(situation.capacity_mg):
        return None
    before = np.linalg.norm(kept @ parts / kept.sum() - meant)
    after = np.linalg.norm(made @ parts / made.sum() - meant)
    return {i: float(found[i]) for i in places}, float(after / before)


def _parts(content: Content) -> list[float]:
    c = content.composition or Composition(Fraction(0), Fraction(0), Fraction(0))
    return [float(c.water), float(c.fat), float(c.sugars), float(1 - c.water - c.fat - c.sugars)]


def _is_in_band(content: Content, factor: Fraction, mass_mg: int) -> bool:
    target = content.weight_mg * factor
    return content.tolerance is None or content.tolerance.lo_mg(target) <= mass_mg <= content.tolerance.hi_mg(target)


def _solved(pulls: Array, base: Array, places: list[int], targets: Array, stocks: Array) -> Array:
    """Changes in mg: the four shares as near as can be, a tenth of each change pulling back, within 5 % and stock."""
    matrix = np.vstack([pulls[places].T, 0.1 * np.eye(len(places))])
    right = np.concatenate([-(base @ pulls), np.zeros(len(places))]) / 1000
    low = -0.05 * targets[places] / 1000
    high = np.minimum(0.05 * targets[places], stocks[places] - targets[places]) / 1000
    return np.array(lsq_linear(matrix, right, bounds=(low, high), method="bvls", tol=1e-14).x) * 1000


def disagreements(situation: Situation, seen: Counter[str]) -> Iterator[str]:
    off = [i for i, content in enumerate(situation.contents) if content.is_off(situation.factor)]
    ours, theirs = rebalanced(situation, off), by_scipy(situation)
    seen["cases"] += 1
    seen["rebalanced"] += ours is not None
    masses, remains = theirs or ({}, 1.0)
    if ours is None:
        if remains < 0.75 - EDGE:
            yield f"ours none, by lsq_linear {masses} and {remains} remains"
        return
    seen["changes"] += len(ours)
    is_same = ours.keys() == masses.keys() and all(abs(ours[i] - masses[i]) <= 1 for i in ours)
    if not is_same or remains > 0.75 + EDGE:
        yield f"ours {ours}, by lsq_linear {masses} and {remains} remains"


def solver_disagreements(seed: str) -> Iterator[str]:
    """The small solver alone on a random problem, bounds tight enough that some of them hold."""
    rng = np.random.default_rng([ord(letter) for letter in seed])
    rows, count = int(rng.integers(1, 8)), int(rng.integers(1, 25))
    matrix, right = rng.normal(size=(rows, count)), rng.normal(size=rows) * 10
    damping = float(rng.uniform(0.05, 1))
    low = -rng.uniform(0, 1, size=count)
    high = rng.uniform(0, 1, size=count)
    stacked = np.vstack([matrix, damping * np.eye(count)])
    theirs = lsq_linear(stacked, np.concatenate([right, np.zeros(count)]), bounds=(low, high + 1e-9), tol=1e-14).x
    ours = bounded(matrix.T.tolist(), right.tolist(), damping, low.tolist(), (high + 1e-9).tolist())
    if np.abs(np.array(ours) - theirs).max() > 1e-6:
        yield f"solver: ours {ours}, by lsq_linear {theirs.tolist()}"


def wrong_in(name: str, seen: Counter[str]) -> Iterator[str]:
    """All disagreements over one random bowl and one random problem."""
    yield from disagreements(draw(name), seen)
    yield from solver_disagreements(name)


if __name__ == "__main__":
    sys.exit(run(wrong_in))
