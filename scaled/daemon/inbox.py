"""The one queue into the bench thread.

Of weights the newest wins: a bench that falls behind must not guide by old numbers; what had happened in those passed
over is kept. Intents are never dropped, but refused when too many wait or the bench ends. Commits and the scale's
state are few and always taken.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from threading import Condition

from scaled.batch.envelope import Envelope
from scaled.batch.inputs import BeginBatch, NameLot, ScaleBack, ScaleLost, SwapProduct, TakeOffer, Wanted
from scaled.batch.protocols import Accepted, Refused
from scaled.weighing.values import Weight

MOST_WAITING = 64
MOST_HAPPENED = 32  # kept of the weights passed over; more than a hand can do while a bench is held up

Asked = BeginBatch | Wanted | TakeOffer | NameLot | SwapProduct
Answer = Accepted | Refused


@dataclass(eq=False)
class Request:
    """An intent on its way to the bench, and where its answer goes; who no longer waits cancels that."""

    intent: Asked
    answer: Future[Answer] = field(default_factory=Future)


@dataclass(frozen=True)
class Committed:
    """An event is on disk."""

    envelope: Envelope


Item = Weight | ScaleLost | ScaleBack | Committed | Request


class Inbox:
    """Filled by any thread, emptied by the bench thread."""

    def __init__(self, most_waiting: int = MOST_WAITING) -> None:
        self._most = most_waiting
        self._changed = Condition()
        self._weight: Weight | None = None
        self._items: deque[Item] = deque()
        self._requests = 0
        self._is_closed = False
        self.passed_over = 0

    def put_weight(self, weight: Weight) -> None:
        """A new weight; one that is still waiting is passed over, but not what happened in it."""
        with self._changed:
            if self._weight is not None:
                self.passed_over += 1
                if self._weight.happened:
                    weight = replace(weight, happened=(self._weight.happened + weight.happened)[-MOST_HAPPENED:])
            self._weight = weight
            self._changed.notify()

    def put(self, item: ScaleLost | ScaleBack | Committed) -> None:
        """Something that is always taken; a weight from before the scale was lost is of no use any more."""
        with self._changed:
            if isinstance(item, ScaleLost):
                self._weight = None
            self._items.append(item)
            self._changed.notify()

    def put_request(self, request: Request) -> bool:
        """False where too many intents wait or the bench has ended: nothing was taken."""
        with self._changed:
            if self._is_closed or self._requests >= self._most:
                return False
            self._requests += 1
            self._items.append(request)
            self._changed.notify()
            return True

    def take(self, timeout_s: float) -> Item | None:
        """The next thing to do, weights last; None when `timeout_s` real seconds have passed with nothing."""
        with self._changed:
            self._changed.wait_for(lambda: self._items or self._weight is not None, timeout_s)
            if self._items:
                item = self._items.popleft()
                self._requests -= isinstance(item, Request)
                return item
            weight, self._weight = self._weight, None
            return weight

    def close(self) -> list[Request]:
        """No more intents from now on; returns those that nobody has taken."""
        with self._changed:
            self._is_closed = True
            left = [item for item in self._items if isinstance(item, Request)]
            self._items = deque(item for item in self._items if not isinstance(item, Request))
            self._requests = 0
            return left
