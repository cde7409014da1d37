"""How the daemon fares, in words for `/healthz` and in figures for `/metrics`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scaled.daemon.daemon import Daemon


class DaemonHealth:
    """Asks each part when it is asked; keeps to the protocol `Health`."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._started_at = daemon.clock.monotonic()

    def report(self) -> dict[str, Any]:
        """`ok` is whether the daemon itself works: an absent scale or light is a normal state, and told."""
        daemon = self._daemon
        records = daemon.writer.state
        late = daemon.late()
        words = "ok" if records.is_recorded else f"not recorded: {records.why or 'too much waits'}"
        if records.set_aside:
            words += f"; damaged earlier, kept as {', '.join(str(path) for path in records.set_aside)}"
        return {
            "ok": records.is_recorded and not late,
            "scale": daemon.scale.port.condition,
            "records": words,
            **daemon.cues.health(),
            "loops": f"late: {', '.join(late)}" if late else "ok",
        }

    def metrics(self) -> dict[str, float]:
        """Counters since the start, and ages in seconds."""
        daemon = self._daemon
        port, records, now = daemon.scale.port, daemon.writer.state, daemon.clock.monotonic()
        counts = port.counts
        values: dict[str, float] = {
            "scaled_uptime_seconds": now - self._started_at,
            "scaled_frames_ok_total": counts.frames_ok,
            "scaled_frames_bad_total": counts.frames_bad,
            "scaled_bytes_discarded_total": counts.bytes_discarded,
            "scaled_port_reopened_total": counts.reopened,
            "scaled_weights_passed_over_total": daemon.inbox.passed_over,
            "scaled_events_waiting": records.waiting,
            "scaled_events_refused_total": records.refused,
            "scaled_mistakes_total": daemon.bench.mistakes + daemon.scale.mistakes,
        }
        values |= {f'scaled_port_failures_total{{reason="{why}"}}': n for why, n in counts.failures.items()}
        if port.last_good_at is not None:
            values["scaled_scale_age_seconds"] = now - port.last_good_at
        return values
