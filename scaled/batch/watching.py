"""What the weight itself decides: hands-free, without a word of the cook.

Each function answers with the events that follow from the batch, the bench and the present rest; most answer with
none. They are reached through the table (`scaled.batch.table`); the order of the checks in `watch` is the order of
trust: first whether what the scale shows can be believed, then what it means.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.batch import events as e
from scaled.batch.acceptance import rest_needed_s, shown_mg, verdict
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
from scaled.batch.comparing import checked, expected_mg, is_the_plate, moved_by_the_scale, zero_found
from scaled.batch.emptying import emptied, heavier_than_any
from scaled.batch.outcome import Events
from scaled.formula.front import KEEP
from scaled.formula.values import Addition
from scaled.weighing.values import Rest

LATE_GRAINS_S = 4.0
TOOL_S = 30.0
LATE_GRAINS_SEEN_S = 0.6
SURELY_U = 3.0  # standard uncertainties of a rest: what differs by less may be noise, on digits finer than that
POURED_SHARE = 0.9


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
    if batch.emptying is not None:
        return emptied(batch, bench, rest)
    if bench.must_check or bench.is_vessel_off:
        if rested_s(bench) < VESSEL_RESTS_S:
            return ()
        compared = checked(batch, bench, rest)
        if compared:
            return compared
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
    weighing = batch.weighing
    is_new = weighing is None or weighing.kind == "addition"
    asked = heavier_than_any(batch, bench, rest) if is_new else ()
    return asked or (e.VesselTared(bench.at, rest.mass_mg),)


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


def _late_grains(batch: Batch, bench: Bench, rest: Rest) -> Events:
    """A small rise soon after a confirmation belongs to the ingredient just confirmed."""
    confirmed = batch.confirmed
    if confirmed is None or bench.has_lifted or rest.since > confirmed.at + LATE_GRAINS_S:
        return ()
    if bench.at > confirmed.at + LATE_GRAINS_S + LATE_GRAINS_SEEN_S:
        return ()
    more = rest.mass_mg - confirmed.gross_mg
    lo, hi = batch.band_mg(batch.formula.addition(confirmed.key))
    if not max(batch.facts.division_mg, SURELY_U * rest.u_mg) <= more <= hi - lo or more >= _a_start_mg(batch):
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
    if not is_taking and net <= -max(noticed_mg(batch), SURELY_U * rest.u_mg):
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
        if is_whole and bench.at <= last.at + TOOL_S and not batch.correcting:
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
