"""Reads line formats from YAML: those that come with the program, and those that a bench adds.

Every mistake of a file is told with its place, and a format that cannot read its own sample lines is a mistake too.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from scaled import marks
from scaled.instruments.line_format import MEANINGS, SHAPES, UNITS, LineFormat, Meaning, Sample
from scaled.units import MG, quantity
from scaled.weighing.values import ScaleState

INSTALLED = Path(__file__).with_name("formats.yaml")
KEYS = ("says", "shape", "lines", "flags", "units", "unit", "decimal", "samples")
SAMPLE_KEYS = ("line", "weight", "motion", "load", "range")
BEYOND: tuple[ScaleState, ...] = ("over capacity", "under zero")


@cache
def installed_formats() -> Mapping[str, LineFormat]:
    """The formats that come with the program, by name."""
    return formats_from_text(INSTALLED.read_text(encoding="utf-8"), str(INSTALLED))


def formats_from_text(text: str, file: str) -> Mapping[str, LineFormat]:
    """The formats of a YAML text, by name; raises Mistakes."""
    top = marks.read_mapping(text, file)
    names = top.keys()
    found = {name: format_from_mapping(name, node) for name in names if (node := top.mapping(name, KEYS))}
    top.raise_mistakes()
    return {name: line_format for name, line_format in found.items() if line_format is not None}


def format_from_mapping(name: str, node: marks.Mapping) -> LineFormat | None:
    """One format; None where it is wrong, and then that is noted."""
    before = len(node.report.mistakes)
    says = node.required("says", marks.text)
    shape = node.required("shape", marks.one_of(*SHAPES))
    lines = node.texts("lines", str)
    flags = _flags(node)
    units = node.texts("units", marks.one_of(*UNITS))
    unit = node.get("unit", marks.one_of(*UNITS))
    decimal = node.get("decimal", marks.one_of(".", ","))
    samples = tuple(_sample(sample) for sample in node.mappings("samples", SAMPLE_KEYS))
    if len(node.report.mistakes) > before or says is None or shape is None:
        return None
    try:
        return LineFormat(
            name=name,
            shape=shape,
            says=says,
            lines=lines,
            flags=flags,
            samples=samples,
            units=units or UNITS,
            unit=unit,
            decimal=decimal or ".",
        )
    except ValueError as error:
        node.note(f"format '{name}': {error}")
        return None


def mapping_from_format(line_format: LineFormat) -> dict[str, Any]:
    """A format as the YAML mapping that makes it, without its samples."""
    mapping: dict[str, Any] = {
        "says": line_format.says,
        "shape": line_format.shape,
        "lines": list(line_format.lines),
        "flags": {name: dict(texts) for name, texts in line_format.flags.items()},
        "units": list(line_format.units),
    }
    if line_format.unit is not None:
        mapping["unit"] = line_format.unit
    mapping["decimal"] = line_format.decimal
    return mapping


def _flags(node: marks.Mapping) -> dict[str, dict[str, Meaning]]:
    flags: dict[str, dict[str, Meaning]] = {}
    under = node.mapping("flags")
    if under is None:
        return flags
    names = under.keys()
    for name in names:
        texts = under.mapping(name)
        known = texts.keys() if texts else ()
        meanings = {text: texts.get(text, marks.one_of(*MEANINGS)) for text in known if texts}
        flags[name] = {text: meaning for text, meaning in meanings.items() if meaning}
    return flags


def _sample(node: marks.Mapping) -> Sample:
    line = node.required("line", str)
    motion = node.get("motion", marks.one_of("settled", "in motion"))
    load = node.get("load", marks.one_of("gross", "net"))
    beyond = node.get("range", marks.one_of(*BEYOND))
    weight = node.required("weight", _weight)
    return Sample(
        line=line or "",
        value_mg=weight[0] if weight else None,
        in_motion=None if motion is None else motion == "in motion",
        is_net=None if load is None else load == "net",
        state=beyond or "ready",
    )


def _weight(text: str) -> tuple[int | None]:
    """A mass as an annotated sample gives it, below zero too; `none` where a line shows none."""
    if text == "none":
        return (None,)
    value, unit = quantity(text)
    if unit not in UNITS:
        raise ValueError(f"'{text}' is no mass: write it like 123.4 g, or none")
    return (round(value * MG[unit]),)
