"""How the daemon fares, in words for `/healthz` and in figures for `/metrics`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from scaled.clock import Clock
from scaled.daemon.inbox import Inbox
from scaled.instruments.port import ScalePort
from scaled.records.writer import JournalWriter


class DaemonHealth:
    """Asks each part when it is asked; keeps to the protocol `Health`.

    Args:
        cue_states: called for the states in words of pins and voice.
        late: called for the names of loops that have not moved in time.
    """

    def __init__(
        self,
        clock: Clock,
        port: Callable[[], ScalePort],
        writer: JournalWriter,
        inbox: Inbox,
        *,
        cue_states: Callable[[], dict[str, str]],
        late: Callable[[], list[str]],
    ) -> None:
        self._clock, self._port, self._writer, self._inbox = clock, port, writer, inbox
        self._cue_states, self._late = cue_states, late
        self._started_at = clock.monotonic()

    def report(self) -> dict[str, Any]:
        """`ok` is whether the daemon itself works: an absent scale or light is a normal state, and told."""
        records = self._writer.state
        late = self._late()
        words = "ok" if records.is_recorded else f"not recorded: {records.why or 'too much waits'}"
        if records.set_aside:
            words += f"; damaged earlier, kept as {', '.join(str(path) for path in records.set_aside)}"
        return {
            "ok": records.is_recorded and not late,
            "scale": self._port().condition,
            "records": words,
            **self._cue_states(),
            "loops": f"late: {', '.join(late)}" if late else "ok",
        }

    def metrics(self) -> dict[str, float]:
        """Counters since the start, and ages in seconds."""
        port, records = self._port(), self._writer.state
        counts = port.counts
        values: dict[str, float] = {
            "scaled_uptime_seconds": self._clock.monotonic() - self._started_at,
            "scaled_frames_ok_total": counts.frames_ok,
            "scaled_frames_bad_total": counts.frames_bad,
            "scaled_bytes_discarded_total": counts.bytes_discarded,
            "scaled_port_reopened_total": counts.reopened,
            "scaled_weights_passed_over_total": self._inbox.passed_over,
            "scaled_events_waiting": records.waiting,
            "scaled_events_refused_total": records.refused,
        }
        values |= {f'scaled_port_failures_total{{reason="{why}"}}': n for why, n in counts.failures.items()}
        if port.last_good_at is not None:
            values["scaled_scale_age_seconds"] = self._clock.monotonic() - port.last_good_at
        return values
