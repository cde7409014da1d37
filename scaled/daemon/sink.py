"""The way in for intents: looks up what their names stand for, hands them to the bench, waits for the answer."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import TimeoutError as NoAnswer
from datetime import date

from scaled.batch.events import BenchFacts
from scaled.batch.inputs import BeginBatch, Intent, StartBatch, SwapProduct, UseProduct
from scaled.batch.protocols import Accepted, Larder, Refused
from scaled.clock import Clock
from scaled.daemon.inbox import Asked, Inbox, Request
from scaled.errors import Invalid
from scaled.formula.values import LEAST_FACTOR, MOST_FACTOR

# Real seconds. A disk that takes longer than 2 s for an event counts as failed, and is not awaited.
SHOWN_WITHIN_S = 5.0

FULL = Refused("full", "too much is waiting for the bench, or it ends: try again in a moment")
BUSY = Refused("full", "the bench is busy, and nothing was changed: try again in a moment")
UNSEEN = Refused("full", "it was taken, but the bench does not show it yet: look before you try again")


class Sink:
    """The `IntentSink` of the page, the pedal and the simulated cook.

    Args:
        catalogue: called for the formulas as they are now (a reload changes them).
        facts: called for what the bench knows now; None while the scale has not been heard.
        new_batch_id: called with the date.
    """

    def __init__(
        self,
        clock: Clock,
        inbox: Inbox,
        catalogue: Callable[[], Larder],
        facts: Callable[[], BenchFacts | None],
        new_batch_id: Callable[[date], str],
    ) -> None:
        self._clock, self._inbox = clock, inbox
        self._catalogue, self._facts, self._new_batch_id = catalogue, facts, new_batch_id

    def now(self) -> float:
        """The bench's time, to stamp an intent with."""
        return self._clock.monotonic()

    def send(self, intent: Intent, timeout_s: float = 2.0) -> Accepted | Refused:
        """Hand an intent to the bench and wait for its answer; what it has not begun in `timeout_s` is withdrawn."""
        asked = self._looked_up(intent)
        if isinstance(asked, Refused):
            return asked
        request = Request(asked)
        if not self._inbox.put_request(request):
            return FULL
        try:
            return request.answer.result(timeout_s)
        except NoAnswer:
            if request.answer.cancel():
                return BUSY
        try:
            return request.answer.result(SHOWN_WITHIN_S)
        except NoAnswer:
            return UNSEEN

    def post(self, intent: Asked) -> bool:
        """Hand an intent over without waiting (pedal, buttons); False where too much waits."""
        return self._inbox.put_request(Request(intent))

    def _looked_up(self, intent: Intent) -> Asked | Refused:
        """What reaches the bench: the names that it cannot know have become what they stand for."""
        match intent:
            case StartBatch():
                return self._begin(intent)
            case UseProduct():
                return self._swap(intent)
            case asked:
                return asked

    def _swap(self, intent: UseProduct) -> SwapProduct | Refused:
        try:
            product = self._catalogue().product(intent.product)
        except Invalid as error:
            return Refused("invalid", f"the ingredient table has mistakes: {error}")
        except OSError as error:
            return Refused("unknown", f"the ingredient table cannot be read: {error.strerror}")
        return SwapProduct(intent.at, intent.ingredient, product, intent.is_yes)

    def _begin(self, intent: StartBatch) -> BeginBatch | Refused:
        try:
            formula = self._catalogue().formula(intent.formula)
        except KeyError:
            return Refused("unknown", f"there is no formula '{intent.formula}'")
        except Invalid as error:
            return Refused("invalid", f"the formula '{intent.formula}' has mistakes: {error}")
        except OSError as error:
            return Refused("unknown", f"the formulas cannot be read: {error.strerror}")
        if not LEAST_FACTOR <= intent.factor <= MOST_FACTOR:
            return Refused("invalid", f"a factor lies in {float(LEAST_FACTOR):g} to {MOST_FACTOR}")
        facts = self._facts()
        if facts is None:
            return Refused("conflict", "the scale has not been heard yet: switch it on, or set its division")
        batch = self._new_batch_id(self._clock.wall().date())
        return BeginBatch(self.now(), batch, formula, intent.factor, facts)
