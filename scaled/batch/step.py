"""The core's whole step: an input in, events and a new bench out. What the daemon and a replay both run.

Committing the events is the caller's: `Step.batch` is already the batch after them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from scaled.batch.apply import apply, moved
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench, compared, concluded, observed, zero_doubted
from scaled.batch.decide import decide
from scaled.batch.events import DoubtRaised, DoubtSettled, Event, ReferenceMoved, StageStartedAgain, VesselTared
from scaled.batch.guide import guide, said_again
from scaled.batch.inputs import Input, Tick, Wanted, WeightSeen
from scaled.batch.outcome import Refusal


@dataclass(frozen=True)
class Step:
    batch: Batch | None
    bench: Bench
    events: tuple[Event, ...]
    refusal: Refusal | None = None


def step(batch: Batch | None, bench: Bench, given: Input) -> Step:
    """Take one input. A refused input changes nothing but the time."""
    seen = observed(batch, bench, given)
    outcome = decide(batch, seen, given)
    if isinstance(outcome, Refusal):
        return Step(batch, bench, (), outcome)
    was_doubted = batch is not None and batch.doubted is not None
    for event in outcome:
        batch = apply(batch, event)
        if isinstance(event, ReferenceMoved):
            seen = replace(seen, expected_mg=moved(seen.expected_mg, event.change_mg))
        if isinstance(event, DoubtSettled):  # what went in while the zero was another is not known
            is_known = event.doubt != "zero lost"
            seen = replace(seen, must_check=None, expected_mg=seen.expected_mg if is_known else None)
        if isinstance(event, DoubtRaised) and event.doubt == "zero lost":
            seen = zero_doubted(seen)
        if isinstance(event, VesselTared | StageStartedAgain):  # counted from here, whatever was expected before
            seen = replace(seen, expected_mg=None)
        if isinstance(event, VesselTared):
            seen = replace(seen, must_check=None, is_vessel_off=False)
    seen = concluded(batch, seen)
    if isinstance(given, WeightSeen | Tick) or (was_doubted and batch is not None and batch.doubted is None):
        seen = compared(batch, seen)
    seen = guide(batch, seen)
    if isinstance(given, Wanted) and given.wish == "repeat":
        seen = said_again(seen)
    return Step(batch, seen, outcome)
