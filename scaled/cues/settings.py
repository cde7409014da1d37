"""What hangs on the bench: which pins have lights, a buzzer, a pedal and buttons, and in which language it speaks.

Pins are numbered as the chip names them (BCM: "GPIO17" is 17), not by their place on the header. Reading the
settings file is not this module's business; the value checks itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

from scaled.batch.inputs import WISHES, Wish

PinFactory = Literal["lgpio", "rpigpio", "pigpio", "native", "mock"]
PIN_FACTORIES: tuple[PinFactory, ...] = get_args(PinFactory)
LAST_PIN = 27  # the 40-pin header of the Raspberry Pi brings out GPIO 0 to 27


@dataclass(frozen=True)
class Lights:
    """The pin of each of the three lights; None: that light is not there."""

    under: int | None = None
    inside: int | None = None
    over: int | None = None


@dataclass(frozen=True)
class CueSettings:
    """The settings under `cues`; as it stands without any: no pins and no voice.

    `pins` names the library that drives the pins, and no other is ever tried. `buttons` are pairs of what a button
    asks for and its pin. `voice` is a language code of `scaled.phrases`, `audio` the ALSA device that it is played
    on (None: the system's default). Raises ValueError where a pin is out of bounds, used twice, or nothing drives it.
    """

    pins: PinFactory | None = None
    pedal: int | None = None
    lights: Lights = field(default_factory=Lights)
    buzzer: int | None = None
    buttons: tuple[tuple[Wish, int], ...] = ()
    voice: str | None = None
    audio: str | None = None

    def __post_init__(self) -> None:
        if self.pins is not None and self.pins not in PIN_FACTORIES:
            raise ValueError(f"pins '{self.pins}' is not known: it is one of {', '.join(PIN_FACTORIES)}")
        names = [wish for wish, _ in self.buttons]
        unknown = [name for name in names if name not in WISHES]
        if unknown:
            raise ValueError(f"a button can not ask for '{unknown[0]}': it asks for one of {', '.join(WISHES)}")
        if len(set(names)) < len(names):
            raise ValueError("two buttons ask for the same")
        seen: dict[int, str] = {}
        for what, pin in self.wired():
            if not 0 <= pin <= LAST_PIN:
                raise ValueError(f"{what}: there is no pin {pin}; they are GPIO 0 to {LAST_PIN}")
            if pin in seen:
                raise ValueError(f"{what}: pin {pin} is taken by {seen[pin]}")
            seen[pin] = what
        if seen and self.pins is None:
            raise ValueError("'pins' is missing: it names the library that drives them, for example lgpio")

    def wired(self) -> tuple[tuple[str, int], ...]:
        """Everything that has a pin, by its name, in the order of the settings."""
        lights = self.lights
        found = (
            ("pedal", self.pedal),
            ("light under", lights.under),
            ("light in", lights.inside),
            ("light over", lights.over),
            ("buzzer", self.buzzer),
            *((f"button {wish}", pin) for wish, pin in self.buttons),
        )
        return tuple((what, pin) for what, pin in found if pin is not None)
