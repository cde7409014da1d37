"""Waiting for what another thread does: until a condition holds, never for a time."""

from __future__ import annotations

import time
from collections.abc import Callable
from threading import Event

DEADLINE_S = 20.0


def until(condition: Callable[[], object], what: str) -> None:
    """Return as soon as the condition holds; fail where it does not within the deadline."""
    give_up_at = time.monotonic() + DEADLINE_S
    nothing = Event()
    while not condition():
        assert time.monotonic() < give_up_at, f"not within {DEADLINE_S:g} s: {what}"
        nothing.wait(0.002)
