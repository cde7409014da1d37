"""Puts this folder on the path, so that its tests share the modules that are no tests."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from batch_plate import Plate  # noqa: E402 - it lies in the folder that was just put on the path


@pytest.fixture
def plate() -> Plate:
    """A bench with nothing on it, a batch of the oat dough about to begin."""
    return Plate()
