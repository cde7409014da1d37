"""When a weight is good: the band, the guard, the time that it must have rested, and how sure that is.

The standard uncertainty of a net is `formula.uncertainty`'s. The probability of conformity is that of JCGM 106:2012,
7.2: p = Phi((T_U - y)/u) - Phi((T_L - y)/u).
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Literal

from scaled.batch.batch import Batch
from scaled.batch.events import BenchFacts
from scaled.formula.uncertainty import u_of_net_mg
from scaled.formula.values import Addition

Verdict = Literal["under", "in band", "over"]

_NORMAL = NormalDist()


def net_u_mg(facts: BenchFacts, weighings: int = 1) -> float:
    """Standard uncertainty in mg of a mass that came about in so many weighings (differences of two rests)."""
    return u_of_net_mg(facts.division_mg, facts.repeatability_mg, weighings)


def shown_mg(mass_mg: int, division_mg: int) -> int:
    """A mass as the scale can show it: to the division, half to even."""
    whole, rest = divmod(mass_mg, division_mg)
    is_up = 2 * rest > division_mg or (2 * rest == division_mg and whole % 2 == 1)
    return (whole + is_up) * division_mg


def is_guarded(batch: Batch, addition: Addition) -> bool:
    return addition.is_guarded or batch.formula.is_guarded or batch.facts.is_guarded


def acceptance_mg(batch: Batch, addition: Addition, weighings: int = 1) -> tuple[int, int]:
    """The band that a shown mass must lie in: the tolerance band, drawn in by u where a guard is asked for.

    JCGM 106:2012, 8.3.2: guarded acceptance, here with a guard of one standard uncertainty. A band too narrow for
    its guard shrinks to its middle: nothing else could be accepted.
    """
    lo, hi = batch.band_mg(addition)
    if not is_guarded(batch, addition):
        return lo, hi
    guard = math.ceil(net_u_mg(batch.facts, weighings))
    if hi - lo <= 2 * guard:
        middle = (lo + hi) // 2
        return middle, middle
    return lo + guard, hi - guard


def verdict(batch: Batch, addition: Addition, total_mg: int, weighings: int = 1) -> Verdict:
    """Where a total lies, as the scale shows it, against the acceptance band at the present factor."""
    lo, hi = acceptance_mg(batch, addition, weighings)
    shown = shown_mg(total_mg, batch.facts.division_mg)
    if shown < lo:
        return "under"
    return "over" if shown > hi else "in band"


def rest_needed_s(batch: Batch, addition: Addition, total_mg: int) -> float:
    """How long a weight must rest in band before the machine moves on: longer in the lowest third."""
    lo, hi = batch.band_mg(addition)
    is_low = 3 * (shown_mg(total_mg, batch.facts.division_mg) - lo) < hi - lo
    return batch.facts.confirm_low_s if is_low else batch.facts.confirm_after_s


def p_in_band(mass_mg: int, band_mg: tuple[int, int], u_mg: float) -> float:
    """Probability that the true mass lies in the band, given a normal uncertainty (JCGM 106:2012, 7.2)."""
    lo, hi = band_mg
    return _NORMAL.cdf((hi - mass_mg) / u_mg) - _NORMAL.cdf((lo - mass_mg) / u_mg)
