"""Whether what the scale shows can be believed: its zero, and that the vessel is what it was when it was last seen.

Nothing weighs less than the empty plate, and only lifting the vessel takes away all that is in and half of it besides:
that is how a lost zero is found again. A vessel that was out of sight is compared with what it showed; more is believed
up to what is open still takes, the rest is doubted.
"""

from __future__ import annotations

from scaled.batch import events as e
from scaled.batch.acceptance import net_u_mg
from scaled.batch.batch import Batch
from scaled.batch.bench import VESSEL_RESTS_S, Bench, load_threshold_mg, noticed_mg, rested_s
from scaled.batch.outcome import Events
from scaled.weighing.values import Happening, Rest

LOSS_SHARE = 0.005
LOSS_SHARE_CLOSED = 0.03


def moved_by_the_scale(batch: Batch, bench: Bench) -> Events:
    """The scale's own tare or zero key: what is in stays in.

    After a lost zero an empty plate shows anything but 0: a vessel that is "off" at 0 is the key again. But a lift may
    be told only when the vessel is back already, at the 0 at which it was switched on: then the rest is a later one.
    """
    weight = bench.weight
    if weight is None or batch.reference_mg is None or weight.at != bench.at:
        return ()
    is_at_zero = batch.plate_mg != 0 and abs(weight.shown_mg) <= noticed_mg(batch)

    def is_the_key(h: Happening) -> bool:
        is_lift = h.what == "vessel off" and is_at_zero and weight.rest is not None and weight.rest.began_at <= h.to_at
        return h.what == "re-zeroed" or is_lift

    return tuple(
        e.ReferenceMoved(bench.at, h.change_mg, "re-zeroed") for h in weight.happened if h.change_mg and is_the_key(h)
    )


def is_the_plate(batch: Batch, bench: Bench, rest: Rest) -> bool:
    """Nothing weighs less than the empty plate: what rests below it is the plate with another zero.

    While the zero may be another, less may also have been spooned out: only lifting the vessel takes away all that is
    in and half of the vessel besides.
    """
    if batch.plate_mg is None or rested_s(bench) < VESSEL_RESTS_S:
        return False
    if bench.must_check != "zero" or batch.vessel_mg is None:
        return rest.mass_mg <= batch.plate_mg - load_threshold_mg(batch.facts.division_mg)
    in_it_mg = expected_mg(batch, bench) - batch.vessel_mg
    lifted_mg = in_it_mg + max(1000, (batch.vessel_mg - batch.plate_mg) // 2)
    highest_mg = batch.plate_mg if bench.highest_mg is None else max(batch.plate_mg, bench.highest_mg)
    return rest.mass_mg <= highest_mg - lifted_mg


def zero_found(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """The empty plate tells where the zero is now: nothing to tell where it is where it was."""
    change_mg = rest.mass_mg - (batch.plate_mg or 0)
    return (e.ReferenceMoved(bench.at, change_mg, "zero at switch-on"),) if change_mg else ()


def is_believed(batch: Batch, bench: Bench, rest: Rest, moved_mg: int = 0) -> bool:
    """While the zero may be another: whether the vessel is on and shows itself, the zero having moved by this much.

    A scale that was just switched on shows 0 whatever is on it, and counts on from there. So what is shown must be more
    than can have been poured since, on a plate that shows 0 when it is empty; then whatever is more is in the vessel.
    Else it must be just what was expected, and not 0.
    """
    addition = batch.addition
    poured_mg = batch.band_mg(addition)[1] if addition is not None else 0
    gross_mg = rest.mass_mg - moved_mg
    difference_mg = gross_mg - expected_mg(batch, bench)
    if batch.plate_mg is not None and batch.plate_mg + moved_mg == 0 and rest.mass_mg > poured_mg:
        return difference_mg > 0 or fits(batch, bench, gross_mg)
    return abs(difference_mg) <= slack_mg(batch, bench) and abs(rest.mass_mg) > noticed_mg(batch)


def checked(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """Does what the scale shows fit what is recorded? The vessel is on, and was out of sight for a while."""
    if bench.must_check == "zero":
        return () if is_believed(batch, bench, rest) else (e.DoubtRaised(bench.at, "zero lost", rest.mass_mg),)
    difference = rest.mass_mg - expected_mg(batch, bench)
    is_within_target = _is_within_target(batch, rest.mass_mg, difference)
    if bench.expected_mg is None and is_within_target:
        return ()  # what was in of the open addition is not known, and this may be it
    if abs(difference) <= slack_mg(batch, bench):
        is_small = abs(difference) < batch.facts.division_mg
        return () if is_small else (e.ReferenceMoved(bench.at, difference, "vessel back"),)
    return () if is_within_target else (e.DoubtRaised(bench.at, "load changed", rest.mass_mg),)


def fits(batch: Batch, bench: Bench, gross_mg: int) -> bool:
    """Whether this gross is what is recorded, perhaps with more of what is open, put in out of sight."""
    change = gross_mg - expected_mg(batch, bench)
    return abs(change) <= slack_mg(batch, bench) or _is_within_target(batch, gross_mg, change)


def expected_mg(batch: Batch, bench: Bench) -> int:
    """The gross that the vessel should show: the newest one seen at rest, else the last one that an event holds."""
    if bench.expected_mg is not None:
        return bench.expected_mg
    return batch.question.gross_mg if batch.question is not None else batch.reference_mg or 0


def slack_mg(batch: Batch, bench: Bench) -> int:
    """How far a vessel that was out of sight may be from what it was (design: power cuts, vessels).

    What clings to a paddle is loss; but less where it is not known what was in before it was lifted.
    """
    least = 2 * batch.facts.division_mg
    if bench.must_check == "zero" or bench.expected_mg is None:
        return round(max(least, 4 * net_u_mg(batch.facts)))
    share = LOSS_SHARE_CLOSED if batch.closed else LOSS_SHARE
    return round(max(least, share * batch.contents_mg))


def _is_within_target(batch: Batch, gross_mg: int, change_mg: int) -> bool:
    """The rise is no more than what is open still takes (the fall, than what is to be taken out): done out of sight."""
    addition, weighing = batch.addition, batch.weighing
    if addition is None or weighing is None or batch.question is not None:
        return False
    lo, hi = batch.band_mg(addition)
    total = batch.total_mg(gross_mg)
    if weighing.kind == "pour in":
        return 0 < change_mg <= batch.content(weighing.key).in_mg + noticed_mg(batch)
    return total >= lo if weighing.kind == "take out" and change_mg < 0 else change_mg > 0 and total <= hi
