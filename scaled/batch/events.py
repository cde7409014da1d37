"""What has happened in a batch, in the past tense: the only things that change it, and all that is recorded.

Each event carries `at`, monotonic seconds of the bench that decided it. What decides acceptance (the formula, the
division, the scale's repeatability, the confirmation times) is frozen into `BatchStarted`, so that a replay of the
events needs nothing else. Masses are whole mg.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from scaled.formula.advice import Advice
from scaled.formula.situation import Offer
from scaled.formula.values import Formula, Product

Doubt = Literal["load heavier", "load changed", "zero lost"]


@dataclass(frozen=True)
class BenchFacts:
    """What the bench knew at the start: the scale and how a rest is accepted.

    `capacity_mg` Max of the scale (None: unknown), `repeatability_mg` the standard deviation s of one weighing,
    `confirm_after_s` how long a weight rests in band before the machine moves on, `confirm_low_s` the same in the
    lowest third of the band. `leaves_small`: a little above the band is left without a question. `holds_ml` is the
    working volume of those of the vessels of which it is known.
    """

    scale: str | None
    division_mg: int
    repeatability_mg: float
    capacity_mg: int | None = None
    vessels_mg: tuple[tuple[str, int], ...] = ()
    is_guarded: bool = False
    confirm_after_s: float = 1.0
    confirm_low_s: float = 2.5
    is_tared: bool = False
    leaves_small: bool = False
    holds_ml: tuple[tuple[str, Fraction], ...] = ()


@dataclass(frozen=True)
class BatchStarted:
    """`standing_mg` is the gross of a full vessel that the batch before left on the plate: it is lifted before one for
    this batch can be put on; None where none stands there.
    """

    at: float
    batch: str
    formula: Formula
    factor: Fraction
    bench: BenchFacts
    standing_mg: int | None = None


@dataclass(frozen=True)
class VesselTared:
    """A vessel stands on the plate and what is on it now counts as nothing; `is_known` False: tared by the scale."""

    at: float
    gross_mg: int
    is_known: bool = True


@dataclass(frozen=True)
class AdditionConfirmed:
    """All of `net_mg` went in since the addition was opened; `gross_mg` is the rest that it ended at.

    `settled_at` is when that rest was declared settled, `at` when the machine moved on.
    """

    at: float
    key: str
    net_mg: int
    gross_mg: int
    settled_at: float
    weighings: int = 1


@dataclass(frozen=True)
class AdditionAmended:
    """Late grains: `more_mg` arrived after the addition was confirmed."""

    at: float
    key: str
    more_mg: int
    gross_mg: int


@dataclass(frozen=True)
class AdditionReopened:
    """What had been confirmed was a tool that was laid in and lifted again: the addition is open once more."""

    at: float
    key: str
    gross_mg: int


@dataclass(frozen=True)
class ToppedUp:
    """`net_mg` more of an earlier addition went in; negative: it was taken out."""

    at: float
    key: str
    net_mg: int
    gross_mg: int
    settled_at: float
    weighings: int = 1


@dataclass(frozen=True)
class FactorFollowed:
    """The piece that was weighed first set the factor: everything else follows it."""

    at: float
    key: str
    factor: Fraction


@dataclass(frozen=True)
class PouredIn:
    """What was weighed first, in a tub of its own, went into the bowl at its place: no addition, a new reference."""

    at: float
    key: str
    gross_mg: int


@dataclass(frozen=True)
class OffersMade:
    """A question stands: `key` lies outside its band with `net_mg` since it was opened; these are the ways out.

    `advice` is what a good cook would say to them, which changes neither their order nor what a yes takes;
    `more_water` how much more water goes with the flour if it is left as it is, as a share of the flour (None: not
    known, or no flour).
    """

    at: float
    key: str
    net_mg: int
    gross_mg: int
    settled_at: float
    offers: tuple[Offer, ...]
    advice: Advice | None = None
    more_water: Fraction | None = None


@dataclass(frozen=True)
class OffersWithdrawn:
    """The question answered itself: what was over was spooned back into the band."""

    at: float
    key: str


@dataclass(frozen=True)
class OfferTaken:
    at: float
    key: str
    offer: Offer


@dataclass(frozen=True)
class StageStartedAgain:
    """In place of any offer all that the vessel held is thrown away: `thrown_mg` by addition key, all of one stage."""

    at: float
    stage: str
    thrown_mg: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class OfferRevoked:
    """The answer was taken back: a yes before the first gram of the new plan was in, a stage started again before the
    vessel was emptied. The question stands again."""

    at: float


@dataclass(frozen=True)
class DoubtRaised:
    """What the scale shows does not fit what is recorded; one yes or a lifted vessel settles it."""

    at: float
    doubt: Doubt
    gross_mg: int


@dataclass(frozen=True)
class DoubtSettled:
    at: float
    doubt: Doubt


@dataclass(frozen=True)
class ReferenceMoved:
    """What is in stays what it is; the gross that it shows at has changed by `change_mg`."""

    at: float
    change_mg: int
    why: Literal["re-zeroed", "vessel back", "zero at switch-on"]


@dataclass(frozen=True)
class AdditionPostponed:
    at: float
    key: str


@dataclass(frozen=True)
class StageClosed:
    at: float
    stage: str


@dataclass(frozen=True)
class LotNamed:
    at: float
    key: str
    lot: str


@dataclass(frozen=True)
class ProductSwapped:
    """What is still to come of an addition is another product; `in_mg` of what was weighed before is in.

    `new_allergens` are those that nothing else in the batch has: a yes was said to them.
    """

    at: float
    key: str
    product: Product
    in_mg: int
    new_allergens: tuple[str, ...] = ()


@dataclass(frozen=True)
class BatchHeld:
    at: float


@dataclass(frozen=True)
class BatchResumed:
    at: float


@dataclass(frozen=True)
class BatchAborted:
    at: float


@dataclass(frozen=True)
class BatchCompleted:
    at: float


@dataclass(frozen=True)
class BenchRestarted:
    """The daemon started anew while this batch was open; after another boot all earlier times mean nothing."""

    at: float
    is_same_boot: bool = True


Event = (
    BatchStarted
    | VesselTared
    | AdditionConfirmed
    | AdditionAmended
    | AdditionReopened
    | ToppedUp
    | FactorFollowed
    | PouredIn
    | OffersMade
    | OffersWithdrawn
    | OfferTaken
    | StageStartedAgain
    | OfferRevoked
    | DoubtRaised
    | DoubtSettled
    | ReferenceMoved
    | AdditionPostponed
    | StageClosed
    | LotNamed
    | ProductSwapped
    | BatchHeld
    | BatchResumed
    | BatchAborted
    | BatchCompleted
    | BenchRestarted
)
