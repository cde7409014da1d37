"""Ids of batches that a cook can say aloud and write on tape: the day and a count, `2026-11-24-03`.

The count of each day is kept in memory, so that a bench thread never waits for the disk. Ids are unique among those
in the records, whatever the clock says: a day that comes twice is counted on.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Mapping
from datetime import date
from threading import Lock

_LETTERS = "abcdefghkmnpqrstuvwxyz"  # none that is taken for a digit or another one
_LAST_OF_EACH_DAY = (
    "SELECT substr(id, 1, 10), max(CAST(substr(id, 12) AS INTEGER)) FROM batches GROUP BY substr(id, 1, 10)"
)


def last_ids(db: sqlite3.Connection) -> dict[str, int]:
    """The highest count of each day in the records; an id that damage left empty is passed over."""
    found = db.execute(_LAST_OF_EACH_DAY)
    return {day: count for day, count in found if isinstance(day, str) and isinstance(count, int)}


class BatchIds:
    """Gives out ids. Safe to call from any thread."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._last: dict[str, int] = {}

    def count_on_from(self, last: Mapping[str, int]) -> None:
        """Take the highest counts of these days as given."""
        with self._guard:
            for day, count in last.items():
                self._last[day] = max(count, self._last.get(day, 0))

    def new(self, day: date) -> str:
        """The next id of that day."""
        with self._guard:
            count = self._last.get(day.isoformat(), 0) + 1
            self._last[day.isoformat()] = count
            return f"{day.isoformat()}-{count:02d}"


def id_without_records(day: date) -> str:
    """An id for a batch begun while the records cannot be read, so that a count could come twice: three letters."""
    return f"{day.isoformat()}-" + "".join(secrets.choice(_LETTERS) for _ in range(3))
