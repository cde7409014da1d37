"""The wiring: one scale, one bench thread, one journal, the page, the cues.

No scale, no pins and no sound are normal states and never end the daemon; what does end it is another one that has the
records or the port of the page (75), and settings that are wrong at the start (78). Settings read anew hold from the
next batch on; where the scale or the cues changed these are opened anew.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from scaled.batch.cue import Cue
from scaled.batch.envelope import Envelope
from scaled.batch.events import BenchFacts
from scaled.batch.inputs import ScaleBack, ScaleLost, Wanted
from scaled.catalogue import FolderCatalogue
from scaled.clock import Clock
from scaled.config import ScaleSettings, Settings
from scaled.cues.output import CueOutput
from scaled.daemon.bench_thread import BenchThread
from scaled.daemon.health import DaemonHealth
from scaled.daemon.inbox import Committed, Inbox
from scaled.daemon.sink import Sink
from scaled.errors import ScaledError
from scaled.formula.scales import ScaleFacts
from scaled.formula.values import Formula
from scaled.instruments.port import PortState, ScalePort
from scaled.notify import Heartbeats
from scaled.page.app import create_app
from scaled.page.server import PageServer
from scaled.records.reader import RecordsReader
from scaled.records.writer import JournalWriter
from scaled.weighing.values import Reading, Weight
from scaled.weighing.weigher import Weigher, WeigherSettings

log = logging.getLogger(__name__)

LEAST_REPEATABILITY = 0.3
SEEN_S = 0.3  # a step must have been shown this long before a foot can have meant it
LIMITS_S = {"bench": 5.0, "journal": 10.0, "scale": 15.0}


@dataclass
class _Scale:
    """The scale that is weighed on, with its filter."""

    settings: ScaleSettings
    weigher: Weigher
    port: ScalePort


class Daemon:
    """From `start` to `stop`. `on_committed` is told each event once it is on disk, after the bench."""

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        *,
        has_page: bool = True,
        on_committed: Callable[[Envelope], None] = lambda _envelope: None,
    ) -> None:
        self.settings, self.clock = settings, clock
        self._told = on_committed
        self.inbox = Inbox()
        self._last_weight: Weight | None = None
        pace = max(1.0, 1.0 / clock.real_seconds(1.0))  # of a clock that is sped up
        limits_s = {name: limit_s * pace for name, limit_s in LIMITS_S.items()}
        self.heartbeats = Heartbeats(limits_s, clock.monotonic())
        self.writer = JournalWriter(
            settings.records, clock, self._committed, self._not_recorded, beat=lambda: self._beat("journal")
        )
        self.catalogue = _catalogue(settings)
        self.cues = CueOutput(settings.cues, clock, self._wish)
        self.bench = BenchThread(
            clock,
            self.inbox,
            _Recorder(self.writer),
            settings.scales[0].name,
            show_cue=self._show,
            beat=lambda at: self.heartbeats.beat("bench", at),
        )
        self.sink = Sink(clock, self.inbox, lambda: self.catalogue, self.facts, self.writer.new_batch_id)
        self._scale = self._opened(settings.scales[0])
        self.health = DaemonHealth(
            clock,
            lambda: self._scale.port,
            self.writer,
            self.inbox,
            cue_states=lambda: self.cues.health(),  # noqa: PLW0108 - of the cues as they are then
            late=self.late,
        )
        self.page = self._page() if has_page else None

    def start(self) -> None:
        """Take the records and the page's port, then begin to read.

        Raises:
            Busy: another process has the records or the page's port.
            WrongSettings: the records are of a newer version, or the page's address is none of this machine's.
        """
        envelopes = self.writer.start()
        try:
            if self.page is not None:
                self.page.start()
        except ScaledError:
            self.writer.stop()
            raise
        self.cues.start()
        self.bench.start(envelopes)
        self._scale.port.start()

    def stop(self) -> int:
        """End everything in the order in which nothing is lost; returns the events that no disk took."""
        self._scale.port.stop()
        self.bench.stop()
        self.cues.close()
        left = self.writer.stop()
        if self.page is not None:
            self.page.stop()
        return left

    def late(self) -> list[str]:
        """The loops that have not moved in time."""
        self.heartbeats.beat("scale", self._scale.port.moved_at)
        return self.heartbeats.late(self.clock.monotonic())

    def renew(self, settings: Settings) -> list[str]:
        """Take on settings that were read anew; returns what of them holds only after a restart."""
        old, self.settings = self.settings, settings
        self.catalogue = _catalogue(settings)
        if settings.cues != old.cues:
            self.cues.close()
            self.cues = CueOutput(settings.cues, self.clock, self._wish)
            self.cues.start()
        if settings.scales[0] != old.scales[0]:
            self._scale.port.stop()
            self.inbox.put(ScaleLost(self.clock.monotonic()))
            self._scale = self._opened(settings.scales[0])
            self._scale.port.start()
        names = (("page", settings.page != old.page), ("records", settings.records != old.records))
        return [name for name, has_changed in names if has_changed]

    def facts(self) -> BenchFacts | None:
        """What a batch that begins now is frozen with; None while the scale's division is not known."""
        scale, weight = self.settings.scales[0], self._last_weight
        division_mg = scale.division_mg
        if division_mg is None:
            if weight is None:
                return None
            division_mg = weight.division_mg
        repeatability = scale.repeatability_mg
        return BenchFacts(
            scale=scale.name,
            division_mg=division_mg,
            repeatability_mg=LEAST_REPEATABILITY * division_mg if repeatability is None else repeatability,
            capacity_mg=scale.capacity_mg,
            vessels_mg=tuple((vessel.name, vessel.empty_mg) for vessel in self.settings.vessels),
            is_guarded=self.settings.is_guarded,
            confirm_after_s=self.settings.confirm_after_s,
        )

    def _page(self) -> PageServer:
        options = self.settings.page
        app = create_app(
            self.bench.board,
            self.sink,
            _CatalogueNow(lambda: self.catalogue),
            RecordsReader(self.settings.records),
            self.health,
            options=options,
        )
        return PageServer(app, options.address, options.port)

    def _opened(self, scale: ScaleSettings) -> _Scale:
        weigher = Weigher(WeigherSettings(division_mg=scale.division_mg))

        def on_reading(reading: Reading) -> None:
            self._last_weight = weigher.see(reading)
            self.inbox.put_weight(self._last_weight)

        def on_state(state: PortState) -> None:
            now = self.clock.monotonic()
            if state == "lost":
                weigher.lost()
            self.inbox.put(ScaleLost(now) if state == "lost" else ScaleBack(now))

        port = ScalePort(scale.name, scale.port, scale.line, self.clock, on_reading, on_state, options=scale.options)
        return _Scale(scale, weigher, port)

    def _show(self, cue: Cue) -> None:
        self.cues.show(cue)

    def _wish(self, wanted: Wanted) -> None:
        """What pedal or button asks for, `at` being when the foot came down: it must have seen what it answers."""
        if wanted.at < self.bench.step_shown_at + SEEN_S:
            return
        if not self.sink.post(replace(wanted, at=self.clock.monotonic())):
            log.warning("'%s' came while too much was waiting, and is lost", wanted.wish)

    def _beat(self, name: str) -> None:
        self.heartbeats.beat(name, self.clock.monotonic())

    def _committed(self, envelope: Envelope) -> None:
        self.inbox.put(Committed(envelope))
        self._told(envelope)

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
    scales = [
        ScaleFacts(scale.name, scale.division_mg, scale.capacity_mg)
        for scale in settings.scales
        if scale.division_mg is not None
    ]
    return FolderCatalogue(settings.formulas, scales=scales)
