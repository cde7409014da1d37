"""Strict YAML: every scalar is text that knows its place, and every mistake of a file is told, not only the first.

The text is read as a stream of YAML events (libyaml's parser where it is there), never as Python objects: `no`, `1e3`
and `12:30` stay the text that was typed until a typed getter reads them. What makes a file mean something else than
it says (anchors, aliases, tags, several documents, a key twice) is a mistake. Building the tree from events needs no
recursion, so that no depth of nesting can break the stack.

A reader asks a `Mapping` for its keys and hands in `parse`, a function from text to a value that raises ValueError
with a message; the place is added here. A getter that notes a mistake returns None and the reader goes on, so that
all mistakes are found; `raise_mistakes` at the end raises them together.
"""

from scaled.marks.files import MOST_BYTES, decoded, read_file
from scaled.marks.nodes import Items, Mapping, Node, Report, Scalar
from scaled.marks.parsers import nearest, one_of, text, truth
from scaled.marks.tree import MOST_DEPTH, read_mapping

__all__ = [
    "MOST_BYTES",
    "MOST_DEPTH",
    "Items",
    "Mapping",
    "Node",
    "Report",
    "Scalar",
    "decoded",
    "nearest",
    "one_of",
    "read_file",
    "read_mapping",
    "text",
    "truth",
]
