"""What the bench tells the cook this instant, before it is made light, sound or speech.

`word` is the instruction, `light` which of three lights is on, `beats_per_s` the pace of the tone (None: silent), and
`spoken` a phrase to be said once: its `serial` grows by one with each new thing to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CueWord = Literal[
    "idle",
    "vessel on",
    "waiting",
    "pour",
    "slow",
    "a little, then wait",
    "stop",
    "wait",
    "in band",
    "under",
    "over",
    "take out",
    "choose",
    "confirm",
    "lift vessel",
    "put back",
    "empty vessel",
    "held",
    "scale lost",
    "complete",
    "aborted",
]
Light = Literal["off", "under", "in", "over"]


@dataclass(frozen=True, slots=True)
class Spoken:
    """A phrase by its key in `phrases/*.yaml` with the values to put in, in order of appearance."""

    serial: int
    phrase: str
    values: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Cue:
    word: CueWord = "idle"
    light: Light = "off"
    beats_per_s: float | None = None
    spoken: Spoken | None = None
