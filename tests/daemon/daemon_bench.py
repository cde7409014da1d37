"""A bench thread on a disk that answers when it is told to, and loads that are simply there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from threading import Lock
from typing import Any

from daemon_waiting import eventually

from scaled.batch.envelope import Envelope
from scaled.batch.events import BenchFacts, Event
from scaled.batch.inputs import BeginBatch, Wanted
from scaled.batch.protocols import Accepted, Refused
from scaled.batch.snapshot import Snapshot
from scaled.clock import RealClock
from scaled.daemon.bench_thread import BenchThread
from scaled.daemon.inbox import Answer, Asked, Committed, Inbox, Request
from scaled.formula.values import Addition, Formula, Side, Stage, Tolerance
from scaled.weighing.values import Reading
from scaled.weighing.weigher import Weigher, WeigherSettings

ANSWERED_S = 20.0
SIDE = Side(Fraction(1, 100), is_relative=True)


def addition(name: str, grams: int) -> Addition:
    return Addition(name, "all", name, "weighed", Fraction(grams * 1000), Tolerance(SIDE, SIDE))


FORMULA = Formula("dough", "Dough", (Stage("all", (addition("flour", 200), addition("butter", 100))),), Fraction(4))
FACTS = BenchFacts("bench", 100, 30.0, capacity_mg=6_000_000, confirm_after_s=0.3)


@dataclass
class SlowDisk:
    """A `Recorder` whose events stay on their way until `write` is called."""

    inbox: Inbox
    is_recorded: bool = True
    events: list[tuple[str, Event]] = field(default_factory=list)
    written: int = 0
    takes: Callable[[Event], bool] = lambda _event: True
    lock: Lock = field(default_factory=Lock)

    def submit(self, batch: str, event: Event) -> bool:
        if not self.takes(event):
            return False
        with self.lock:
            self.events.append((batch, event))
        return True

    def write(self, count: int | None = None) -> None:
        """So many more are on disk now; all that wait where it is not told."""
        with self.lock:
            fresh = self.events[self.written :][:count]
            self.written += len(fresh)
        for batch, event in fresh:
            self.inbox.put(Committed(Envelope("bench", 1, batch, "boot", "", event)))

    @property
    def named(self) -> list[str]:
        with self.lock:
            return [type(event).__name__ for _, event in self.events]


class Bench:
    """The thread with its queue; a context manager."""

    def __init__(self, **more: Any) -> None:
        self.clock = RealClock()
        self.inbox = Inbox()
        self.disk = SlowDisk(self.inbox)
        self.thread = BenchThread(self.clock, self.inbox, self.disk, "bench", **more)
        self.weigher = Weigher(WeigherSettings(division_mg=100))

    def __enter__(self) -> Bench:
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.thread.stop()

    @property
    def seen(self) -> Snapshot:
        return self.thread.board.latest()

    def until(self, is_so: Callable[[Snapshot], object], what: str) -> Snapshot:
        return eventually(lambda: snapshot if is_so(snapshot := self.seen) else None, what)

    def ask(self, intent: Asked) -> Request:
        request = Request(intent)
        assert self.inbox.put_request(request)
        return request

    def answered(self, intent: Asked) -> Answer:
        return self.ask(intent).answer.result(ANSWERED_S)

    def wish(self, wish: str) -> Answer:
        return self.answered(Wanted(self.clock.monotonic(), wish))  # type: ignore[arg-type]

    def begin(self, batch: str = "b1") -> Request:
        return self.ask(BeginBatch(self.clock.monotonic(), batch, FORMULA, Fraction(1), FACTS))

    def begun(self, batch: str = "b1") -> Accepted:
        request = self.begin(batch)
        eventually(lambda: "BatchStarted" in self.disk.named, "begun")
        self.disk.write()
        answer = request.answer.result(ANSWERED_S)
        assert isinstance(answer, Accepted)
        return answer

    def show(self, grams: float) -> None:
        """One reading of the scale."""
        now = self.clock.monotonic()
        self.inbox.put_weight(self.weigher.see(Reading(now, round(grams * 10) * 100, shown_division_mg=100)))

    def show_until(self, grams: float, is_so: Callable[[Snapshot], object], what: str) -> Snapshot:
        """Readings of this load, ten a second, until something is so."""
        at = [float("-inf")]

        def ask() -> Snapshot | None:
            now = self.clock.monotonic()
            if now - at[0] >= 0.1:
                at[0] = now
                self.show(grams)
            return self.seen if is_so(self.seen) else None

        return eventually(ask, what)


def refused(answer: Answer) -> str:
    """The reason of a refusal."""
    assert isinstance(answer, Refused)
    return answer.reason
