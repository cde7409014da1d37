"""The thread that drives lights and buzzer and works off the contacts, and keeps doing so whatever the pins do.

It sleeps until something is due, a cue comes or an edge is heard. Pins that can not be opened, or fail later, are one
line in the log and a state in words; they are tried again every 10 s, since a chip's permissions may come after the
daemon. When the thread ends everything is off.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from threading import Event, Lock, Thread

from scaled.batch.cue import Cue
from scaled.batch.inputs import Wanted
from scaled.clock import Clock
from scaled.cues.contacts import Contacts
from scaled.cues.pins import OnEdge, Pins, PinsUnavailable
from scaled.cues.settings import CueSettings
from scaled.cues.signals import DARK, Shown, Signals

log = logging.getLogger(__name__)

RETRY_S = 10.0
IDLE_S = 0.5  # the thread moves at least this often, and says so
JOIN_S = 2.0


class Board:
    """What is wired to the pins.

    Args:
        settings: what there is.
        clock: the bench's.
        on_wish: what pedal and buttons ask for; called on this thread, it must only enqueue.
        on_beat: called each time that the thread moves, with the bench's time.
        open_pins: opens the pins; raises PinsUnavailable.
    """

    def __init__(
        self,
        settings: CueSettings,
        clock: Clock,
        on_wish: Callable[[Wanted], None],
        on_beat: Callable[[float], None],
        open_pins: Callable[[CueSettings, OnEdge], Pins] = Pins,
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._on_beat = on_beat
        self._open_pins = open_pins
        self._signals = Signals()
        self._lock = Lock()  # guards the signals, which cues come into from the bench's thread
        self._word = Cue().word
        self._contacts = Contacts(settings, on_wish, lambda: self._word == "held")
        self._pins: Pins | None = None
        self._shown: Shown | None = None
        self._retry_at = float("-inf")
        self._wake = Event()
        self._is_ending = False
        self.state = "none in the settings"
        self._thread = Thread(target=self._run, name="gpio", daemon=True)

    @property
    def pins(self) -> Pins | None:
        """The pins as they are open now."""
        return self._pins

    @property
    def is_running(self) -> bool:
        """Whether its thread is there: after an end that was asked for it hangs."""
        return self._thread.is_alive()

    def start(self) -> None:
        self._thread.start()

    def show(self, cue: Cue) -> None:
        """From now on this cue; returns at once."""
        with self._lock:
            self._word = cue.word
            self._signals.show(cue, self._clock.monotonic())
        self._wake.set()

    def close(self) -> None:
        """Everything off; returns when it is, or after 2 s where a pin hangs."""
        self._is_ending = True
        self._wake.set()
        if self.is_running:
            self._thread.join(JOIN_S)

    def _run(self) -> None:
        try:
            while not self._is_ending:
                due_s = self._step(self._clock.monotonic())
                self._wake.wait(self._clock.real_seconds(due_s))
        finally:
            self._drop()

    def _step(self, at: float) -> float:
        """One round of the loop; returns for how long it may sleep."""
        self._wake.clear()
        self._on_beat(at)
        if self._pins is None and not self._is_opened(at):
            return IDLE_S
        try:
            return max(0.0, min(IDLE_S, self._work(at) - at))
        except PinsUnavailable as error:
            self._lose(error.message, at)
        except Exception as error:
            log.exception("gpio: a mistake in the program")
            self._lose(f"failed: {type(error).__name__}", at)
        return IDLE_S

    def _work(self, at: float) -> float:
        """Show what is to be shown, hear what was pressed; returns when something is due next."""
        pins = self._pins
        if pins is None:
            raise AssertionError("worked only while the pins are open")
        with self._lock:
            shown = self._signals.at(at)
            due = self._signals.due(at)
        self._apply(pins, shown)
        presses_due = self._contacts.work(at, pins.is_closed)
        return min(time for time in (due, presses_due, at + IDLE_S) if time is not None)

    def _apply(self, pins: Pins, shown: Shown) -> None:
        before = self._shown
        if before is None or shown.is_sounding != before.is_sounding:
            pins.sound(is_on=shown.is_sounding)
        if before is None or shown.light != before.light:
            pins.show(shown.light)
        self._shown = shown

    def _is_opened(self, at: float) -> bool:
        if self._settings.pins is None or at < self._retry_at:
            return False
        try:
            self._pins = self._open_pins(self._settings, self._heard)
            self._contacts.begin(self._pins.is_closed)
        except PinsUnavailable as error:
            self._lose(error.message, at)
            return False
        self._shown = DARK
        self._say(f"ready ({self._settings.pins})", logging.INFO)
        return True

    def _lose(self, reason: str, at: float) -> None:
        self._drop()
        self._retry_at = at + RETRY_S
        self._say(reason, logging.WARNING)

    def _drop(self) -> None:
        pins, self._pins, self._shown = self._pins, None, None
        if pins is not None:
            pins.close()

    def _heard(self, name: str, is_closed: bool, age_s: float) -> None:  # noqa: FBT001
        self._contacts.heard(name, is_closed, self._clock.monotonic() - age_s)
        self._wake.set()

    def _say(self, state: str, level: int) -> None:
        """One line in the log for each change of the state, not for each attempt."""
        if state != self.state:
            self.state = state
            log.log(level, "gpio: %s", state)
