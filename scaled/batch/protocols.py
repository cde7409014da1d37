"""What the rooms around the core hand to each other, as protocols, so that none of them imports another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal, Protocol

from scaled.batch.inputs import Intent
from scaled.batch.snapshot import Snapshot
from scaled.formula.values import Formula, Product

RefusalReason = Literal["unknown", "conflict", "full", "invalid"]


@dataclass(frozen=True)
class Accepted:
    """The intent was taken: `seq` is the first Snapshot that shows it; `batch` the id where one was started."""

    seq: int
    batch: str | None = None


@dataclass(frozen=True)
class Refused:
    """The intent changed nothing. `why` says what is wrong and what can be done.

    `unknown`: no such formula, batch or ingredient (404); `conflict`: the phase does not take it, no question stands,
    the offer is stale, a batch is running (409); `full`: the queue is full, try again (503); `invalid`: a value out
    of bounds (400).
    """

    reason: RefusalReason
    why: str


class SnapshotSource(Protocol):
    def latest(self) -> Snapshot: ...

    def newer_than(self, seq: int, timeout_s: float) -> Snapshot | None:
        """Block until a Snapshot newer than `seq` is there; None when `timeout_s` real seconds have passed."""
        ...


class IntentSink(Protocol):
    def now(self) -> float:
        """The bench's monotonic time, to stamp an intent with."""
        ...

    def send(self, intent: Intent, timeout_s: float = 2.0) -> Accepted | Refused:
        """Hand an intent to the bench and wait for its answer; never raises for a refused one."""
        ...


class Catalogue(Protocol):
    def stems(self) -> tuple[str, ...]: ...

    def formula(self, stem: str) -> Formula:
        """The formula of that stem; raises Invalid where its file has mistakes, KeyError where there is none."""
        ...

    def plan_json(self, stem: str, factor: Fraction) -> dict[str, Any]:
        """The plan as the contract of `formula plan` spells it; raises as `formula`."""
        ...


class Larder(Catalogue, Protocol):
    def product(self, name: str) -> Product:
        """What is known of an ingredient by its name, whether a formula names it or not.

        Raises Mistakes where a table of ingredients has some, OSError where it cannot be read.
        """
        ...


class History(Protocol):
    def batches(self, most: int) -> Sequence[dict[str, Any]]:
        """The newest batches first: id, formula, title, state, started, ended."""
        ...

    def record_json(self, batch: str) -> dict[str, Any] | None: ...


class Health(Protocol):
    def report(self) -> dict[str, Any]:
        """`{"ok": bool, "scale": ..., "gpio": ..., "voice": ..., "records": ...}`, each a state in words."""
        ...

    def metrics(self) -> dict[str, float]:
        """Counters and gauges by metric name (`scaled_frames_ok_total` ...)."""
        ...
