"""What a decision comes to: events, or a refusal with its reason."""

from __future__ import annotations

from dataclasses import dataclass

from scaled.batch import events as e
from scaled.batch.protocols import RefusalReason

Events = tuple[e.Event, ...]


@dataclass(frozen=True)
class Refusal:
    """The phase does not take this input; `why` says so and what can be done, `reason` what kind of no it is."""

    why: str
    reason: RefusalReason = "conflict"


Outcome = Events | Refusal
