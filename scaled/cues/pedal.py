"""What a foot or a finger did, made of the edges of a contact and the time: pure, without pins, clocks or threads.

A contact bounces for some milliseconds when it closes and when it opens, a long cable catches glitches, and a floury
foot is slow. Ignoring edges for a while after the first one loses real presses, so nothing is ignored here: the time
for which the contact was closed is summed up, short openings are bridged, and a press is what was closed for 30 ms in
all and for at least half of its span. A glitch of 10 ms is none, wherever its two edges fall.

Times are monotonic seconds, handed in; all due times are worked off in their order, so that it does not matter how
often `advance` is called. An edge that says nothing new, or comes before the one already seen, does no harm.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Literal

LEAST_PRESS_S = 0.030
GAP_S = 0.020  # a contact that is open for less is bouncing
LONG_S = 0.8  # the pedal's times are those of the design
DOUBLE_S = 0.4

TapKind = Literal["short", "double", "long"]


@dataclass(frozen=True, slots=True)
class Pushed:
    """A press is certain; `at` is when it began."""

    at: float


@dataclass(frozen=True, slots=True)
class Released:
    """The press is over; `at` is when the contact opened for good."""

    at: float


@dataclass(frozen=True, slots=True)
class Tap:
    """`at` is when the foot came down (the first time, of a double one)."""

    kind: TapKind
    at: float


class Contact:
    """One contact. Closed from the start (a sack on the pedal), it must open before it counts."""

    def __init__(self, *, is_closed: bool = False) -> None:
        self.is_closed = is_closed
        self.began_at: float | None = None  # of what may become a press
        self._edge_at = float("-inf")
        self._closed_s = 0.0  # closed time before the last edge, since it began
        self._is_pushed = False

    @property
    def due(self) -> float | None:
        """When `advance` has something to say if no edge comes; None: never."""
        if self.began_at is None:
            return None
        if not self.is_closed:
            return self._edge_at + GAP_S
        if self._is_pushed:
            return None
        half_s = (self._edge_at - self.began_at) - 2 * self._closed_s
        return self._edge_at + max(LEAST_PRESS_S - self._closed_s, half_s)

    def edge(self, *, is_closed: bool, at: float) -> None:
        """The contact closed or opened; what was due before must have been asked for by `advance`."""
        at = max(at, self._edge_at)
        if is_closed == self.is_closed:
            return
        if is_closed and self.began_at is None:
            self.began_at, self._closed_s = at, 0.0
        elif not is_closed and self.began_at is not None:
            self._closed_s += at - self._edge_at
        self.is_closed, self._edge_at = is_closed, at

    def advance(self, at: float) -> Pushed | Released | None:
        """What became certain by `at`, one thing at a time; None: nothing more."""
        due, began_at = self.due, self.began_at
        if due is None or began_at is None or at < due:
            return None
        if self.is_closed:
            self._is_pushed = True
            return Pushed(began_at)
        was_pushed, self._is_pushed, self.began_at = self._is_pushed, False, None
        return Released(self._edge_at) if was_pushed else None


class Switch(ABC):
    """Something with a contact that a person works."""

    def __init__(self, *, is_closed: bool = False) -> None:
        self._contact = Contact(is_closed=is_closed)
        self._pushed_at: float | None = None  # when the press that goes on began
        self._is_told = False  # it was long and has been told

    @property
    def is_closed(self) -> bool:
        return self._contact.is_closed

    @property
    @abstractmethod
    def due(self) -> float | None:
        """When `advance` has something to say if no edge comes; None: never."""

    @abstractmethod
    def advance(self, at: float) -> list[Tap]:
        """The taps that have become certain by `at`, in order."""

    def edge(self, *, is_closed: bool, at: float) -> list[Tap]:
        """The contact closed or opened at `at`; the taps that were certain by then."""
        taps = self.advance(at)
        self._contact.edge(is_closed=is_closed, at=at)
        return taps

    def _long_due(self) -> float | None:
        if self._pushed_at is None or self._is_told or not self._contact.is_closed:
            return None
        return self._pushed_at + LONG_S

    def _tell_long(self, taps: list[Tap]) -> None:
        if self._pushed_at is not None:
            taps.append(Tap("long", self._pushed_at))
        self._is_told = True


class Pedal(Switch):
    """Short, double and long presses of one pedal; each press of the foot is part of exactly one tap.

    A short one is told once no second can follow (0.4 s after the release), a long one as soon as it is long. A long
    press soon after a short one is both.
    """

    def __init__(self, *, is_closed: bool = False) -> None:
        super().__init__(is_closed=is_closed)
        self._first: tuple[float, float] | None = None  # a short press that may become a double one: from, to

    @property
    def due(self) -> float | None:
        return _earliest(self._contact.due, self._long_due(), self._single_due())

    def advance(self, at: float) -> list[Tap]:
        taps: list[Tap] = []
        while (due := self.due) is not None and due <= at:
            if due == self._contact.due:
                self._note(self._contact.advance(due), taps)
            else:
                self._tell_first("short", taps)
                if due == self._long_due():
                    self._tell_long(taps)
        return taps

    def _note(self, event: Pushed | Released | None, taps: list[Tap]) -> None:
        if isinstance(event, Pushed):
            self._pushed_at, self._is_told = event.at, False
        elif isinstance(event, Released) and self._pushed_at is not None:
            if not self._is_told and self._first:
                self._tell_first("double", taps)
            elif not self._is_told:
                self._first = (self._pushed_at, event.at)
            self._pushed_at = None

    def _tell_first(self, kind: TapKind, taps: list[Tap]) -> None:
        if self._first:
            taps.append(Tap(kind, self._first[0]))
            self._first = None

    def _single_due(self) -> float | None:
        """0.4 s after the release, unless the foot is down again or may be."""
        if self._first is None:
            return None
        due = self._first[1] + DOUBLE_S
        began_at = self._contact.began_at
        return None if began_at is not None and began_at <= due else due


class Button(Switch):
    """A button with one meaning: told when it is pushed, or, where it could do harm, once it was held for 0.8 s."""

    def __init__(self, *, is_held: bool = False, is_closed: bool = False) -> None:
        super().__init__(is_closed=is_closed)
        self._is_held = is_held

    @property
    def due(self) -> float | None:
        return _earliest(self._contact.due, self._long_due() if self._is_held else None)

    def advance(self, at: float) -> list[Tap]:
        taps: list[Tap] = []
        while (due := self.due) is not None and due <= at:
            if due != self._contact.due:
                self._tell_long(taps)
                continue
            event = self._contact.advance(due)
            self._pushed_at, self._is_told = (event.at, False) if isinstance(event, Pushed) else (None, False)
            if isinstance(event, Pushed) and not self._is_held:
                taps.append(Tap("short", event.at))
        return taps


def _earliest(*times: float | None) -> float | None:
    return min((time for time in times if time is not None), default=None)
