"""How the daemon fares, in words for `/healthz` and in figures for `/metrics`."""

from __future__ import annotations

from typing import Any, Protocol

from scaled.clock import Clock
from scaled.cues.output import CueOutput
from scaled.daemon.bench_scale import BenchScale
from scaled.daemon.bench_thread import BenchThread
from scaled.daemon.inbox import Inbox
from scaled.records.writer import JournalWriter


class Parts(Protocol):
    """The parts of a daemon that are asked how they fare; a reload puts others in the place of `scale` and `cues`."""

    clock: Clock
    inbox: Inbox
    writer: JournalWriter
    bench: BenchThread
    scale: BenchScale
    cues: CueOutput

    def late(self, at: float) -> list[str]:
        """The loops that have not moved in time."""
        ...


class DaemonHealth:
    """Asks each part when it is asked; keeps to the protocol `Health`."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._started_at = parts.clock.monotonic()

    def report(self) -> dict[str, Any]:
        """`ok` is whether the daemon itself works: an absent scale or light is a normal state, and told."""
        parts = self._parts
        records = parts.writer.state
        late = parts.late(parts.clock.monotonic())
        words = "ok" if records.is_recorded else f"not recorded: {records.why or 'too much waits'}"
        if records.set_aside:
            words += f"; damaged earlier, kept as {', '.join(str(path) for path in records.set_aside)}"
        return {
            "ok": records.is_recorded and not late,
            "scale": parts.scale.port.condition,
            "records": words,
            **parts.cues.health(),
            "loops": f"late: {', '.join(late)}" if late else "ok",
        }

    def metrics(self) -> dict[str, float]:
        """Counters since the start, and ages in seconds."""
        parts = self._parts
        port, records, now = parts.scale.port, parts.writer.state, parts.clock.monotonic()
        counts = port.counts
        values: dict[str, float] = {
            "scaled_uptime_seconds": now - self._started_at,
            "scaled_frames_ok_total": counts.frames_ok,
            "scaled_frames_bad_total": counts.frames_bad,
            "scaled_bytes_discarded_total": counts.bytes_discarded,
            "scaled_port_reopened_total": counts.reopened,
            "scaled_weights_passed_over_total": parts.inbox.passed_over,
            "scaled_events_waiting": records.waiting,
            "scaled_events_refused_total": records.refused,
            "scaled_mistakes_total": parts.bench.mistakes + parts.scale.mistakes,
        }
        values |= {f'scaled_port_failures_total{{reason="{why}"}}': n for why, n in counts.failures.items()}
        if port.last_good_at is not None:
            values["scaled_scale_age_seconds"] = now - port.last_good_at
        return values
