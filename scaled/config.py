"""The settings file of a bench: which scales, which formulas, where the records go, what hangs on the pins.

Each reading of the file gives new frozen values, so that a daemon can read it anew and keep the old ones where it has
become wrong. Every mistake is told with its place, all of them at once. Values check themselves where they live; this
module reads text, adds the places and holds the bounds that nothing else knows.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Literal, TypeVar, cast

from scaled import marks, units
from scaled.batch.inputs import WISHES
from scaled.cues.settings import PIN_FACTORIES, CueSettings, Lights
from scaled.errors import MistakenSettings, Mistakes, WrongSettings, WrongUsage
from scaled.instruments.formats import KEYS as FORMAT_KEYS
from scaled.instruments.formats import format_from_mapping, installed_formats
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import BAUDS, DTR, FRAMES, Dtr, PortOptions
from scaled.page.options import PageOptions
from scaled.phrases import languages
from scaled.shipped import shipped

T = TypeVar("T")
Value = TypeVar("Value")
AllergenList = Literal["eu", "us"]

SYSTEM_FILE = Path("/etc/scaled/scaled.yaml")
VARIABLE = "SCALED_CONFIG"

PORT = ("baud", "frame", "dtr", "settle", "silence", "each_twice")
TOP = ("scales", "vessels", "formulas", "records", "page", "cues", "confirm_after", "guard", "leave_small", "allergens")
SCALE = ("name", "port", "line", "capacity", "division", "repeatability", *PORT)
CUES = ("pins", "pedal", "lights", "buzzer", "buttons", "voice", "audio")

_NAME = re.compile(r"\S.{0,58}\S|\S")
_PORT = re.compile(r"/\S+|[a-z0-9]+://\S*|[0-9A-Fa-f]{4}:[0-9A-Fa-f]{4}(:\S+)?")  # see instruments.find


@dataclass(frozen=True)
class ScaleSettings:
    """One scale: how it is reached, how it speaks, what its plate says (None: not told, learned while it runs).

    `repeatability_mg` is the standard deviation of one weighing.
    """

    name: str
    port: str
    line: LineFormat
    capacity_mg: int | None = None
    division_mg: int | None = None
    repeatability_mg: float | None = None
    options: PortOptions = field(default_factory=PortOptions)

    def __post_init__(self) -> None:
        if self.capacity_mg is not None and self.division_mg is not None and self.capacity_mg < 100 * self.division_mg:
            raise ValueError("division: a scale shows at least a hundred divisions up to its capacity")


@dataclass(frozen=True)
class VesselSettings:
    """A bowl or tub that is known by its empty weight; `holds_ml` is its working volume."""

    name: str
    empty_mg: int
    holds_ml: Fraction | None = None


@dataclass(frozen=True)
class Settings:
    """All that a bench has set, read from `file`; the first scale is the one that a batch is weighed on."""

    file: Path
    scales: tuple[ScaleSettings, ...]
    formulas: Path
    records: Path
    vessels: tuple[VesselSettings, ...] = ()
    page: PageOptions = field(default_factory=PageOptions)
    cues: CueSettings = field(default_factory=CueSettings)
    confirm_after_s: float = 1.0
    is_guarded: bool = False
    leaves_small: bool = False
    allergens: AllergenList = "eu"


def load_settings(config: str | None = None) -> Settings:
    """Read the settings that `--config`, SCALED_CONFIG or the usual places give; raises WrongSettings."""
    path = settings_file(config, os.environ)
    try:
        return settings_from_text(marks.read_file(path), path)
    except WrongUsage as error:
        raise WrongSettings(f"settings: {error.message}") from error
    except Mistakes as error:
        raise MistakenSettings(error.mistakes) from error


def settings_file(config: str | None, environment: Mapping[str, str], system: Path = SYSTEM_FILE) -> Path:
    """Where the settings are: the file that was named, else the first of the usual ones that exists.

    Raises:
        WrongSettings: no file was named and there is none, or one cannot be looked for; the message says what to do.
    """
    named = config or environment.get(VARIABLE)
    if named:
        return Path(named)
    home = environment.get("XDG_CONFIG_HOME") or str(Path(environment.get("HOME", "~")).expanduser() / ".config")
    own = Path(home) / "scaled" / "scaled.yaml"
    for path in (system, own):
        try:
            if path.exists():
                return path
        except OSError as error:
            raise WrongSettings(
                f"settings: {path}: cannot be looked for ({error.strerror}); name the file with --config"
            ) from error
    example = shipped("systemd") / "scaled.yaml.example"
    raise WrongSettings(
        f"no settings: copy {example} to {system} or {own} and put in your scale and folders (`scaled demo` needs none)"
    )


def settings_from_text(text: str, path: Path) -> Settings:
    """The settings that a YAML text holds; `path` is its file, from which relative paths go. Raises Mistakes."""
    top = marks.read_mapping(text, str(path), TOP)
    scales = _scales(top)
    formulas = top.required("formulas", lambda given: path.parent / marks.text(given))
    records = top.required("records", lambda given: path.parent / marks.text(given))
    vessels = tuple(vessel for node in _named(top, "vessels", ("name", "empty", "holds")) if (vessel := _vessel(node)))
    page = _page(top)
    cues = _cues(top)
    confirm_after_s = _or(top.get("confirm_after", _seconds(0.3, 10)), 1.0)
    is_guarded = _or(top.get("guard", marks.truth), False)
    leaves_small = _or(top.get("leave_small", marks.truth), False)
    allergens = _or(top.get("allergens", marks.one_of("eu", "us")), "eu")
    top.raise_mistakes()
    assert formulas is not None
    assert records is not None
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
        allergens=cast("AllergenList", allergens),
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
    name = node.required("name", _name)
    port = node.required(
        "port", _matching(_PORT, "a port is like /dev/serial/by-id/..., 0403:6001 or socket://HOST:PORT")
    )
    line = _line(node, name or "")
    capacity = node.get("capacity", _mass(1_000, 1_000_000_000))
    division = node.get("division", _division)
    repeatability = node.get("repeatability", _spread)
    options = _options(node)
    if name is None or port is None or line is None:
        return None
    return _made(node, lambda: ScaleSettings(name, port, line, capacity, division, repeatability, options))


def _options(node: marks.Mapping) -> PortOptions:
    usual = PortOptions()
    baud = _or(node.get("baud", lambda text: int(marks.one_of(*map(str, sorted(BAUDS)))(text))), usual.baud)
    frame = _or(node.get("frame", marks.one_of(*FRAMES)), usual.frame)
    dtr = cast("Dtr", _or(node.get("dtr", marks.one_of(*DTR)), usual.dtr))
    settle_s = _or(node.get("settle", _seconds(0, 60)), usual.settle_s)
    silence_s = _or(node.get("silence", _seconds(0.5, 600)), usual.silence_s)
    twice = _or(node.get("each_twice", marks.truth), usual.each_twice)
    return PortOptions(baud=baud, frame=frame, dtr=dtr, settle_s=settle_s, silence_s=silence_s, each_twice=twice)


def _line(node: marks.Mapping, scale: str) -> LineFormat | None:
    """A format by the name of its shape, or a new one as a mapping."""
    if isinstance(node.entries.get("line", (None, None))[1], marks.Mapping):
        new = node.mapping("line", FORMAT_KEYS)
        return format_from_mapping(f"{scale}'s own", new) if new else None
    known = installed_formats()
    shape = node.required("line", marks.one_of(*known))
    return known[shape] if shape else None


def _vessel(node: marks.Mapping) -> VesselSettings | None:
    name = node.required("name", _name)
    empty = node.required("empty", _mass(1_000, 1_000_000_000))
    holds = node.get("holds", _volume)
    return None if name is None or empty is None else VesselSettings(name, empty, holds)


def _page(top: marks.Mapping) -> PageOptions:
    node = top.mapping("page", ("address", "port", "hosts", "viewers"))
    if node is None:
        return PageOptions()
    usual = PageOptions()
    address = _or(node.get("address", _name), usual.address)
    port = _or(node.get("port", _whole), usual.port)
    hosts = node.texts("hosts", _name)
    viewers = _or(node.get("viewers", _whole), usual.viewers)
    return _or(_made(node, lambda: PageOptions(address, port, hosts, viewers)), usual)


def _cues(top: marks.Mapping) -> CueSettings:
    node = top.mapping("cues", CUES)
    if node is None:
        return CueSettings()
    pins = node.get("pins", marks.one_of(*PIN_FACTORIES))
    lit = node.mapping("lights", ("under", "in", "over"))
    lights = Lights(*(lit.get(key, _whole) for key in ("under", "in", "over"))) if lit else Lights()
    wishes = node.mapping("buttons", WISHES)
    buttons = [(wish, wishes.get(wish, _whole)) for wish in WISHES if wish in wishes] if wishes else []
    pedal, buzzer = node.get("pedal", _whole), node.get("buzzer", _whole)
    voice, audio = node.get("voice", marks.one_of(*languages())), node.get("audio", _name)
    pairs = tuple((wish, pin) for wish, pin in buttons if pin is not None)
    if pins is None and node.is_meant("pins"):
        return CueSettings()  # what is wrong with them was noted; without, all that hangs on them would be wrong too
    factory = next((known for known in PIN_FACTORIES if known == pins), None)
    made = _made(node, lambda: CueSettings(factory, pedal, lights, buzzer, pairs, voice, audio))
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


def _made(node: marks.Mapping, make: Callable[[], Value]) -> Value | None:
    """A value that checks itself; what it objects to is noted where it stands."""
    try:
        return make()
    except ValueError as error:
        node.note(str(error))
        return None


def _or(value: T | None, usual: T) -> T:
    return usual if value is None else value


def _name(text: str) -> str:
    name = marks.text(text)
    if not _NAME.fullmatch(name):
        raise ValueError(f"'{name[:20]}...' is too long: at most 60 characters")
    return name


def _matching(pattern: re.Pattern[str], otherwise: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if not pattern.fullmatch(text):
            raise ValueError(f"'{text}' does not fit: {otherwise}")
        return text

    return parse


def _whole(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", text):
        raise ValueError(f"'{text}' is no whole number")
    return int(text)


def _mass(lo_mg: int, hi_mg: int) -> Callable[[str], int]:
    """A parser for a mass of whole mg within bounds."""

    def parse(text: str) -> int:
        mass = units.mass_mg(text)
        if mass.denominator != 1:
            raise ValueError(f"'{text}' is no whole number of milligrams")
        if not lo_mg <= mass <= hi_mg:
            raise ValueError(f"'{text}' is out of bounds: {lo_mg / 1_000:g} g to {hi_mg / 1_000:g} g")
        return int(mass)

    return parse


def _spread(text: str) -> float:
    """A standard deviation in mg."""
    spread = float(units.mass_mg(text))
    if not 0 < spread <= 1_000_000:
        raise ValueError(f"'{text}' is out of bounds: more than nothing, at most 1 kg")
    return spread


def _division(text: str) -> int:
    """1, 2 or 5 times a power of ten (OIML R 76-1, 3.2.1), from 1 mg to 1 kg."""
    division = _mass(1, 1_000_000)(text)
    if str(division).rstrip("0") not in ("1", "2", "5"):
        raise ValueError(f"'{text}' is no division: it is 1, 2 or 5 with zeros, as the plate on the scale says")
    return division


def _volume(text: str) -> Fraction:
    volume = units.volume_ml(text)
    if volume < 10:
        raise ValueError(f"'{text}' is out of bounds: a vessel holds at least 10 ml")
    return volume


def _seconds(lo: float, hi: float) -> Callable[[str], float]:
    def parse(text: str) -> float:
        seconds = float(units.duration_s(text))
        if not lo <= seconds <= hi:
            raise ValueError(f"'{text}' is out of bounds: {lo:g} s to {hi:g} s")
        return seconds

    return parse
