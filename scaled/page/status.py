"""The document of `/api/v1/status` and of each event: the Snapshot, and beside it what a page needs to speak and act.

`said` is what was spoken last, in words; `takes` are the wishes that the bench takes now, out of the machine's own
table, so that a page offers no button that would be refused; "start again" only where it would be advised.
"""

from __future__ import annotations

import json
import logging
from typing import Any

from scaled.batch.bench import MachinePhase
from scaled.batch.inputs import WISHES, Wish
from scaled.batch.snapshot import Snapshot, snapshot_json
from scaled.batch.table import TABLE
from scaled.phrases import phrase

LANGUAGE = "en"
log = logging.getLogger(__name__)


def said(snapshot: Snapshot) -> str | None:
    """What was spoken last, in words; None where nothing was, or nothing that there are words for."""
    spoken = snapshot.cue.spoken
    if spoken is None:
        return None
    try:
        return phrase(LANGUAGE, spoken.phrase, **dict(spoken.values))
    except ValueError as error:
        log.warning("cannot be said: %s", error)
        return None


def machine_phase(snapshot: Snapshot) -> MachinePhase:
    """The row of the machine's table that a Snapshot was taken in."""
    batch, addition = snapshot.batch, snapshot.addition
    if batch is None or batch.state in ("complete", "aborted"):
        return "idle"
    if batch.state == "held":
        return "held"
    if addition is None:
        return "waiting"
    if addition.phase == "asking" and not snapshot.offers:
        return "doubt"
    return addition.phase


def takes(snapshot: Snapshot) -> list[Wish]:
    """The wishes that are not refused now."""
    row = TABLE[machine_phase(snapshot)]
    taken = [wish for wish in WISHES if row[wish] not in ("refuse", "ignore")]
    return [wish for wish in taken if wish != "start again" or snapshot.start_again is not None]


def status_json(snapshot: Snapshot) -> dict[str, Any]:
    return snapshot_json(snapshot) | {"said": said(snapshot), "takes": takes(snapshot)}


class StatusText:
    """The newest Snapshot as the bytes of its document: made once, however many viewers send it."""

    def __init__(self) -> None:
        self._made: tuple[Snapshot, bytes] | None = None

    def of(self, snapshot: Snapshot) -> bytes:
        made = self._made
        if made is None or made[0] is not snapshot:
            text = json.dumps(status_json(snapshot), separators=(",", ":"), allow_nan=False)
            made = self._made = (snapshot, text.encode())
        return made[1]
