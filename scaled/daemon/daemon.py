"""The wiring: one scale, one bench thread, one journal, the page, the cues.

No scale, no pins and no sound are normal states and never end the daemon; what does end it is another one that has the
records, the scale's port or the page's (75), and settings that are wrong at the start (78). Settings read anew hold
from the next batch on; where the scale or the cues changed these are opened anew.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from fractions import Fraction
from threading import Thread
from typing import Any

from scaled.batch.cue import Cue
from scaled.batch.envelope import Envelope
from scaled.batch.inputs import ScaleLost, Wanted
from scaled.catalogue import FolderCatalogue
from scaled.clock import Clock, RealClock
from scaled.config import Settings
from scaled.cues.output import CueOutput
from scaled.daemon.bench_scale import BenchScale
from scaled.daemon.bench_thread import BenchThread
from scaled.daemon.health import DaemonHealth
from scaled.daemon.inbox import Committed, Inbox
from scaled.daemon.sink import Sink
from scaled.errors import ScaledError
from scaled.formula.values import Formula
from scaled.notify import Heartbeats
from scaled.page.app import create_app
from scaled.page.server import PageServer
from scaled.records.reader import RecordsReader
from scaled.records.writer import JournalWriter

log = logging.getLogger(__name__)

SEEN_S = 0.3  # a step must have been shown this long before a foot can have meant it
STOP_S = 4.5  # real seconds for all of it; whatever hangs then is left behind
BENCH_STOP_S, WRITER_STOP_S = 1.0, 2.0
LIMITS_S = {"bench": 5.0, "scale": 15.0, "gpio": 15.0, "journal": 60.0}
"""How long each vital loop may stand still before the watchdog starves. A disk may hang for long, and a restart would
lose what waits for it; so the journal's is the longest."""


class Daemon:
    """From `start` to `stop`.

    Args:
        settings: what there is.
        clock: the bench's.
        has_page: whether it serves its page.
        on_committed: told each event once it is on disk, after the bench; in the writer's thread, must return at once.
    """

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        *,
        has_page: bool = True,
        on_committed: Callable[[Envelope], None] = lambda _envelope: None,
    ) -> None:
        self.settings, self.clock = settings, clock
        self._on_committed = on_committed
        self.inbox = Inbox()
        self.heartbeats = Heartbeats(_limits_s(clock), clock.monotonic())
        self.writer = JournalWriter(
            settings.records, clock, self._committed, self._not_recorded, beat=lambda: self._beat("journal")
        )
        self.catalogue = _catalogue(settings)
        self.cues = self._cues(settings)
        self.scale = BenchScale(settings.scales[0], clock, self.inbox)
        self.bench = BenchThread(
            clock,
            self.inbox,
            _Recorder(self.writer),
            settings.scales[0].name,
            show_cue=self._show,
            beat=lambda at: self.heartbeats.beat("bench", at),
        )
        self.sink = Sink(
            clock,
            self.inbox,
            lambda: self.catalogue,
            lambda: self.scale.facts(self.settings),
            self.writer.new_batch_id,
        )
        self.page = self._page() if has_page else None

    def start(self) -> None:
        """Take the records, the scale's port and the page's, then go on in the batch that was left open.

        Raises:
            Busy: another process has one of them.
            WrongSettings: the records are of a newer version, or the page's address is none of this machine's.
        """
        with ExitStack() as undo:
            envelopes = self.writer.start()
            undo.callback(self.writer.stop)
            undo.callback(self.scale.port.stop)
            self.scale.port.claim()
            self._restore(envelopes)
            if self.page is not None:
                self.page.start()
            undo.pop_all()
        self.cues.start()
        self.bench.start()
        self.scale.port.start()

    def stop(self) -> int:
        """End everything in the order in which nothing is lost, within 5 s; returns the events that no disk took."""
        real = RealClock()
        until = real.monotonic() + STOP_S
        ends = {"cues": self.cues.close} | ({"page": self.page.stop} if self.page else {})
        beside = {name: Thread(target=end, name="stopping", daemon=True) for name, end in ends.items()}
        for thread in beside.values():
            thread.start()
        self.scale.port.stop()
        self.bench.stop(BENCH_STOP_S)
        left = self.writer.stop(WRITER_STOP_S)
        for thread in beside.values():
            thread.join(max(0.0, until - real.monotonic()))
        hung = {
            "scale": self.scale.port.is_running,
            "bench": self.bench.is_running,
            "records": self.writer.is_running,
            "pins": self.cues.board.is_running,
            "voice": self.cues.voice.is_running,
            "page": "page" in beside and beside["page"].is_alive(),
        }
        if any(hung.values()):
            log.error("what hangs is left behind: %s", ", ".join(name for name, is_left in hung.items() if is_left))
        return left

    def late(self, at: float) -> list[str]:
        """The loops that have not moved in time. The port's does not beat by itself: it is asked when it moved last."""
        self.heartbeats.beat("scale", self.scale.port.moved_at)
        return self.heartbeats.late(at)

    def renew(self, settings: Settings) -> list[str]:
        """Take on settings that were read anew; returns what of them holds only after a restart."""
        old, self.settings = self.settings, settings
        self.catalogue = _catalogue(settings)
        if settings.cues != old.cues:
            self.cues.close()
            self.cues = self._cues(settings)
            self.cues.start()
        if settings.scales[0] != old.scales[0]:
            self.scale.port.stop()
            self.inbox.put(ScaleLost(self.clock.monotonic()))
            self.scale = BenchScale(settings.scales[0], self.clock, self.inbox)
            self.bench.showing.scale = settings.scales[0].name
            self.scale.port.start()
        names = (("page", settings.page != old.page), ("records", settings.records != old.records))
        return [name for name, has_changed in names if has_changed]

    def _restore(self, envelopes: Sequence[Envelope]) -> None:
        if not envelopes:
            return
        is_same_boot = envelopes[-1].boot == self.clock.boot_id()
        try:
            self.bench.restore([envelope.event for envelope in envelopes], is_same_boot=is_same_boot)
        except Exception:
            log.exception("the batch that was left open cannot be gone on with; it stays in the records as it is")

    def _cues(self, settings: Settings) -> CueOutput:
        return CueOutput(settings.cues, self.clock, self._wish, on_beat=lambda at: self.heartbeats.beat("gpio", at))

    def _page(self) -> PageServer:
        options = self.settings.page
        reader = RecordsReader(self.settings.records)
        catalogue = _CatalogueNow(lambda: self.catalogue)
        app = create_app(self.bench.board, self.sink, catalogue, reader, DaemonHealth(self), options=options)
        return PageServer(app, options.address, options.port)

    def _show(self, cue: Cue) -> None:
        self.cues.show(cue)

    def _wish(self, wanted: Wanted) -> None:
        """What pedal or button asks for, `at` being when the foot came down: it must have seen what it answers."""
        if wanted.at < self.bench.showing.step_shown_at + SEEN_S:
            return
        if not self.sink.post(replace(wanted, at=self.clock.monotonic())):
            log.warning("'%s' came while too much was waiting, and is lost", wanted.wish)

    def _beat(self, name: str) -> None:
        self.heartbeats.beat(name, self.clock.monotonic())

    def _committed(self, envelope: Envelope) -> None:
        self.inbox.put(Committed(envelope))
        self._on_committed(envelope)

    def _not_recorded(self, error: ScaledError) -> None:
        log.error("the batch goes on, not recorded: %s", error)


class _Recorder:
    """The journal's writer as the bench sees it."""

    def __init__(self, writer: JournalWriter) -> None:
        self._writer = writer
        self.submit = writer.submit

    @property
    def is_recorded(self) -> bool:
        return self._writer.state.is_recorded


class _CatalogueNow:
    """The catalogue of the settings as they are when it is asked."""

    def __init__(self, now: Callable[[], FolderCatalogue]) -> None:
        self._now = now

    def stems(self) -> tuple[str, ...]:
        return self._now().stems()

    def formula(self, stem: str) -> Formula:
        return self._now().formula(stem)

    def plan_json(self, stem: str, factor: Fraction) -> dict[str, Any]:
        return self._now().plan_json(stem, factor)


def _catalogue(settings: Settings) -> FolderCatalogue:
    return FolderCatalogue(settings.formulas, scales=settings.scale_facts, allergens=settings.allergens)


def _limits_s(clock: Clock) -> Mapping[str, float]:
    """In bench time: what a loop does outside of it takes as long as ever where the clock is sped up."""
    pace = max(1.0, 1.0 / clock.real_seconds(1.0))
    return {name: limit_s * pace for name, limit_s in LIMITS_S.items()}
