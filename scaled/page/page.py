"""What the views of the page share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event

from scaled.batch.protocols import Catalogue, Health, History, IntentSink, SnapshotSource
from scaled.clock import RealClock
from scaled.page.status import StatusText
from scaled.page.stream import Crier, Viewers


@dataclass
class Page:
    """`stopping` ends the streams; `monotonic` is real time, since browsers live in it."""

    source: SnapshotSource
    sink: IntentSink
    catalogue: Catalogue
    history: History
    health: Health
    viewers: Viewers
    text: StatusText = field(default_factory=StatusText)
    stopping: Event = field(default_factory=Event)
    monotonic: Callable[[], float] = RealClock().monotonic
    crier: Crier = field(init=False)

    def __post_init__(self) -> None:
        self.crier = Crier(self.source, self.text, self.stopping, self.monotonic)
