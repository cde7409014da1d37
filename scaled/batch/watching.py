"""What the weight itself decides: hands-free, without a word of the cook.

Each function answers with the events that follow from the batch, the bench and the present rest; most answer with
none. They are reached through the table (`scaled.batch.table`); the order of the checks in `watch` is the order of
trust: first whether what the scale shows can be believed, then what it means.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.batch import events as e
from scaled.batch.acceptance import net_u_mg, rest_needed_s, shown_mg, verdict
from scaled.batch.apply import apply
from scaled.batch.batch import Batch
from scaled.batch.bench import (
    VESSEL_RESTS_S,
    Bench,
    is_below_vessel,
    load_threshold_mg,
    noticed_mg,
    rested_s,
    shows_the_plate,
)
from scaled.batch.choosing import is_left, ways_out
from scaled.formula.front import KEEP
from scaled.formula.values import Addition
from scaled.weighing.values import Rest

Events = tuple[e.Event, ...]

LATE_GRAINS_S = 4.0
TOOL_S = 30.0
LATE_GRAINS_SEEN_S = 0.6
LOSS_SHARE = 0.005
POURED_SHARE = 0.9
LOSS_SHARE_CLOSED = 0.03


def watch(batch: Batch, bench: Bench) -> Events:
    """What a running batch makes of the present weight."""
    if batch.weighing is None and batch.question is None:
        return (e.BatchCompleted(bench.at),)  # a cut came between the last confirmation and this
    moved = moved_by_the_scale(batch, bench)
    if moved:
        return moved
    rest = bench.rest
    if rest is None:
        return ()
    if is_the_plate(batch, bench, rest):
        return zero_found(batch, bench, rest)
    if batch.reference_mg is None:
        return _late_grains(batch, bench, rest) or _vessel(batch, bench, rest)
    is_trusted = bench.must_check != "zero" or shows_the_plate(batch, rest.mass_mg)
    if is_trusted and is_below_vessel(batch, rest.mass_mg):
        return _another_vessel(batch, bench, rest)
    if bench.must_check or bench.is_vessel_off:
        if rested_s(bench) < VESSEL_RESTS_S:
            return ()
        checked = _checked(batch, bench, rest)
        if checked:
            return checked
    return _question(batch, bench, rest) if batch.question else _weighing(batch, bench, rest)


def finished(batch: Batch, *events: e.Event) -> Events:
    """These events, and that the batch is complete where nothing is left to be weighed after them."""
    after = batch
    for event in events:
        after = apply(after, event)
    if after.weighing is None and after.question is None:
        return (*events, e.BatchCompleted(events[-1].at))
    return events


def confirmation(batch: Batch, at: float, rest: Rest) -> e.Event:
    """The open weighing ends at this rest."""
    weighing = batch.weighing
    if weighing is None:
        raise ValueError("nothing is open")
    made = e.AdditionConfirmed if weighing.kind == "addition" else e.ToppedUp
    return made(at, weighing.key, batch.net_mg(rest.mass_mg), rest.mass_mg, rest.known_at)


def offers_made(batch: Batch, at: float, rest: Rest) -> e.OffersMade:
    """The question about the open weighing at this rest."""
    weighing = batch.weighing
    if weighing is None:
        raise ValueError("nothing is open")
    net_mg = batch.net_mg(rest.mass_mg)
    return e.OffersMade(at, weighing.key, net_mg, rest.mass_mg, rest.known_at, *ways_out(batch, net_mg))


def watch_complete(batch: Batch, bench: Bench) -> Events:
    """After the last confirmation only its late grains count."""
    rest = bench.rest
    return () if rest is None or batch.state != "complete" else _late_grains(batch, bench, rest)


def moved_by_the_scale(batch: Batch, bench: Bench) -> Events:
    """The scale's own tare or zero key: what is in stays in.

    After a lost zero an empty plate shows anything but 0: a vessel that is "off" at 0 is the key again.
    """
    weight = bench.weight
    if weight is None or batch.reference_mg is None or weight.at != bench.at:
        return ()
    is_at_zero = batch.plate_mg != 0 and abs(weight.shown_mg) <= noticed_mg(batch)
    keys = ("re-zeroed", "vessel off") if is_at_zero else ("re-zeroed",)
    return tuple(
        e.ReferenceMoved(bench.at, h.change_mg, "re-zeroed") for h in weight.happened if h.what in keys and h.change_mg
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


def _vessel(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """A vessel that has settled on the plate is tared by itself."""
    if rested_s(bench) < VESSEL_RESTS_S:
        return ()
    if batch.standing_mg is not None and not bench.has_lifted:
        return ()
    is_first = batch.standing_mg is None and not any(c.is_in for c in batch.contents)
    load_mg = rest.mass_mg - (batch.plate_mg or 0)
    if load_mg < load_threshold_mg(batch.facts.division_mg) and not (is_first and batch.facts.is_tared):
        return ()
    heaviest = max((mass for _name, mass in batch.facts.vessels_mg), default=None)
    weighing = batch.weighing
    is_new = weighing is None or weighing.kind == "addition"
    if is_new and heaviest is not None and load_mg > heaviest * (1 + LOSS_SHARE) + noticed_mg(batch):
        return (e.DoubtRaised(bench.at, "load heavier", rest.mass_mg),)
    return (e.VesselTared(bench.at, rest.mass_mg),)


def _another_vessel(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """A lighter vessel in place of one that nothing is in yet is tared as the first was; what is lighter still (a
    quarter, assumed) is no vessel."""
    if batch.plate_mg is None or batch.vessel_mg is None or rested_s(bench) < VESSEL_RESTS_S:
        return ()
    is_empty = batch.vessel_mg == batch.reference_mg and batch.net_mg(expected_mg(batch, bench)) < noticed_mg(batch)
    least_mg = max(load_threshold_mg(batch.facts.division_mg), (batch.vessel_mg - batch.plate_mg) // 4)
    if not is_empty or rest.mass_mg - batch.plate_mg < least_mg:
        return ()
    return (e.VesselTared(bench.at, rest.mass_mg),)


def _checked(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """Does what the scale shows fit what is recorded? The vessel is on, and was out of sight for a while."""
    expected = expected_mg(batch, bench)
    difference = rest.mass_mg - expected
    slack = slack_mg(batch, bench)
    if may_be_zeroed(batch, bench, rest):
        return (e.DoubtRaised(bench.at, "zero lost", rest.mass_mg),)
    if bench.expected_mg is None and _is_within_target(batch, rest.mass_mg, difference):
        return ()  # what was in of the open addition is not known, and this may be it
    if -slack <= difference < 0 or 0 < difference <= slack:
        is_small = abs(difference) < batch.facts.division_mg or bench.must_check == "zero"
        return () if is_small else (e.ReferenceMoved(bench.at, difference, "vessel back"),)
    if difference == 0 or _is_within_target(batch, rest.mass_mg, difference):
        return ()
    return (e.DoubtRaised(bench.at, "zero lost" if bench.must_check == "zero" else "load changed", rest.mass_mg),)


def may_be_zeroed(batch: Batch, bench: Bench, rest: Rest) -> bool:
    """A scale that was just switched on shows 0 whatever is on it, and counts on from there.

    A vessel that is expected near 0, as it is once the zero was lost, is only believed where it shows just what it did.
    """
    if bench.must_check != "zero" or batch.plate_mg == 0:
        return False
    difference_mg = abs(rest.mass_mg - expected_mg(batch, bench))
    return abs(rest.mass_mg) <= noticed_mg(batch) or difference_mg > slack_mg(batch, bench)


def expected_mg(batch: Batch, bench: Bench) -> int:
    """The gross that the vessel should show: the newest one seen at rest, else the last one that an event holds."""
    if bench.expected_mg is not None:
        return bench.expected_mg
    return batch.question.gross_mg if batch.question is not None else batch.reference_mg or 0


def slack_mg(batch: Batch, bench: Bench) -> int:
    """How far a vessel that was out of sight may be from what it was (design: power cuts, vessels)."""
    least = 2 * batch.facts.division_mg
    if bench.must_check == "zero":
        return round(max(least, 4 * net_u_mg(batch.facts)))
    share = LOSS_SHARE_CLOSED if batch.closed else LOSS_SHARE
    return round(max(least, share * batch.contents_mg))


def fits(batch: Batch, bench: Bench, gross_mg: int) -> bool:
    """Whether this gross is what is recorded, perhaps with more of what is open, put in out of sight."""
    change = gross_mg - expected_mg(batch, bench)
    return abs(change) <= slack_mg(batch, bench) or _is_within_target(batch, gross_mg, change)


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


def _late_grains(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """A small rise soon after a confirmation belongs to the ingredient just confirmed."""
    confirmed = batch.confirmed
    if confirmed is None or bench.has_lifted or rest.since > confirmed.at + LATE_GRAINS_S:
        return ()
    if bench.at > confirmed.at + LATE_GRAINS_S + LATE_GRAINS_SEEN_S:
        return ()
    more = rest.mass_mg - confirmed.gross_mg
    lo, hi = batch.band_mg(batch.formula.addition(confirmed.key))
    if not batch.facts.division_mg <= more <= hi - lo or more >= _a_start_mg(batch):
        return ()
    return (e.AdditionAmended(bench.at, confirmed.key, more, rest.mass_mg),)


def _a_start_mg(batch: Batch) -> float:
    """From what rise on it is rather the start of what is open: a twentieth of what is still missing of it."""
    addition = batch.addition
    if addition is None or batch.reference_mg is None:
        return float("inf")
    missing = batch.target_mg(addition) - batch.content(addition.key).in_mg
    return float(abs(missing) / 20)


def _weighing(batch: Batch, bench: Bench, rest: Rest) -> Events:
    weighing, addition = batch.weighing, batch.addition
    if weighing is None or addition is None:
        return ()
    net, total = batch.net_mg(rest.mass_mg), batch.total_mg(rest.mass_mg)
    late = _late_grains(batch, bench, rest)
    if late:
        return late
    where = verdict(batch, addition, total, batch.content(weighing.key).weighings + 1)
    if weighing.kind == "pour in":
        return _pour_in(batch, bench, rest)
    factor = _factor_to_follow(batch, net)
    if factor is not None and rested_s(bench) >= batch.facts.confirm_after_s:
        confirmed = confirmation(batch, bench.at, rest)
        return finished(batch, confirmed, e.FactorFollowed(bench.at, weighing.key, factor))
    is_taking = weighing.kind == "take out"
    if not is_taking and net <= -noticed_mg(batch):
        return _taken_away(batch, bench, rest)
    if addition.kind == "by feel":
        return ()
    has_begun = abs(net) >= (batch.facts.division_mg if where == "in band" else noticed_mg(batch))
    if not has_begun or (is_taking and where == "over"):
        return ()
    if where == "in band" and rested_s(bench) >= rest_needed_s(batch, addition, total):
        return finished(batch, confirmation(batch, bench.at, rest))
    if where == "over" and rested_s(bench) >= batch.facts.confirm_after_s:
        return _over(batch, bench.at, rest, addition)
    return ()


def _over(batch: Batch, at: float, rest: Rest, addition: Addition) -> Events:
    """Too much: a question; where it is so little that it is left, its answer too."""
    asked = offers_made(batch, at, rest)
    if not is_left(batch, addition, asked.net_mg):
        return (asked,)
    keep = next(offer for offer in asked.offers if offer.offer == KEEP)
    return finished(batch, asked, e.OfferTaken(at, asked.key, keep))


def _factor_to_follow(batch: Batch, net_mg: int) -> Fraction | None:
    """The factor that the piece weighed first gives, where it is within the limits; None for everything else."""
    weighing, addition = batch.weighing, batch.addition
    if weighing is None or addition is None or weighing.kind != "addition" or not addition.is_weighed_first:
        return None
    if any(content.is_in for content in batch.contents):
        return None
    factor = Fraction(shown_mg(net_mg, batch.facts.division_mg)) / addition.target_mg(Fraction(1))
    low, high = batch.formula.limits
    return factor if low * batch.planned <= factor <= high * batch.planned else None


def _pour_in(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """What was weighed first goes into the bowl; what clings to its tub is loss."""
    weighing = batch.weighing
    if weighing is None or rested_s(bench) < batch.facts.confirm_after_s:
        return ()
    if batch.net_mg(rest.mass_mg) < POURED_SHARE * batch.content(weighing.key).in_mg:
        return ()
    return finished(batch, e.PouredIn(bench.at, weighing.key, rest.mass_mg))


def _taken_away(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """Less than before with the vessel on: some of the last ingredient was spooned out, or something is wrong."""
    if rested_s(bench) < batch.facts.confirm_after_s:
        return ()
    last = batch.confirmed
    less = batch.net_mg(rest.mass_mg)
    if last is not None:
        held = batch.content(last.key)
        total = held.in_mg + less
        is_whole = held.weighings == 1 and abs(total) < noticed_mg(batch)
        if is_whole and bench.at <= last.at + TOOL_S and not batch.walk:
            return (e.AdditionReopened(bench.at, last.key, rest.mass_mg),)
        if total > 0 and verdict(batch, batch.formula.addition(last.key), total) == "in band":
            return (e.AdditionAmended(bench.at, last.key, less, rest.mass_mg),)
    return (e.DoubtRaised(bench.at, "load changed", rest.mass_mg),)


def _question(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """While a question stands the scale may answer it: spooned back into the band, taken away, or changed again."""
    question, addition = batch.question, batch.addition
    if question is None or addition is None:
        return ()
    net, total = batch.net_mg(rest.mass_mg), batch.total_mg(rest.mass_mg)
    where = verdict(batch, addition, total)
    was = verdict(batch, addition, batch.content(addition.key).in_mg + question.net_mg)
    withdrawn = e.OffersWithdrawn(bench.at, question.key)
    if abs(net - question.net_mg) < noticed_mg(batch) and where == was:
        return ()
    if where == "in band":
        if rested_s(bench) < rest_needed_s(batch, addition, total):
            return ()
        return finished(batch, withdrawn, confirmation(batch, bench.at, rest))
    if rested_s(bench) < batch.facts.confirm_after_s:
        return ()
    if where == "under":
        return (withdrawn,)
    return (offers_made(batch, bench.at, rest),)
