"""An event as text in the file, and back.

The text of an envelope is its canonical JSON, which is what the chain of hashes is over. A formula is large, and most
batches begin with one that has been there before; so its text is kept once and the event holds its hash in its place.
Texts are put together again as texts, never by reading and writing JSON anew: an old event keeps its hash however
the program's own values change.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from scaled.batch.codec import data_from_event, event_from_data
from scaled.batch.envelope import Envelope
from scaled.batch.events import BatchStarted, Event

# What reading JSON and building checked values from it may raise where a text is not what was written.
_UNREADABLE = (ValueError, TypeError, KeyError, AttributeError, ArithmeticError, RecursionError)


@dataclass(frozen=True)
class StoredEvent:
    """A row of `events` with its whole text."""

    sequence: int
    text: str
    chain: str

    def envelope(self) -> Envelope:
        """The envelope that this text was made of; raises ValueError where it is none."""
        try:
            data = json.loads(self.text)
            envelope = Envelope(
                bench=_text(data, "bench"),
                sequence=data["sequence"],
                batch=_text(data, "batch"),
                boot=_text(data, "boot"),
                wall=_text(data, "wall"),
                event=event_from_data(data["event"]),
                chain=self.chain,
            )
        except _UNREADABLE as error:
            raise ValueError(f"event {self.sequence} cannot be read: {error}") from error
        if envelope.sequence != self.sequence:
            raise ValueError(f"event {self.sequence} calls itself {envelope.sequence}")
        return envelope


EVENTS = (
    "SELECT events.sequence, events.text, events.formula, formulas.text, events.chain"
    " FROM events LEFT JOIN formulas ON formulas.hash = events.formula"
)
"""What `stored_from_row` takes, to be followed by WHERE and ORDER BY."""


def stored_from_row(row: tuple[Any, ...]) -> StoredEvent:
    """A row of `EVENTS` with the formula's text back in its place; raises ValueError where it is damaged."""
    sequence, text, digest, formula, chain = row
    if not (isinstance(text, str) and isinstance(chain, str)):
        raise ValueError(f"event {sequence} is no text")
    if digest is None:
        return StoredEvent(sequence, text, chain)
    short = _formula_member(json.dumps(digest))
    if not isinstance(formula, str) or short not in text:
        raise ValueError(f"event {sequence} misses its formula")
    return StoredEvent(sequence, text.replace(short, _formula_member(formula), 1), chain)


@dataclass(frozen=True)
class CutText:
    """An envelope's text without its formula; `formula` and `digest` are None where it has none."""

    text: str
    digest: str | None = None
    formula: str | None = None


def cut(text: str, event: Event) -> CutText:
    """Take the formula's text out of the canonical JSON of this event's envelope."""
    if not isinstance(event, BatchStarted):
        return CutText(text)
    formula = _canonical(data_from_event(event)["formula"])
    digest = hashlib.sha256(formula.encode()).hexdigest()
    return CutText(text.replace(_formula_member(formula), _formula_member(json.dumps(digest)), 1), digest, formula)


def assert_recordable(event: Event) -> None:
    """Raises ValueError where the event holds what JSON cannot say (not a number, infinity)."""
    _canonical(data_from_event(event))


def column(text: str) -> str:
    """A text as SQLite takes it: half a surrogate pair, which UTF-8 cannot say, is spelled out."""
    return text.encode(errors="backslashreplace").decode()


def exported_line(stored: StoredEvent) -> str:
    """One line of JSON that can be checked from outside: without its last member, `chain`, it is the text hashed."""
    return f'{stored.text[:-1]},"chain":"{stored.chain}"}}'


def stored_events(db: sqlite3.Connection, where: str, values: tuple[Any, ...] = ()) -> Iterator[StoredEvent]:
    """The events that a condition fits, in their order; raises ValueError at one that is damaged."""
    for row in db.execute(f"{EVENTS} {where} ORDER BY events.sequence", values):
        yield stored_from_row(row)


def select_events(db: sqlite3.Connection, where: str, values: tuple[Any, ...] = ()) -> list[StoredEvent]:
    """As `stored_events`, all at once."""
    return list(stored_events(db, where, values))


def _canonical(data: object) -> str:
    return json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _formula_member(text: str) -> str:
    return f'"formula":{text}'


def _text(data: dict[str, Any], name: str) -> str:
    value = data[name]
    if not isinstance(value, str):
        raise ValueError(f"{name} is no text: {value!r}")
    return value
