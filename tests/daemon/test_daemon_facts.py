"""What the settings say of acceptance and vessels is frozen into the batches that begin."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from scaled.clock import ManualClock
from scaled.config import settings_from_text
from scaled.daemon.bench_scale import BenchScale
from scaled.daemon.inbox import Inbox

SETTINGS = """\
scales: [{name: bench, port: /dev/scale0, line: header, capacity: 6 kg, division: 0.1 g}]
formulas: /srv/recipes
records: /srv/records.db
vessels: [{name: steel bowl 3, empty: 812 g, holds: 4 l}, {name: tub, empty: 95.5 g}]
"""


def test_vessels_and_what_is_left_unasked_reach_the_batch() -> None:
    for said, leaves in (("", False), ("leave_small: yes\n", True)):
        settings = settings_from_text(SETTINGS + said, Path("/etc/scaled/scaled.yaml"))
        scale = BenchScale(settings.scales[0], ManualClock(), Inbox())
        facts = scale.facts(settings)
        assert facts is not None
        assert facts.leaves_small is leaves
        assert facts.vessels_mg == (("steel bowl 3", 812_000), ("tub", 95_500))
        assert facts.holds_ml == (("steel bowl 3", Fraction(4000)),)
