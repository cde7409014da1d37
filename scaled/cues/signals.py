"""Which light shines and whether the buzzer sounds at an instant, made of the newest cue and the time: pure.

The tone is a row of short pulses whose pace the cue gives; it quickens towards the target and is silent in the band.
"Stop" is one long pulse and "over" three, since a buzzer has but one pitch; over its beat is of long pulses, and
falls silent after 5 s, since a question may stand for minutes. Every pulse ends by itself, none is longer than
`MOST_ON_S`. A cue counts for 3 s: the bench shows one several times a second, and a light that nobody vouches
for is worse than none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scaled.batch.cue import Cue, CueWord, Light

PULSE_S = 0.05
LONG_PULSE_S = 0.25
MOST_ON_S = 0.5  # whatever cues come, then silence until they ask for it
FASTEST_BEATS_PER_S = 10.0
STALE_S = 3.0
OVER_TONE_S = 5.0

# What is sounded once when a word begins: from and to, in seconds after it.
FIGURES: dict[CueWord, tuple[tuple[float, float], ...]] = {
    "stop": ((0.0, 0.4),),
    "over": ((0.0, 0.25), (0.4, 0.65), (0.8, 1.05)),
}


@dataclass(frozen=True, slots=True)
class Shown:
    light: Light = "off"
    is_sounding: bool = False


DARK = Shown()


class Signals:
    """The newest cue and the beat that is being kept."""

    def __init__(self) -> None:
        self._cue = Cue()
        self._stale_at = float("-inf")
        self._over_until = float("-inf")  # the end of the tone for over
        self._figure: tuple[tuple[float, float], ...] = ()
        self._beat_at: float | None = None  # when the last beat began
        self._on_at: float | None = None  # since when it has been sounding without a pause

    def show(self, cue: Cue, at: float) -> None:
        """From now on this cue; the beat goes on without a stumble when only its pace changes."""
        if cue.word != self._cue.word:
            self._figure = tuple((at + start, at + end) for start, end in FIGURES.get(cue.word, ()))
        if cue.light == "over" and self._cue.light != "over":
            self._over_until = at + OVER_TONE_S
        self._cue, self._stale_at = cue, at + STALE_S

    def at(self, at: float) -> Shown:
        """What is to be seen and heard at `at`; asked with times that do not go back."""
        if at >= self._stale_at:
            self._on_at = None
            return DARK
        is_sounding = self._is_sounding(at)
        if not is_sounding:
            self._on_at = None
        elif self._on_at is None:
            self._on_at = at
        is_bounded = self._on_at is not None and at < self._on_at + MOST_ON_S
        return Shown(self._cue.light, is_sounding and is_bounded)

    def due(self, at: float) -> float | None:
        """When `at` gives something else, if no cue comes before; None: never. `at` must have been asked first."""
        if at >= self._stale_at:
            return None
        times = [self._stale_at, self._over_until, *(time for pulse in self._figure for time in pulse)]
        pace = self._pace()
        if not self._figure and pace and self._beat_at is not None:
            times += [self._beat_at + self._pulse_s(pace), self._beat_at + 1 / pace]
        if self._on_at is not None:
            times.append(self._on_at + MOST_ON_S)
        return min(time for time in times if time > at)

    def _is_sounding(self, at: float) -> bool:
        if self._figure and at >= self._figure[-1][1]:
            self._figure = ()
        if self._figure:
            self._beat_at = None
            return any(start <= at < end for start, end in self._figure)
        return self._is_on_beat(at)

    def _is_on_beat(self, at: float) -> bool:
        pace = self._pace()
        if pace is None or (self._cue.light == "over" and at >= self._over_until):
            self._beat_at = None
            return False
        period_s, pulse_s = 1 / pace, self._pulse_s(pace)
        if self._beat_at is None or at >= self._beat_at + period_s:
            self._beat_at = at  # one that comes late is sounded whole, and not caught up
        return at < self._beat_at + pulse_s

    def _pace(self) -> float | None:
        beats = self._cue.beats_per_s
        if beats is None or not math.isfinite(beats) or beats <= 0:
            return None
        return min(beats, FASTEST_BEATS_PER_S)

    def _pulse_s(self, pace: float) -> float:
        return min(LONG_PULSE_S if self._cue.light == "over" else PULSE_S, 0.5 / pace)
