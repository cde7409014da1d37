"""Modules beside the tests are importable by name; the five cases are played once for all of them."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from demo_playing import Shown, all_played


@pytest.fixture(scope="session")
def shown() -> dict[str, Shown]:
    """Each case's exit code, record and story, played by five processes at once."""
    return all_played()
