"""What may hang on a bench, and what is told about what may not."""

from __future__ import annotations

import re
from typing import Any

import pytest

from scaled.cues.settings import CueSettings, Lights


def test_a_bench_may_have_nothing_at_all() -> None:
    assert CueSettings().wired() == ()


def test_all_that_has_a_pin_is_named() -> None:
    settings = CueSettings(
        pins="lgpio", pedal=17, lights=Lights(under=22, inside=23, over=24), buzzer=18, buttons=(("later", 5),)
    )
    assert settings.wired() == (
        ("pedal", 17),
        ("light under", 22),
        ("light in", 23),
        ("light over", 24),
        ("buzzer", 18),
        ("button later", 5),
    )


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"pins": "gpio"}, "pins 'gpio' is not known: it is one of lgpio, rpigpio, pigpio, native, mock"),
        ({"pins": "mock", "pedal": 28}, "pedal: there is no pin 28; they are GPIO 0 to 27"),
        ({"pins": "mock", "buzzer": -1}, "buzzer: there is no pin -1"),
        ({"pins": "mock", "pedal": 17, "buzzer": 17}, "buzzer: pin 17 is taken by pedal"),
        ({"pins": "mock", "lights": Lights(under=4, over=4)}, "light over: pin 4 is taken by light under"),
        ({"pedal": 17}, "'pins' is missing"),
        ({"pins": "mock", "buttons": (("start", 5),)}, "a button can not ask for 'start'"),
        ({"pins": "mock", "buttons": (("next", 5), ("next", 6))}, "two buttons ask for the same"),
    ],
)
def test_what_can_not_be_wired_is_told(given: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=re.escape(message)):
        CueSettings(**given)
