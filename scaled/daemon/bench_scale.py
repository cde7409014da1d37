"""The scale that is weighed on: its port, the filter behind it, and what a batch on it is frozen with."""

from __future__ import annotations

import logging

from scaled.batch.events import BenchFacts
from scaled.batch.inputs import ScaleBack, ScaleLost
from scaled.clock import Clock
from scaled.config import ScaleSettings, Settings
from scaled.daemon.inbox import Inbox
from scaled.formula.uncertainty import USUAL_REPEATABILITY_D
from scaled.instruments.port import PortState, ScalePort
from scaled.weighing.values import Reading
from scaled.weighing.weigher import Weigher, WeigherSettings

log = logging.getLogger(__name__)


class BenchScale:
    """One scale from its settings to the weights in the inbox. `mistakes` counts readings that the filter failed on."""

    def __init__(self, settings: ScaleSettings, clock: Clock, inbox: Inbox) -> None:
        self.settings = settings
        self.mistakes = 0
        self._clock, self._inbox = clock, inbox
        self._division_mg = settings.division_mg
        self._weigher = Weigher(WeigherSettings(division_mg=settings.division_mg))
        self.port = ScalePort(
            settings.name,
            settings.port,
            settings.line,
            clock,
            self._on_reading,
            self._on_state,
            options=settings.options,
        )

    def facts(self, settings: Settings) -> BenchFacts | None:
        """What a batch that begins now is frozen with; None while the scale's division is not known."""
        scale, division_mg = self.settings, self._division_mg
        if division_mg is None:
            return None
        repeatability = scale.repeatability_mg
        return BenchFacts(
            scale=scale.name,
            division_mg=division_mg,
            repeatability_mg=USUAL_REPEATABILITY_D * division_mg if repeatability is None else repeatability,
            capacity_mg=scale.capacity_mg,
            vessels_mg=tuple((vessel.name, vessel.empty_mg) for vessel in settings.vessels),
            is_guarded=settings.is_guarded,
            confirm_after_s=settings.confirm_after_s,
            leaves_small=settings.leaves_small,
            holds_ml=tuple((vessel.name, vessel.holds_ml) for vessel in settings.vessels if vessel.holds_ml),
        )

    def _on_reading(self, reading: Reading) -> None:
        """In the port's thread, which must outlive a mistake in the filter."""
        try:
            weight = self._weigher.see(reading)
        except Exception:
            self.mistakes += 1
            if self.mistakes == 1:
                log.exception(
                    "scale %s: a mistake in the program; it begins anew after %s", self.settings.name, reading
                )
            self._weigher.lost()
            return
        if self.settings.division_mg is None:
            self._division_mg = weight.division_mg
        self._inbox.put_weight(weight)

    def _on_state(self, state: PortState) -> None:
        now = self._clock.monotonic()
        if state == "lost":
            self._weigher.lost()
        self._inbox.put(ScaleLost(now) if state == "lost" else ScaleBack(now))
