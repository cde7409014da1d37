"""YAML events to nodes, without recursion; what is no plain YAML is told in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import yaml

from scaled.errors import Invalid, Mistakes, Place
from scaled.marks.files import LINE_BREAK, place_after
from scaled.marks.nodes import Items, Mapping, Node, Report, Scalar, kind

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
        report.note(f"control character U+{ord(bad[0]):04X}: delete it", place_after(file, text[: bad.start()]))
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
        raise Mistakes((Invalid("the file is empty: write into it, or name another", Place(file, 1, 1)),))
    if not isinstance(root, Mapping):
        report.note(f"the file must be a mapping (key: value) at the top, not {kind(root)}", root.place)
        report.raise_mistakes()
        raise AssertionError("a root that is no mapping was noted")
    return root.only(known) if known is not None else root


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
                report.note(f"a key must be text, not {kind(key)}", key.place)
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


def _marked_place(file: str, error: yaml.MarkedYAMLError) -> Place:
    mark = _mark(error)
    return Place(file, mark.line + 1, mark.column + 1) if mark else Place(file, 1, 1)


def _mark(error: yaml.MarkedYAMLError) -> yaml.Mark | None:
    """Where to look: a bracket or quote that is never closed is at fault where it opens, not where the file ends."""
    is_never_closed = "end of stream" in (error.problem or "") or "flow" in (error.context or "")
    opened = error.context_mark if is_never_closed else None
    return opened or error.problem_mark or error.context_mark


def _yaml_message(error: yaml.MarkedYAMLError, text: str) -> str:
    mark = _mark(error)
    lines = LINE_BREAK.split(text)
    line = lines[mark.line] if mark and mark.line < len(lines) else ""
    if mark and "\t" in line[: mark.column + 1] and not line[: mark.column].strip():
        return "a tab in the indentation: use spaces"
    problem = error.problem or error.context or "it cannot be read"
    plain = next((words for part, words in _PLAIN_WORDS.items() if part in problem), problem)
    return f"no YAML: {plain}"
