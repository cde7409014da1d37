"""Frozen values to plain JSON data and back, by their type hints: one codec for events, formulas and offers.

A fraction becomes text (`19/17`), a tuple a list, a dataclass an object with its init fields; a value of the union
`Event` carries its class under `"event"`. Reading back checks shape strictly and raises ValueError on anything else.
"""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from fractions import Fraction
from typing import Any

from scaled.batch.events import Event

_EVENTS = {cls.__name__: cls for cls in typing.get_args(Event)}


def data_from_event(event: Event) -> dict[str, Any]:
    """An event as JSON data."""
    data: dict[str, Any] = {"event": type(event).__name__}
    data.update(_data(event))
    return data


def event_from_data(data: dict[str, Any]) -> Event:
    """The event that `data_from_event` made this of; raises ValueError where it is none."""
    cls = _EVENTS.get(data.get("event", ""))
    if cls is None:
        raise ValueError(f"no such event: {data.get('event')!r}")
    rest = {name: value for name, value in data.items() if name != "event"}
    return typing.cast(Event, _value(cls, rest))


def _data(value: Any) -> Any:
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, tuple):
        return [_data(part) for part in value]
    if dataclasses.is_dataclass(value):
        return {f.name: _data(getattr(value, f.name)) for f in dataclasses.fields(value) if f.init}
    return value


@functools.cache
def _hints(cls: type) -> dict[str, Any]:
    hints = typing.get_type_hints(cls)
    return {f.name: hints[f.name] for f in dataclasses.fields(cls) if f.init}


def _value(hint: Any, data: Any) -> Any:
    origin = typing.get_origin(hint)
    if origin in (types.UnionType, typing.Union):
        if data is None:
            return None
        return _value(next(h for h in typing.get_args(hint) if h is not type(None)), data)
    if origin is tuple:
        return _tuple(typing.get_args(hint), data)
    if origin is typing.Literal:
        if data not in typing.get_args(hint):
            raise ValueError(f"{data!r} is none of {typing.get_args(hint)}")
        return data
    if hint is Fraction:
        return Fraction(data)
    if hint is float and isinstance(data, int | float) and not isinstance(data, bool):
        return float(data)
    if dataclasses.is_dataclass(hint):
        return _dataclass(typing.cast(type, hint), data)
    if not isinstance(data, hint) or (hint is int and isinstance(data, bool)):
        raise ValueError(f"{data!r} is no {hint.__name__}")
    return data


def _tuple(hints: tuple[Any, ...], data: Any) -> tuple[Any, ...]:
    if not isinstance(data, list):
        raise ValueError(f"{data!r} is no list")
    if len(hints) == 2 and hints[1] is Ellipsis:
        return tuple(_value(hints[0], part) for part in data)
    if len(hints) != len(data):
        raise ValueError(f"{len(hints)} values expected, not {len(data)}")
    return tuple(_value(hint, part) for hint, part in zip(hints, data, strict=True))


def _dataclass(cls: type, data: Any) -> Any:
    hints = _hints(cls)
    if not isinstance(data, dict) or data.keys() - hints.keys():
        raise ValueError(f"{data!r} is no {cls.__name__}")
    try:
        return cls(**{name: _value(hints[name], part) for name, part in data.items()})
    except TypeError as error:
        raise ValueError(f"{cls.__name__}: {error}") from error
