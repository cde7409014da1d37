"""Records in a folder of their own, with a clock that is moved by hand."""

import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from scaled.clock import ManualClock
from scaled.records.journal import Journal


@pytest.fixture
def clock():
    return ManualClock(at=100.0, wall=datetime(2026, 11, 24, 4, 30, tzinfo=UTC), boot_id="first boot")


@pytest.fixture
def path(tmp_path):
    return tmp_path / "records.db"


@pytest.fixture
def journal(path, clock):
    with Journal(path, clock) as journal:
        yield journal
