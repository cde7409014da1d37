"""The text of a settings file to values, a function a section: reads keys, adds places, notes every mistake."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import TypeVar

from scaled import marks
from scaled.batch.inputs import WISHES
from scaled.config import parsers
from scaled.config.settings import ScaleSettings, Settings, VesselSettings
from scaled.cues.settings import PIN_FACTORIES, CueSettings, Lights
from scaled.formula.ingredients import ALLERGEN_LISTS, AllergenList
from scaled.instruments.formats import KEYS as FORMAT_KEYS
from scaled.instruments.formats import format_from_mapping, installed_formats
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import BAUDS, DTR, FRAMES, PortOptions
from scaled.page.options import PageOptions
from scaled.phrases import languages

T = TypeVar("T")

TOP = ("scales", "vessels", "formulas", "records", "page", "cues", "confirm_after", "guard", "leave_small", "allergens")
PORT = ("baud", "frame", "dtr", "settle", "silence", "each_twice")
SCALE = ("name", "port", "line", "capacity", "division", "repeatability", *PORT)
VESSEL = ("name", "empty", "holds")
PAGE = ("address", "port", "hosts", "viewers")
CUES = ("pins", "pedal", "lights", "buzzer", "buttons", "voice", "audio")
LIGHTS = ("under", "in", "over")


def settings_from_text(text: str, path: Path) -> Settings:
    """The settings that a YAML text holds; `path` is its file, from which relative paths go. Raises Mistakes."""
    top = marks.read_mapping(text, str(path), TOP)
    scales = _scales(top)
    formulas = top.required("formulas", lambda given: path.parent / marks.text(given))
    records = top.required("records", lambda given: path.parent / marks.text(given))
    vessels = tuple(vessel for node in _named(top, "vessels", VESSEL) if (vessel := _vessel(node)))
    page = _page(top)
    cues = _cues(top)
    confirm_after_s = _or(top.get("confirm_after", parsers.seconds(0.3, 10)), Settings.confirm_after_s)
    is_guarded = _or(top.get("guard", marks.truth), Settings.is_guarded)
    leaves_small = _or(top.get("leave_small", marks.truth), Settings.leaves_small)
    allergens: AllergenList = _or(top.get("allergens", marks.one_of(*ALLERGEN_LISTS)), Settings.allergens)
    top.raise_mistakes()
    if formulas is None or records is None:
        raise AssertionError("what is missing was noted")
    return Settings(
        file=path,
        scales=scales,
        formulas=formulas,
        records=records,
        vessels=vessels,
        page=page,
        cues=cues,
        confirm_after_s=confirm_after_s,
        is_guarded=is_guarded,
        leaves_small=leaves_small,
        allergens=allergens,
    )


def _scales(top: marks.Mapping) -> tuple[ScaleSettings, ...]:
    nodes = _named(top, "scales", SCALE, is_required=True)
    seen: set[str] = set()
    found = []
    for node in nodes:
        scale = _scale(node)
        if scale and scale.port in seen:
            node.note(f"port: {scale.port} is another scale's", "port")
        elif scale:
            seen.add(scale.port)
            found.append(scale)
    return tuple(found)


def _scale(node: marks.Mapping) -> ScaleSettings | None:
    name = node.required("name", parsers.name)
    port = node.required("port", parsers.port)
    line = _line(node, name or "")
    capacity = node.get("capacity", parsers.mass_mg(1_000, 1_000_000_000))
    division = node.get("division", parsers.division_mg)
    repeatability = node.get("repeatability", parsers.spread_mg)
    options = _options(node)
    if name is None or port is None or line is None:
        return None
    return _made(node, lambda: ScaleSettings(name, port, line, capacity, division, repeatability, options))


def _options(node: marks.Mapping) -> PortOptions:
    usual = PortOptions()
    baud = _or(node.get("baud", lambda text: int(marks.one_of(*map(str, sorted(BAUDS)))(text))), usual.baud)
    frame = _or(node.get("frame", marks.one_of(*FRAMES)), usual.frame)
    dtr = _or(node.get("dtr", marks.one_of(*DTR)), usual.dtr)
    settle_s = _or(node.get("settle", parsers.seconds(0, 60)), usual.settle_s)
    silence_s = _or(node.get("silence", parsers.seconds(0.5, 600)), usual.silence_s)
    twice = _or(node.get("each_twice", marks.truth), usual.each_twice)
    return PortOptions(baud=baud, frame=frame, dtr=dtr, settle_s=settle_s, silence_s=silence_s, each_twice=twice)


def _line(node: marks.Mapping, scale: str) -> LineFormat | None:
    """A format by the name of its shape, or a new one as a mapping."""
    if node.holds_mapping("line"):
        new = node.mapping("line", FORMAT_KEYS)
        return format_from_mapping(f"{scale}'s own", new) if new else None
    known = installed_formats()
    shape = node.required("line", marks.one_of(*known))
    return known[shape] if shape else None


def _vessel(node: marks.Mapping) -> VesselSettings | None:
    name = node.required("name", parsers.name)
    empty = node.required("empty", parsers.mass_mg(1_000, 1_000_000_000))
    holds = node.get("holds", parsers.volume_ml)
    return None if name is None or empty is None else VesselSettings(name, empty, holds)


def _page(top: marks.Mapping) -> PageOptions:
    node = top.mapping("page", PAGE)
    if node is None:
        return PageOptions()
    usual = PageOptions()
    address = _or(node.get("address", parsers.name), usual.address)
    port = _or(node.get("port", parsers.whole), usual.port)
    hosts = node.texts("hosts", parsers.name)
    viewers = _or(node.get("viewers", parsers.whole), usual.viewers)
    return _or(_made(node, lambda: PageOptions(address, port, hosts, viewers)), usual)


def _cues(top: marks.Mapping) -> CueSettings:
    node = top.mapping("cues", CUES)
    if node is None:
        return CueSettings()
    pins = node.get("pins", marks.one_of(*PIN_FACTORIES))
    lit = node.mapping("lights", LIGHTS)
    lights = Lights(*(lit.get(key, parsers.whole) for key in LIGHTS)) if lit else Lights()
    wishes = node.mapping("buttons", WISHES)
    buttons = [(wish, wishes.get(wish, parsers.whole)) for wish in WISHES if wish in wishes] if wishes else []
    pedal, buzzer = node.get("pedal", parsers.whole), node.get("buzzer", parsers.whole)
    voice, audio = node.get("voice", marks.one_of(*languages())), node.get("audio", parsers.name)
    pairs = tuple((wish, pin) for wish, pin in buttons if pin is not None)
    if pins is None and node.is_meant("pins"):
        return CueSettings()  # what is wrong with them was noted; without, all that hangs on them would be wrong too
    made = _made(node, lambda: CueSettings(pins, pedal, lights, buzzer, pairs, voice, audio))
    return _or(made, CueSettings())


def _named(
    top: marks.Mapping, key: str, known: Collection[str], *, is_required: bool = False
) -> tuple[marks.Mapping, ...]:
    """The mappings of a list, no two of the same name."""
    nodes = top.mappings(key, tuple(known), is_required=is_required)
    seen: set[str] = set()
    for node in nodes:
        name = node.get("name", str)
        if name is not None and name.casefold() in seen:
            node.note(f"name: two of the {key} are called '{name}'", "name")
        seen.add((name or "").casefold())
    return nodes


def _made(node: marks.Mapping, make: Callable[[], T]) -> T | None:
    """A value that checks itself; what it objects to is noted where it stands."""
    try:
        return make()
    except ValueError as error:
        node.note(str(error))
        return None


def _or(value: T | None, usual: T) -> T:
    return usual if value is None else value
