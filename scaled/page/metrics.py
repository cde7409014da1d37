"""Counters and gauges in the Prometheus text exposition format 0.0.4.

A name that ends in `_total` is a counter, any other a gauge. A name may carry labels
(`scaled_frames_total{scale="a"}`); lines of one metric are kept together, as the format asks.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping

from scaled.batch.protocols import Health
from scaled.batch.snapshot import Snapshot
from scaled.page.stream import Viewers

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
HELP = {
    "scaled_page_viewers": "Streams open now.",
    "scaled_page_viewers_most": "Streams that may be open at once.",
    "scaled_page_viewers_refused_total": "Streams refused because all places were taken.",
    "scaled_snapshot_seq": "Sequence number of the newest snapshot.",
    "scaled_recorded": "1 while all that happened is on the disk, 0 while something waits in memory.",
    "scaled_scale_ready": "1 while the scale reports weights, 0 otherwise.",
    "scaled_batch_open": "1 while a batch is running or held.",
    "scaled_weight_gross_grams": "What the scale shows.",
}


def page_metrics(snapshot: Snapshot, viewers: Viewers) -> dict[str, float]:
    """What the page itself knows."""
    known: dict[str, float] = {
        "scaled_page_viewers": viewers.present,
        "scaled_page_viewers_most": viewers.most,
        "scaled_page_viewers_refused_total": viewers.refused,
        "scaled_snapshot_seq": snapshot.seq,
        "scaled_recorded": snapshot.is_recorded,
        "scaled_scale_ready": snapshot.scale_state == "ready",
        "scaled_batch_open": snapshot.batch is not None and snapshot.batch.state in ("running", "held"),
    }
    if snapshot.weight is not None:
        known["scaled_weight_gross_grams"] = snapshot.weight.gross_mg / 1000
    return known


def metrics_text(health: Health, snapshot: Snapshot, viewers: Viewers) -> str:
    """All of it, the bench's own metrics first."""
    return exposition(health.metrics() | page_metrics(snapshot, viewers))


def exposition(values: Mapping[str, float]) -> str:
    """`{name or name{labels}: value}` as text."""
    families: dict[str, list[str]] = defaultdict(list)
    for name, value in values.items():
        families[name.partition("{")[0]].append(f"{name} {_number(value)}")
    lines = []
    for family, samples in families.items():
        if family in HELP:
            lines.append(f"# HELP {family} {HELP[family]}")
        lines.append(f"# TYPE {family} {'counter' if family.endswith('_total') else 'gauge'}")
        lines += samples
    return "\n".join(lines) + "\n"


def _number(value: float) -> str:
    if math.isinf(value):
        return "+Inf" if value > 0 else "-Inf"
    return "NaN" if math.isnan(value) else repr(float(value))
