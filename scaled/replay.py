"""A recorded trace through the same machine that guides a cook: the batch that it makes, event by event.

The batch begins at the first row. A question is answered at once with the recommended offer, a doubt with yes, since
nobody stands there to be asked. Times are 1970-01-01T00:00:00+00:00 plus `t_s`, so that the same trace gives the same
bytes on every machine and on every day.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from fractions import Fraction

from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.envelope import FIRST_CHAIN, Envelope, chained
from scaled.batch.events import BenchFacts, Event
from scaled.batch.inputs import BeginBatch, Input, Wanted, WeightSeen
from scaled.batch.step import step
from scaled.formula.values import Formula
from scaled.trace import Trace
from scaled.weighing import Weigher, WeigherSettings

NAME = "replay"
LEAST_REPEATABILITY = 0.3
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


class _Replaying:
    def __init__(self, trace: Trace, formula: Formula, factor: Fraction, *, is_tared: bool) -> None:
        self.trace = trace
        self.batch: Batch | None = None
        self.bench = Bench()
        self.envelopes: list[Envelope] = []
        facts = BenchFacts(
            scale=None,
            division_mg=trace.division_mg,
            repeatability_mg=LEAST_REPEATABILITY * trace.division_mg,
            is_tared=is_tared,
        )
        self.begin = BeginBatch(trace.readings[0].at, NAME, formula, factor, facts)

    def run(self) -> tuple[Envelope, ...]:
        weigher = Weigher(WeigherSettings(division_mg=self.trace.division_mg))
        self._take(self.begin)
        for reading in self.trace.readings:
            self._take(WeightSeen(reading.at, weigher.see(reading)))
            batch = self.batch
            if batch is not None and batch.is_open and (batch.question or batch.doubted):
                self._take(Wanted(reading.at, "next"))
        return tuple(self.envelopes)

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
