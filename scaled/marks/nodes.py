"""What a file holds: scalars, lists and mappings with their places, and the typed getters of a mapping."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from scaled.errors import Invalid, Mistakes, Place
from scaled.marks.parsers import instead, nearest

T = TypeVar("T")


@dataclass(frozen=True)
class Report:
    """The mistakes found so far in one file."""

    file: str
    mistakes: list[Invalid] = field(default_factory=list)

    def note(self, message: str, place: Place) -> None:
        self.mistakes.append(Invalid(message, place))

    def raise_mistakes(self) -> None:
        """Raise `Mistakes` with all that was noted, each once, in the order of their places; nothing where none was."""
        if self.mistakes:
            each = {(mistake.place, mistake.message): mistake for mistake in self.mistakes}
            raise Mistakes(tuple(sorted(each.values(), key=lambda mistake: mistake.place or Place("", 0, 0))))


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

    def is_meant(self, key: str) -> bool:
        """Whether a key stands here, be it misspelt or its value wrong: what is wrong with it is told by itself."""
        return key in self.entries or key in self.misspelt

    def holds_mapping(self, key: str) -> bool:
        """Whether a mapping stands under a key."""
        return key in self.entries and isinstance(self.entries[key][1], Mapping)

    def keys(self) -> tuple[str, ...]:
        """The keys in the order of the file."""
        return tuple(self.entries)

    def only(self, known: Iterable[str]) -> Mapping:
        """Note every key that is not known, with the nearest name that is; returns the mapping itself."""
        names = tuple(known)
        for key, (place, _) in self.entries.items():
            if key not in names:
                self.misspelt.add(nearest(key, names) or "")
                self.report.note(f"unknown key '{key}': {instead(key, names)}", place)
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
        if not self.is_meant(key):
            self.note(f"'{key}' is missing here: add it")
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
            self.report.note(f"'{key}' must be a mapping (key: value), not {kind(entry[1])}", entry[1].place)
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
            if is_required and not self.is_meant(key):
                self.note(f"'{key}' is missing here: add it")
            return ()
        if is_required and isinstance(entry[1], Items) and not entry[1].nodes:
            self.report.note(f"'{key}' is empty: at least one is needed", entry[1].place)
        if not isinstance(entry[1], Items):
            self.report.note(f"'{key}' must be a list (lines that begin with -), not {kind(entry[1])}", entry[1].place)
            return ()
        found = []
        for node in entry[1].nodes:
            if isinstance(node, Mapping):
                found.append(node.only(known) if known is not None else node)
            else:
                self.report.note(f"an entry of '{key}' must be a mapping (key: value), not {kind(node)}", node.place)
        return tuple(found)

    def raise_mistakes(self) -> None:
        """Raise `Mistakes` with all that was noted in this file so far."""
        self.report.raise_mistakes()

    def _read(self, key: str, node: Node, parse: Callable[[str], T]) -> T | None:
        if not isinstance(node, Scalar):
            self.report.note(f"'{key}' must be a single value, not {kind(node)}", node.place)
        elif not node.text.strip():
            self.report.note(f"'{key}' has no value: give one", node.place)
        else:
            try:
                return parse(node.text)
            except ValueError as error:
                self.report.note(f"{key}: {error}", node.place)
        return None


Node = Scalar | Items | Mapping


def kind(node: Node) -> str:
    """What a node is, in words."""
    if isinstance(node, Scalar):
        return f"'{_short(node.text)}'" if node.text else "nothing"
    return "a list" if isinstance(node, Items) else "a mapping"


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 40 else line[:37] + "..."
