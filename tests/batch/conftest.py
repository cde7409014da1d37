"""Puts this folder on the path, so that its tests share the modules that are no tests."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from batch_plate import Plate


@pytest.fixture
def plate() -> Plate:
    """A bench with nothing on it, a batch of the oat dough about to begin."""
    return Plate()
