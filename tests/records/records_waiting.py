"""Waiting for a condition with a deadline, which is the only way in which these tests wait."""

import time
from threading import Condition


def eventually(is_so, what, within_s=20.0):
    """Return once `is_so()`; fail after `within_s` real seconds."""
    end_at = time.monotonic() + within_s
    turn = Condition()
    while not is_so():
        assert time.monotonic() < end_at, f"not within {within_s} s: {what}"
        with turn:
            turn.wait(0.005)


class Told:
    """What a writer told: committed envelopes and failures, in order."""

    def __init__(self):
        self.envelopes = []
        self.errors = []

    def committed(self, envelope):
        self.envelopes.append(envelope)

    def failed(self, error):
        self.errors.append(error)

    @property
    def events(self):
        return [envelope.event for envelope in self.envelopes]
