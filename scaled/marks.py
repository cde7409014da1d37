"""Strict YAML: every scalar is text that knows its place, and every mistake of a file is told, not only the first.

The text is read as a stream of YAML events (libyaml's parser where it is there), never as Python objects: `no`, `1e3`
and `12:30` stay the text that was typed until a typed getter reads them. What makes a file mean something else than
it says (anchors, aliases, tags, several documents, a key twice) is a mistake. Building the tree from events needs no
recursion, so that no depth of nesting can break the stack.

A reader asks a `Mapping` for its keys and hands in `parse`, a function from text to a value that raises ValueError
with a message; the place is added here. A getter that notes a mistake returns None and the reader goes on, so that
all mistakes are found; `raise_mistakes` at the end raises them together.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import yaml

from scaled.errors import Invalid, Mistakes, Place, WrongUsage

T = TypeVar("T")

MOST_BYTES = 1_000_000
MOST_DEPTH = 20

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NO_CONTENT = (yaml.events.StreamStartEvent, yaml.events.StreamEndEvent, yaml.events.DocumentEndEvent)
_PLAIN_WORDS = {
    "nesting depth": f"nested more than {MOST_DEPTH} deep",
    "unexpected end of stream": "a quote is not closed",
    "expected <block end>": "a line is not indented as its neighbours are",
    "expected key": "a line is not indented as its neighbours are, or a quote is not closed",
    "expected '-'": "a line of a list does not begin with '-', or is not indented as its neighbours are",
    "',' or '}'": "a { is not closed, or a comma is missing",
    "',' or ']'": "a [ is not closed, or a comma is missing",
    "mapping values are not allowed": "a second ': ' in one line: put the text in quotes, or mind the indentation",
    "expected ':'": "a line without ': '",
    "cannot start any token": "a character that a text cannot begin with: put the text in quotes",
}
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")


@dataclass(frozen=True)
class Report:
    """The mistakes found so far in one file."""

    file: str
    mistakes: list[Invalid] = field(default_factory=list)

    def note(self, message: str, place: Place) -> None:
        self.mistakes.append(Invalid(message, place))

    def raise_mistakes(self) -> None:
        """Raise `Mistakes` with all that was noted, in the order of their places; nothing where there is none."""
        if self.mistakes:
            raise Mistakes(tuple(sorted(self.mistakes, key=lambda mistake: mistake.place or Place("", 0, 0))))


@dataclass(frozen=True, slots=True)
class Scalar:
    """A text as typed, with its place. An empty one stands where a key has no value."""

    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Items:
    """A list with its place."""

    nodes: tuple[Node, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Mapping:
    """Keys and values with their places; `report` is shared by all mappings of one file.

    `misspelt` holds the known names that unknown keys are taken for: they are not reported as missing as well.
    """

    entries: dict[str, tuple[Place, Node]]
    place: Place
    report: Report
    misspelt: set[str] = field(default_factory=set)

    def __contains__(self, key: str) -> bool:
        return key in self.entries

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)

    def keys(self) -> tuple[str, ...]:
        """The keys in the order of the file."""
        return tuple(self.entries)

    def only(self, known: Iterable[str]) -> Mapping:
        """Note every key that is not known, with the nearest name that is; returns the mapping itself."""
        names = tuple(known)
        for key, (place, _) in self.entries.items():
            if key not in names:
                self.misspelt.add(nearest(key, names) or "")
                self.report.note(f"unknown key '{key}': {_instead(key, names)}", place)
        return self

    def place_of(self, key: str) -> Place:
        """Where the value of a key stands; the mapping's own place where the key is absent."""
        entry = self.entries.get(key)
        return entry[1].place if entry else self.place

    def note(self, message: str, key: str | None = None) -> None:
        """Note a mistake at a key's value, or at the mapping itself."""
        self.report.note(message, self.place_of(key) if key is not None else self.place)

    def note_key(self, message: str, key: str) -> None:
        """Note that a key which stands here should not."""
        self.report.note(message, self.entries[key][0])

    def get(self, key: str, parse: Callable[[str], T]) -> T | None:
        """The value of a key as `parse` reads it; None where the key is absent or, noted, its value is wrong."""
        entry = self.entries.get(key)
        return self._read(key, entry[1], parse) if entry else None

    def required(self, key: str, parse: Callable[[str], T]) -> T | None:
        """As `get`, but an absent key is noted too."""
        if key not in self.entries and key not in self.misspelt:
            self.note(f"'{key}' is missing here")
        return self.get(key, parse)

    def texts(self, key: str, parse: Callable[[str], T]) -> tuple[T, ...]:
        """A list of scalars (a single one counts as a list of one); what is wrong is noted and left out."""
        entry = self.entries.get(key)
        if entry is None:
            return ()
        nodes = entry[1].nodes if isinstance(entry[1], Items) else (entry[1],)
        values = (self._read(key, node, parse) for node in nodes)
        return tuple(value for value in values if value is not None)

    def mapping(self, key: str, known: Sequence[str] | None = None) -> Mapping | None:
        """The mapping under a key, its keys held to `known`; None where absent or, noted, something else."""
        entry = self.entries.get(key)
        if entry is None:
            return None
        if not isinstance(entry[1], Mapping):
            self.report.note(f"'{key}' must be a mapping (key: value), not {_kind(entry[1])}", entry[1].place)
            return None
        return entry[1].only(known) if known is not None else entry[1]

    def mappings(
        self, key: str, known: Sequence[str] | None = None, *, is_required: bool = False
    ) -> tuple[Mapping, ...]:
        """The list of mappings under a key, their keys held to `known`; () where absent; what is wrong is noted.

        `is_required`: an absent key and an empty list are noted too.
        """
        entry = self.entries.get(key)
        if entry is None:
            if is_required and key not in self.misspelt:
                self.note(f"'{key}' is missing here")
            return ()
        if is_required and isinstance(entry[1], Items) and not entry[1].nodes:
            self.report.note(f"'{key}' is empty: at least one is needed", entry[1].place)
        if not isinstance(entry[1], Items):
            self.report.note(f"'{key}' must be a list (lines that begin with -), not {_kind(entry[1])}", entry[1].place)
            return ()
        found = []
        for node in entry[1].nodes:
            if isinstance(node, Mapping):
                found.append(node.only(known) if known is not None else node)
            else:
                self.report.note(f"an entry of '{key}' must be a mapping (key: value), not {_kind(node)}", node.place)
        return tuple(found)

    def raise_mistakes(self) -> None:
        """Raise `Mistakes` with all that was noted in this file so far."""
        self.report.raise_mistakes()

    def _read(self, key: str, node: Node, parse: Callable[[str], T]) -> T | None:
        if not isinstance(node, Scalar):
            self.report.note(f"'{key}' must be a single value, not {_kind(node)}", node.place)
        elif not node.text.strip():
            self.report.note(f"'{key}' has no value", node.place)
        else:
            try:
                return parse(node.text)
            except ValueError as error:
                self.report.note(f"{key}: {error}", node.place)
        return None


Node = Scalar | Items | Mapping


def read_file(path: Path) -> str:
    """The text of a file; raises WrongUsage where it cannot be read, Mistakes where it is no UTF-8 or too long."""
    try:
        raw = path.read_bytes() if path.stat().st_size <= MOST_BYTES or not path.is_file() else None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WrongUsage(f"{path}: cannot be read ({reason}); check the name and the permissions") from error
    if raw is None or len(raw) > MOST_BYTES:
        raise Mistakes((Invalid(f"longer than {MOST_BYTES} bytes: no file of this kind is", Place(str(path), 1, 1)),))
    return decoded(raw, str(path))


def decoded(raw: bytes, file: str) -> str:
    """UTF-8 as text, without a byte order mark; raises Mistakes with the place of the first wrong byte."""
    try:
        return raw.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        place = _place_at(file, raw[: error.start].decode("utf-8"))
        message = f"byte 0x{raw[error.start]:02x} is no UTF-8: save the file as UTF-8"
        raise Mistakes((Invalid(message, place),)) from error


def read_mapping(text: str, file: str, known: Sequence[str] | None = None) -> Mapping:
    """The mapping that a YAML text holds, its keys held to `known`.

    Args:
        text: the YAML.
        file: the name that places carry, as the user gave it.
        known: the keys that may stand at the top; None: any.

    Raises:
        Mistakes: where the text is no YAML of the plain kind that is read here.
    """
    report = Report(file)
    bad = _FORBIDDEN.search(text)
    if bad:
        report.note(f"control character U+{ord(bad[0]):04X}: delete it", _place_at(file, text[: bad.start()]))
        report.raise_mistakes()
    try:
        root = _Builder(report).build(text)
    except yaml.MarkedYAMLError as error:
        report.note(_yaml_message(error, text), _marked_place(file, error))
        root = None
    except yaml.YAMLError as error:
        report.note(f"no YAML: {error}", Place(file, 1, 1))
        root = None
    if root is None:
        report.raise_mistakes()
        raise Mistakes((Invalid("the file is empty", Place(file, 1, 1)),))
    if not isinstance(root, Mapping):
        report.note(f"the file must be a mapping (key: value) at the top, not {_kind(root)}", root.place)
        report.raise_mistakes()
        raise AssertionError("a root that is no mapping was noted")
    return root.only(known) if known is not None else root


def text(value: str) -> str:
    """Any text, spaces at its ends and runs of white space within made one space."""
    return " ".join(value.split())


def truth(value: str) -> bool:
    """`yes` or `no`; raises ValueError on anything else."""
    if value not in ("yes", "no"):
        raise ValueError(f"'{value}' is neither yes nor no")
    return value == "yes"


def one_of(*names: str) -> Callable[[str], str]:
    """A parser for one of some names; its ValueError says the nearest."""

    def parse(value: str) -> str:
        if value not in names:
            raise ValueError(f"'{value}' is not known: {_instead(value, names)}")
        return value

    return parse


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that is most like this one, case ignored; None where none is."""
    lower = {k.casefold(): k for k in known}
    close = difflib.get_close_matches(name.casefold(), lower, n=1, cutoff=0.6)
    return lower[close[0]] if close else None


class _Builder:
    """Makes nodes of YAML events. `stack` holds the open lists and mappings, never deeper than MOST_DEPTH."""

    def __init__(self, report: Report) -> None:
        self.report = report
        self.root: Node | None = None
        self.stack: list[_Open] = []

    def build(self, text: str) -> Node | None:
        for documents, event in enumerate(self._content(text)):
            place = self._place(event)
            if isinstance(event, yaml.events.AliasEvent) or getattr(event, "anchor", None):
                self.report.note("anchors (&) and aliases (*) are not used here: write it out", place)
                return None
            if getattr(event, "tag", None) and event.tag != "!":
                self.report.note(f"tags ({event.tag}) are not used here: delete it", place)
                return None
            if isinstance(event, yaml.events.ScalarEvent):
                self._add(Scalar(event.value, place))
            elif isinstance(event, yaml.events.CollectionStartEvent):
                if len(self.stack) >= MOST_DEPTH:
                    self.report.note(f"nested more than {MOST_DEPTH} deep", place)
                    return None
                self.stack.append(_Open(isinstance(event, yaml.events.MappingStartEvent), place))
            elif isinstance(event, yaml.events.CollectionEndEvent):
                self._add(self.stack.pop().closed(self.report))
            elif documents:
                self.report.note("a second document (---): one file holds one", place)
                return None
        return self.root

    def _content(self, text: str) -> Iterable[Any]:
        """The events but for the stream's own; of the documents' starts only those after the first."""
        starts = 0
        for event in yaml.parse(text, Loader=_LOADER):
            if isinstance(event, yaml.events.DocumentStartEvent):
                starts += 1
                if starts == 1:
                    continue
            elif isinstance(event, _NO_CONTENT):
                continue
            yield event

    def _add(self, node: Node) -> None:
        if self.stack:
            self.stack[-1].nodes.append(node)
        else:
            self.root = node

    def _place(self, event: yaml.events.Event) -> Place:
        mark = event.start_mark
        if mark is None:
            raise AssertionError("a parser's events are marked")
        return Place(self.report.file, mark.line + 1, mark.column + 1)


@dataclass(slots=True)
class _Open:
    """A list or mapping whose end has not been met yet; a mapping's keys and values alternate."""

    is_mapping: bool
    place: Place
    nodes: list[Node] = field(default_factory=list)

    def closed(self, report: Report) -> Node:
        if not self.is_mapping:
            return Items(tuple(self.nodes), self.place)
        entries: dict[str, tuple[Place, Node]] = {}
        last = ""
        for key, value in zip(self.nodes[::2], self.nodes[1::2], strict=True):
            if last and _is_after_comma(entries[last][1], key, value):
                entries[last] = (entries[last][0], _joined(entries[last][1], key))
                continue
            last = ""
            if not isinstance(key, Scalar):
                report.note(f"a key must be text, not {_kind(key)}", key.place)
            elif key.text in entries:
                first = entries[key.text][0]
                report.note(f"'{key.text}' stands twice (first in line {first.line}): delete one", key.place)
            else:
                entries[key.text] = (key.place, value)
                last = key.text
        return Mapping(entries, self.place, report)


def _is_after_comma(before: Node, key: Node, value: Node) -> bool:
    """In `{weight: 1,5 g}` YAML sees a key `5 g` with no value: it is the rest of a number with a decimal comma."""
    return (
        isinstance(before, Scalar)
        and isinstance(key, Scalar)
        and isinstance(value, Scalar)
        and not value.text
        and key.place.line == before.place.line
        and before.text[-1:].isdigit()
        and key.text[:1].isdigit()
    )


def _joined(before: Node, after: Node) -> Node:
    """A number that a decimal comma had cut in two, as it was typed."""
    if not isinstance(before, Scalar) or not isinstance(after, Scalar):
        raise TypeError("only scalars are joined")
    return Scalar(f"{before.text},{after.text}", before.place)


def _kind(node: Node) -> str:
    if isinstance(node, Scalar):
        return f"'{_short(node.text)}'" if node.text else "nothing"
    return "a list" if isinstance(node, Items) else "a mapping"


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 40 else line[:37] + "..."


def _instead(name: str, known: Sequence[str]) -> str:
    close = nearest(name, known)
    return f"did you mean '{close}'?" if close else f"known here are {', '.join(known)}"


def _place_at(file: str, before: str) -> Place:
    """The place that follows a piece of text."""
    breaks = list(_BREAK.finditer(before))
    return Place(file, len(breaks) + 1, len(before) - (breaks[-1].end() if breaks else 0) + 1)


def _marked_place(file: str, error: yaml.MarkedYAMLError) -> Place:
    mark = _mark(error)
    return Place(file, mark.line + 1, mark.column + 1) if mark else Place(file, 1, 1)


def _mark(error: yaml.MarkedYAMLError) -> yaml.Mark | None:
    """Where to look: a bracket that is never closed is at fault where it opens, not where the file ends."""
    is_open = "flow" in (error.context or "") and error.context_mark is not None
    return error.context_mark if is_open else error.problem_mark or error.context_mark


def _yaml_message(error: yaml.MarkedYAMLError, text: str) -> str:
    mark = _mark(error)
    lines = _BREAK.split(text)
    line = lines[mark.line] if mark and mark.line < len(lines) else ""
    if mark and "\t" in line[: mark.column + 1] and not line[: mark.column].strip():
        return "a tab in the indentation: use spaces"
    problem = error.problem or error.context or "it cannot be read"
    plain = next((words for part, words in _PLAIN_WORDS.items() if part in problem), problem)
    return f"no YAML: {plain}"
