"""Puts this folder on the path, so that its tests share the modules that are no tests (`scene_*.py`)."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def say(pytestconfig: pytest.Config) -> Callable[[str], None]:
    """Prints past pytest's capture: what was drawn and found is part of every run, not only of one that fails."""
    capture = pytestconfig.pluginmanager.getplugin("capturemanager")

    def printed(text: str) -> None:
        with capture.global_and_fixture_disabled():
            print(text, flush=True)

    return printed
