"""The pins of the bench through gpiozero: three lights, a buzzer, and the contacts of pedal and buttons.

The pin factory is the one that the settings name, opened by hand: gpiozero's own search would fall back silently to
another. Neither its debounce nor its events are used: the edges with their times go to `on_edge`, from gpiozero's
own thread. Whatever goes wrong with pins, be it a missing library, no chip or no permission, comes out as
`PinsUnavailable` with the reason in words.

lgpio keeps a pipe in the current directory unless `LG_WD` names another; a service stands in `/`, where it may not
write, so a directory is chosen before the library is imported.
"""

from __future__ import annotations

import importlib
import logging
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol, cast

from scaled.batch.cue import Light
from scaled.cues.settings import CueSettings, PinFactory
from scaled.errors import ScaledError

log = logging.getLogger(__name__)

FACTORIES: Mapping[PinFactory, tuple[str, str, str]] = {
    # name in the settings -> gpiozero's module and class, and the library that it needs
    "lgpio": ("gpiozero.pins.lgpio", "LGPIOFactory", "lgpio"),
    "rpigpio": ("gpiozero.pins.rpigpio", "RPiGPIOFactory", "RPi.GPIO"),
    "pigpio": ("gpiozero.pins.pigpio", "PiGPIOFactory", "pigpio"),
    "native": ("gpiozero.pins.native", "NativeFactory", ""),
    "mock": ("gpiozero.pins.mock", "MockFactory", ""),
}
MOST_AGE_S = 1.0  # an edge that claims to be older carries another clock's time

OnEdge = Callable[[str, bool, float], None]
"""Called from gpiozero's thread with the contact's name, whether it closed, and how many seconds ago."""


class Device(Protocol):
    """What is used of a gpiozero device."""

    value: int
    is_active: bool
    pin: Any

    def close(self) -> None: ...


class Factory(Protocol):
    """What is used of a gpiozero pin factory; `ticks` are seconds of its own clock."""

    def pin(self, name: int) -> Any: ...

    def ticks(self) -> float: ...

    def ticks_diff(self, later: float, earlier: float) -> float: ...

    def close(self) -> None: ...


class PinsUnavailable(ScaledError):
    """The pins can not be used; the message is the reason in words."""


class Pins:
    """All that `settings` wires, open until `close`; lights and buzzer are off at first.

    Contacts are named as in `CueSettings.wired` (`pedal`, `button next`); they close to ground against the chip's own
    pull-up. Raises PinsUnavailable, and then nothing is left open.
    """

    def __init__(self, settings: CueSettings, on_edge: OnEdge) -> None:
        if settings.pins is None:
            raise PinsUnavailable("none in the settings")
        self.name = settings.pins
        self._on_edge = on_edge
        self._devices: dict[str, Device] = {}
        self._listeners: list[_Listener] = []
        with _told("unavailable", self.name):
            self.factory = _factory(settings.pins)
        try:
            with _told("unavailable", self.name):
                self._wire(settings)
        except PinsUnavailable:
            self.close()
            raise

    def show(self, light: Light) -> None:
        """That light on, the others off."""
        with _told("failed", self.name):
            for which in ("under", "in", "over"):
                self._switch(f"light {which}", is_on=which == light)

    def sound(self, *, is_on: bool) -> None:
        with _told("failed", self.name):
            self._switch("buzzer", is_on=is_on)

    def is_closed(self, contact: str) -> bool:
        """Whether a contact is closed this moment."""
        with _told("failed", self.name):
            return bool(self._devices[contact].is_active)

    def close(self) -> None:
        """Everything off, and the pins given back; a pin that fails does not keep the others from it."""
        for listener in self._listeners:
            listener.device.pin.when_changed = None
        self._listeners.clear()
        for device in self._devices.values():
            _closed(device)
        self._devices.clear()
        _closed(self.factory)

    def _wire(self, settings: CueSettings) -> None:
        import gpiozero  # type: ignore[import-untyped]

        age_s = _no_age if settings.pins == "mock" else self._age_s
        for what, pin in settings.wired():
            if what.startswith("light"):
                self._devices[what] = gpiozero.LED(pin, initial_value=False, pin_factory=self.factory)
            elif what == "buzzer":
                self._devices[what] = gpiozero.Buzzer(pin, initial_value=False, pin_factory=self.factory)
            else:
                device = gpiozero.InputDevice(pin, pull_up=True, pin_factory=self.factory)
                self._devices[what] = device
                self._listeners.append(_Listener(what, device, self._on_edge, age_s))

    def _switch(self, what: str, *, is_on: bool) -> None:
        device = self._devices.get(what)
        if device is not None:
            device.value = 1 if is_on else 0

    def _age_s(self, ticks: float) -> float:
        """How long ago an edge was, by the factory's own ticks: a thread may be told late, a kernel is not."""
        age_s = float(self.factory.ticks_diff(self.factory.ticks(), ticks))
        return age_s if 0 <= age_s <= MOST_AGE_S else 0.0


def _no_age(_ticks: float) -> float:
    """A mock pin is driven by the one who calls it: its edges are of this moment, on whatever clock."""
    return 0.0


class _Listener:
    """Hears the edges of one contact; gpiozero holds it by a weak reference, `Pins` by a strong one."""

    def __init__(self, name: str, device: Device, on_edge: OnEdge, age_s: Callable[[float], float]) -> None:
        self.name = name
        self.device = device
        self._on_edge = on_edge
        self._age_s = age_s
        device.pin.bounce = None
        device.pin.edges = "both"
        device.pin.when_changed = self.heard

    def heard(self, ticks: float, state: object) -> None:
        self._on_edge(self.name, not state, self._age_s(ticks))


@contextmanager
def _told(when: str, name: str) -> Iterator[None]:
    """Turns whatever gpiozero or its libraries raise into PinsUnavailable."""
    try:
        yield
    except PinsUnavailable:
        raise
    except Exception as error:
        raise PinsUnavailable(f"{when}: {name}: {_reason(error)}") from error


def _closed(device: Device | Factory) -> None:
    """A device switched off, where it is one that shines or sounds, and given back."""
    try:
        if hasattr(device, "off"):
            device.off()
        device.close()
    except Exception:
        log.exception("a pin could not be switched off")


def _factory(name: PinFactory) -> Factory:
    module, cls, library = FACTORIES[name]
    if name == "lgpio" and not os.environ.get("LG_WD"):
        os.environ["LG_WD"] = lgpio_directory(os.environ)
    try:
        found = importlib.import_module(module)
    except ImportError as error:
        raise PinsUnavailable(f"unavailable: no {library or error.name}") from error
    return cast(Factory, getattr(found, cls)())


def lgpio_directory(environ: Mapping[str, str]) -> str:
    """A directory that may be written: the service's own, else the user's, else the one for temporary files."""
    candidates = [*environ.get("RUNTIME_DIRECTORY", "").split(":"), environ.get("XDG_RUNTIME_DIR", "")]
    for candidate in candidates:
        if candidate and Path(candidate).is_dir() and os.access(candidate, os.W_OK):
            return candidate
    return tempfile.gettempdir()


def _reason(error: BaseException) -> str:
    text = " ".join(str(error).strip("'\"").split())
    return text or type(error).__name__
