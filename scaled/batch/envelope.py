"""An event with what the journal keeps around it, and the chain of hashes that makes a change visible.

`sequence` counts the events of one bench from 1; (bench, sequence) is an event's identity. `chain` is the hash of
this event and of the one before: SHA-256 (FIPS 180-4) over the previous hash and the event's canonical JSON.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace

from scaled.batch.codec import data_from_event
from scaled.batch.events import Event

FIRST_CHAIN = "0" * 64


@dataclass(frozen=True)
class Envelope:
    """`batch` the batch's id; `wall` ISO 8601 with offset as the wall clock stood; `boot` the id of the boot."""

    bench: str
    sequence: int
    batch: str
    boot: str
    wall: str
    event: Event
    chain: str = ""

    @property
    def at(self) -> float:
        return self.event.at


def canonical_json(envelope: Envelope) -> str:
    """The text that is hashed and stored: keys sorted, no spaces, ASCII, floats as repr."""
    return json.dumps(
        {
            "bench": envelope.bench,
            "sequence": envelope.sequence,
            "batch": envelope.batch,
            "boot": envelope.boot,
            "wall": envelope.wall,
            "event": data_from_event(envelope.event),
        },
        sort_keys=True,
        separators=(",", ":"),
        allow_nan=False,
    )


def chained(envelope: Envelope, before: str) -> Envelope:
    """The envelope with its hash, given the hash of the one before (`FIRST_CHAIN` for the first)."""
    return replace(envelope, chain=chain_hash(before, canonical_json(envelope)))


def chain_hash(before: str, text: str) -> str:
    return hashlib.sha256(f"{before}\n{text}".encode()).hexdigest()
