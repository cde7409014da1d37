"""The voice: what to say next, and when to stop saying it, on a thread of its own.

At most two phrases wait, the newest win. What can not wait (`URGENT`) cuts off what is being said, and is not said at
all when its moment has passed. A question is cut off by whatever comes after it: it has been answered. No espeak-ng,
no sound card, a language that is not there: a state in words, never a reason to stop.
"""

from __future__ import annotations

import logging
from collections import deque
from threading import Condition, Thread

from scaled.batch.cue import Spoken
from scaled.clock import Clock, RealClock
from scaled.cues.speech import Speech, Utterance
from scaled.phrases import phrase

log = logging.getLogger(__name__)

URGENT = frozenset({"stop", "scale lost"})
QUESTIONS = frozenset(
    {
        "over",
        "ran out",
        "load heavier",
        "came back heavier",
        "came back lighter",
        "zero lost",
        "addition unknown",
    }
)
MOMENT_S = 1.5  # what is urgent and older is no longer true
WAITING = 2
# How long a text may take, about twice what was measured of espeak-ng 1.51 in the three languages: 0.15 s a character,
# 0.8 s a digit of a long number.
START_S = 4.0  # for a slow card to load and open
PER_CHARACTER_S = 0.2
PER_DIGIT_S = 1.0
LOOK_S = 0.05
JOIN_S = 2.0


class Voice:
    """Says phrases in one language, one after the other. `close` ends it, what is being said too.

    `clock` is the one that the children live by: the real one, whatever the bench's is.
    """

    def __init__(self, language: str | None, speech: Speech | None = None, clock: Clock | None = None) -> None:
        self._language = language or ""
        self._speech = Speech() if speech is None else speech
        self._clock: Clock = RealClock() if clock is None else clock
        self._waiting: deque[tuple[Spoken, float]] = deque(maxlen=WAITING)
        self._changed = Condition()
        self._saying: str | None = None
        self._is_cut = False
        self._is_ending = False
        self._thread: Thread | None = None
        self.state = "none in the settings"
        if language is not None and not self._speech.is_there():
            self._note(f"unavailable: no {self._speech.program}", logging.WARNING)
        elif language is not None:
            self.state = "ready"
            self._thread = Thread(target=self._run, name="voice", daemon=True)

    def start(self) -> None:
        if self._thread is not None:
            self._thread.start()

    def say(self, spoken: Spoken) -> None:
        """Say this as soon as it can be said; returns at once."""
        if self._thread is None:
            return
        with self._changed:
            if spoken.phrase in URGENT:
                self._waiting.clear()
                self._is_cut = True
            elif self._saying in QUESTIONS:
                self._is_cut = True
            for asked in [waiting for waiting in self._waiting if waiting[0].phrase in QUESTIONS]:
                self._waiting.remove(asked)
            self._waiting.append((spoken, self._clock.monotonic()))
            self._changed.notify()

    @property
    def is_running(self) -> bool:
        """Whether its thread is there: after an end that was asked for it hangs."""
        return self._thread is not None and self._thread.is_alive()

    def close(self) -> None:
        with self._changed:
            self._is_ending = True
            self._changed.notify()
        if self._thread is not None and self._thread.is_alive():
            self._thread.join(JOIN_S)

    def _run(self) -> None:
        while (spoken := self._next()) is not None:
            try:
                self._utter(phrase(self._language, spoken.phrase, **dict(spoken.values)))
            except Exception:
                log.exception("voice: '%s' could not be said", spoken.phrase)

    def _next(self) -> Spoken | None:
        """The next thing to say that is still true; None at the end."""
        with self._changed:
            self._saying = None
            while True:
                self._changed.wait_for(lambda: self._waiting or self._is_ending)
                if self._is_ending:
                    return None
                self._is_cut = False
                spoken, at = self._waiting.popleft()
                if spoken.phrase not in URGENT or self._clock.monotonic() - at <= MOMENT_S:
                    self._saying = spoken.phrase
                    return spoken

    def _utter(self, text: str) -> None:
        """Say one text to its end, to its limit, or until it is cut off."""
        limit_at = self._clock.monotonic() + limit_s(text)
        try:
            utterance = Utterance(self._speech, self._language, text)
        except OSError as error:
            self._note(f"failed: {error.filename or self._speech.program}: {error.strerror}", logging.WARNING)
            return
        try:
            is_hung = self._is_waited_for_in_vain(utterance, limit_at)
        finally:
            utterance.end()
        if is_hung:
            self._note(f"failed: {utterance.name} hung and was ended", logging.WARNING)
        elif utterance.failure is not None:
            self._note(f"failed: {utterance.failure}", logging.WARNING)
        elif utterance.is_whole:
            self._note("ready", logging.INFO)

    def _is_waited_for_in_vain(self, utterance: Utterance, limit_at: float) -> bool:
        """Wait until all is said or it is cut off (False), or until it has taken too long (True)."""
        with self._changed:
            while utterance.is_going_on() and not self._is_cut and not self._is_ending:
                if self._clock.monotonic() > limit_at:
                    return True
                self._changed.wait_for(lambda: self._is_cut or self._is_ending, LOOK_S)
        return False

    def _note(self, state: str, level: int) -> None:
        """One line in the log for each change of the state, not for each phrase."""
        if state != self.state:
            log.log(level, "voice: %s", state)
            self.state = state


def limit_s(text: str) -> float:
    """The longest that a text can take to be said; whatever takes longer hangs."""
    return START_S + PER_CHARACTER_S * len(text) + PER_DIGIT_S * sum(character.isdigit() for character in text)
