"""Waiting for a condition with a deadline, which is the only way in which these tests wait."""

import time
from collections.abc import Callable
from threading import Condition
from typing import TypeVar

T = TypeVar("T")

LOOK_S = 0.01


def eventually(ask: Callable[[], T], what: str, within_s: float = 15.0) -> T:
    """What `ask()` answers once that is true; fails after `within_s` real seconds."""
    end_at = time.monotonic() + within_s
    turn = Condition()
    while not (answer := ask()):
        assert time.monotonic() < end_at, f"not within {within_s} s: {what}"
        with turn:
            turn.wait(LOOK_S)
    return answer
