"""A recorded trace through the same machine that guides a cook: the batch that it makes, event by event.

The batch begins at the first row. Nobody stands there to be asked, but what the cook did next is in the trace: a
question is answered with the recommended offer unless the load then comes down by itself (a whisk lifted again, what
is over spooned back where nothing was to come out), a doubt with yes, and a weighing by feel ends at the last rest in
its range. Times are 1970-01-01T00:00:00+00:00 plus `t_s`, so that the same trace gives the same bytes on every machine
and on every day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from fractions import Fraction

from scaled.batch.batch import Batch
from scaled.batch.bench import Bench, rested_s
from scaled.batch.envelope import FIRST_CHAIN, Envelope, chained
from scaled.batch.events import BenchFacts, Event
from scaled.batch.inputs import BeginBatch, Input, Wanted, WeightSeen
from scaled.batch.step import step
from scaled.formula.uncertainty import USUAL_REPEATABILITY_D
from scaled.formula.values import Formula
from scaled.trace import Trace
from scaled.weighing import Rest, Weigher, WeigherSettings, Weight

NAME = "replay"
SURELY_U = 4.0  # standard uncertainties of a rest
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def replayed(trace: Trace, formula: Formula, factor: Fraction, *, is_tared: bool = False) -> tuple[Envelope, ...]:
    """The batch that a trace makes.

    Args:
        trace: the readings, in order of time, with the division of their scale.
        formula: what is weighed, at `factor`.
        is_tared: the vessel is on from the first row.

    Returns:
        The events of the batch in their envelopes, chained, `BatchStarted` first.
    """
    return _Replaying(trace, formula, factor, is_tared=is_tared).run()


def _next_rests(weights: Sequence[Weight]) -> list[int | None]:
    """For each weight the mass of the first rest after it that is surely another; None at the end."""
    found: list[int | None] = []
    upcoming: list[int] = []
    for weight in reversed(weights):
        rest = weight.rest
        if rest is None:
            found.append(upcoming[-1] if upcoming else None)
            continue
        while upcoming and abs(upcoming[-1] - rest.mass_mg) < _another_mg(weight.division_mg, rest):
            upcoming.pop()
        found.append(upcoming[-1] if upcoming else None)
        upcoming.append(rest.mass_mg)
    return found[::-1]


def _another_mg(division_mg: int, rest: Rest) -> float:
    """From how far on a mass is another than that of this rest: two divisions, and what is uncertain of it."""
    return max(2 * division_mg, SURELY_U * rest.u_mg)


class _Replaying:
    def __init__(self, trace: Trace, formula: Formula, factor: Fraction, *, is_tared: bool) -> None:
        self.trace = trace
        self.batch: Batch | None = None
        self.bench = Bench()
        self.envelopes: list[Envelope] = []
        facts = BenchFacts(
            scale=None,
            division_mg=trace.division_mg,
            repeatability_mg=USUAL_REPEATABILITY_D * trace.division_mg,
            is_tared=is_tared,
        )
        self.begin = BeginBatch(trace.readings[0].at, NAME, formula, factor, facts)

    def run(self) -> tuple[Envelope, ...]:
        weigher = Weigher(WeigherSettings(division_mg=self.trace.division_mg))
        self._take(self.begin)
        weights = [weigher.see(reading) for reading in self.trace.readings]
        later = _next_rests(weights)
        for weight, next_mg in zip(weights, later, strict=True):
            self._take(WeightSeen(weight.at, weight))
            if self._is_yes(next_mg):
                self._take(Wanted(weight.at, "next"))
        return tuple(self.envelopes)

    def _is_yes(self, next_mg: int | None) -> bool:
        """Whether the cook of the trace said yes here; `next_mg` is the next other gross that the load comes to."""
        batch, rest = self.batch, self.bench.rest
        if batch is None or batch.state != "running":
            return False
        if batch.doubted is not None:
            return True
        addition, question = batch.addition, batch.question
        if addition is None:
            return False
        lo, hi = batch.band_mg(addition)
        if question is not None:
            change_mg = 0 if rest is None else abs(batch.net_mg(rest.mass_mg) - question.net_mg)
            if rest is not None and change_mg >= _another_mg(self.trace.division_mg, rest):
                return False  # what the machine makes of another load comes first
            is_taken_out = question.offers[0].offer == "take out"
            comes_down = next_mg is not None and next_mg < question.gross_mg
            return not comes_down or (is_taken_out and batch.total_mg(next_mg or 0) >= lo)
        if addition.kind != "by feel" or rest is None or rested_s(self.bench) < batch.facts.confirm_after_s:
            return False
        return lo <= batch.total_mg(rest.mass_mg) <= hi and (next_mg is None or batch.total_mg(next_mg) > hi)

    def _take(self, given: Input) -> None:
        taken = step(self.batch, self.bench, given)
        self.batch, self.bench = taken.batch, taken.bench
        for event in taken.events:
            self._record(event)

    def _record(self, event: Event) -> None:
        wall = (EPOCH + timedelta(seconds=event.at)).isoformat(timespec="milliseconds")
        envelope = Envelope(NAME, len(self.envelopes) + 1, NAME, NAME, wall, event)
        before = self.envelopes[-1].chain if self.envelopes else FIRST_CHAIN
        self.envelopes.append(chained(envelope, before))
