"""What is going on this second: never journaled, rebuilt from the next readings after a restart.

`observed` folds an input into the bench before anything is decided. It knows the weight, whether the vessel is off,
whether what the scale shows must first be checked against the batch, and the presses that are waiting for a meaning.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Literal

from scaled.batch.batch import Batch, Weighing
from scaled.batch.cue import Cue
from scaled.batch.inputs import Input, Restarted, ScaleBack, ScaleLost, Wanted, WeightSeen
from scaled.batch.snapshot import Phase
from scaled.weighing.pours import Pours
from scaled.weighing.values import Rest, Weight

Check = Literal["zero", "load"]
MachinePhase = Phase | Literal["idle", "held", "doubt"]

PRESS_TAKEN_AFTER_S = 0.8
PRESS_HEARD_AFTER_S = 1.0
STALE_AFTER_S = 3.0
VESSEL_RESTS_S = 0.5


@dataclass(frozen=True)
class Presses:
    """Pushes on the scale since a question was asked; `released_at` the newest one's end."""

    count: int = 0
    released_at: float = 0.0


@dataclass(frozen=True)
class Bench:
    """The bench as it is this second.

    Attributes:
        expected_mg: the gross at the newest rest with the vessel on and nothing missing.
        must_check: why the next rest is compared with it before anything is weighed: the scale's zero may be another,
            or the load was out of sight.
        highest_mg: the most that rested on the plate since its zero may be another.
        has_lifted: a vessel that was done with has left the plate.
        begun: the weighing that has something in, and since when.
        spoken_for: what the newest spoken phrase was about.
        pours: what was learned of after-flow; it goes from batch to batch.
    """

    at: float = 0.0
    weight: Weight | None = None
    is_scale_lost: bool = False
    is_vessel_off: bool = False
    expected_mg: int | None = None
    must_check: Check | None = None
    highest_mg: int | None = None
    has_lifted: bool = False
    presses: Presses = field(default_factory=Presses)
    begun: tuple[Weighing, float] | None = None
    phase: MachinePhase = "idle"
    spoken_for: tuple[object, ...] = ()
    cue: Cue = field(default_factory=Cue)
    pours: Pours = field(default_factory=Pours)

    @property
    def rest(self) -> Rest | None:
        """The present rest; None in motion, while the scale is lost or out of its range, or when it has gone silent."""
        if self.weight is None or self.is_scale_lost or self.weight.state != "ready":
            return None
        return self.weight.rest if self.at - self.weight.at <= STALE_AFTER_S else None


def but(bench: Bench, **changes: Any) -> Bench:
    """The bench but for these changes; the very same where they change nothing, which is the most frequent by far.

    Done with each reading, so not by `dataclasses.replace`, which goes through all fields and takes five times as long.
    """
    for name, value in changes.items():
        if getattr(bench, name) != value:
            changed = object.__new__(Bench)
            changed.__dict__.update(bench.__dict__, **changes)
            return changed
    return bench


def load_threshold_mg(division_mg: int) -> int:
    """What counts as something on an empty plate: five divisions, at least 2 g."""
    return max(5 * division_mg, 2000)


def noticed_mg(batch: Batch) -> int:
    """What counts as something added: two divisions. Less may be drift or a rounding to either side."""
    return 2 * batch.facts.division_mg


def observed(batch: Batch | None, bench: Bench, given: Input) -> Bench:
    """The bench once it has taken note of an input."""
    if isinstance(given, WeightSeen):
        return _weight_seen(batch, but(bench, at=given.at, weight=given.weight, is_scale_lost=False))
    bench = but(bench, at=given.at)
    match given:
        case ScaleLost():
            weight = bench.weight and replace(bench.weight, rest=None)  # of what rests there now it tells nothing
            return zero_doubted(but(bench, is_scale_lost=True, presses=Presses(), weight=weight))
        case ScaleBack():
            return but(bench, is_scale_lost=False)
        case Restarted():
            return zero_doubted(but(bench, expected_mg=None))
        case Wanted(wish="resume"):
            return but(bench, must_check=bench.must_check or "load")
        case _:
            return bench


def zero_doubted(bench: Bench) -> Bench:
    """The bench when the scale may have been switched on anew: what it shows now stands for itself."""
    return but(bench, must_check="zero", highest_mg=None)


def _weight_seen(batch: Batch | None, bench: Bench) -> Bench:
    weight = bench.weight
    if batch is None or not batch.is_open or weight is None:
        return but(bench, is_vessel_off=False, expected_mg=None, presses=Presses())
    bench = _heard(batch, bench, weight)
    plate_mg = batch.plate_mg or 0
    if batch.standing_mg is not None and weight.shown_mg - plate_mg < (batch.standing_mg - plate_mg) / 2:
        bench = but(bench, has_lifted=True)
    if batch.reference_mg is None or batch.vessel_mg is None:
        return but(bench, is_vessel_off=False, expected_mg=None)
    if bench.must_check == "zero":
        bench = _highest(bench, weight)
    if weight.state == "under zero" or (bench.rest is not None and is_below_vessel(batch, bench.rest.mass_mg)):
        return but(bench, is_vessel_off=True)
    return bench


def _highest(bench: Bench, weight: Weight) -> Bench:
    """The most that has rested there since the zero may be another, or since a key made it another once more."""
    if any(happening.what == "re-zeroed" for happening in weight.happened):
        return but(bench, highest_mg=None)
    rest = bench.rest
    if rest is None or rested_s(bench) < VESSEL_RESTS_S:
        return bench
    return but(bench, highest_mg=rest.mass_mg if bench.highest_mg is None else max(bench.highest_mg, rest.mass_mg))


def concluded(batch: Batch | None, bench: Bench) -> Bench:
    """The bench once everything about this input has been decided."""
    is_over = bench.rest is not None and bench.at - bench.presses.released_at >= PRESS_TAKEN_AFTER_S
    if bench.presses.count and is_over:
        bench = but(bench, presses=Presses())
    if batch is None or not batch.is_open:
        return but(bench, must_check=None, has_lifted=False)
    return but(bench, has_lifted=False) if batch.standing_mg is None else bench


def compared(batch: Batch | None, bench: Bench) -> Bench:
    """The bench once the weight has been watched: what was compared need not be compared again."""
    rest = bench.rest
    if batch is None or not batch.is_open or rest is None:
        return bench
    if batch.state == "held" or batch.doubted is not None:
        return bench
    if batch.reference_mg is None:
        return but(bench, must_check=None)
    if bench.must_check == "zero" and shows_the_plate(batch, rest.mass_mg):
        return but(bench, must_check="load")
    if is_below_vessel(batch, rest.mass_mg) or rested_s(bench) < VESSEL_RESTS_S:
        return bench
    if batch.emptying is not None:  # what stands there is no weighing yet
        is_lost = bench.must_check == "zero" and batch.plate_mg is None
        return bench if is_lost else but(bench, is_vessel_off=False, must_check=None)
    weighing = batch.weighing
    if weighing is not None and batch.net_mg(rest.mass_mg) >= noticed_mg(batch):
        is_same = bench.begun is not None and bench.begun[0] == weighing
        bench = bench if is_same else but(bench, begun=(weighing, bench.at))
    is_taking = weighing is not None and weighing.kind == "take out"
    expected_mg = rest.mass_mg if is_taking else max(rest.mass_mg, batch.reference_mg)  # what is missing is asked about
    return but(bench, is_vessel_off=False, must_check=None, expected_mg=expected_mg)


def _heard(batch: Batch, bench: Bench, weight: Weight) -> Bench:
    """Count the presses since 1 s after a question was asked; without a question there is nothing to hear."""
    asked_at = asked_since(batch, bench)
    if asked_at is None:
        return but(bench, presses=Presses())
    presses = bench.presses
    for happening in weight.happened:
        if happening.what == "press" and happening.from_at >= asked_at + PRESS_HEARD_AFTER_S:
            presses = Presses(presses.count + 1, happening.to_at)
    return but(bench, presses=presses)


def asked_since(batch: Batch, bench: Bench) -> float | None:
    """Since when something stands that a yes would answer: an offer, a doubt, or a weighing by feel."""
    if batch.doubted is not None:
        return batch.doubted.raised_at
    if batch.question is not None:
        return batch.question.asked_at
    addition = batch.addition
    if addition is not None and addition.kind == "by feel" and bench.begun and bench.begun[0] == batch.weighing:
        return bench.begun[1]
    return None


def is_below_vessel(batch: Batch, gross_mg: int) -> bool:
    """Less than the empty vessel weighs: the vessel cannot be on."""
    if batch.vessel_mg is None:
        return False
    slack = max(10 * batch.facts.division_mg, 1000, abs(batch.vessel_mg) // 10)
    return gross_mg < batch.vessel_mg - slack


def shows_the_plate(batch: Batch, gross_mg: int) -> bool:
    """What only the empty plate shows, since its zero was lost once: a scale just switched on would show 0."""
    return bool(batch.plate_mg) and abs(gross_mg - (batch.plate_mg or 0)) <= noticed_mg(batch)


def rested_s(bench: Bench) -> float:
    """For how long the weight has been at rest; 0 in motion."""
    rest = bench.rest
    return 0.0 if rest is None else bench.at - rest.since
