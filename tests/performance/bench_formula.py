"""A formula of 150 additions from its text to the plan's JSON, and the ingredient table; beside libyaml's own tree."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import yaml
from figures import Row, Size, median_s

from scaled.catalogue import FolderCatalogue, installed_table
from scaled.formula.file import read_formula
from scaled.formula.plan import plan
from scaled.formula.plan_json import plan_json
from scaled.formula.scales import ScaleFacts
from scaled.formula.table import read_table

ADDITIONS = 150
BUDGET_MS = 30.0
RATIO = 20.0  # of composing the same text: all that is ours after the parser
SCALES = (ScaleFacts("bench", 1_000, 6_000_000), ScaleFacts("fine", 10, 500_000))


def long_formula() -> str:
    """Three stages of fifty additions, of all the ingredients of the table in turn."""
    names = [entry.name for entry in installed_table().ingredients]
    lines = ["formula: Everything", "pieces: 8", "stages:"]
    for number in range(ADDITIONS):
        if number % 50 == 0:
            lines += [f"  - stage: stage {number // 50}", "    additions:"]
        name = names[number % len(names)]
        lines.append(f"      - {{ingredient: {name}, weight: {10 + number} g, tolerance: ±1 %}}")
    return "\n".join(lines)


def rows(size: Size) -> Iterator[Row]:
    repeats = 11 if size == "small" else 101
    content, table, shelf = long_formula(), installed_table(), FolderCatalogue()

    def check_and_plan() -> object:
        formula = read_formula(content, "long.yaml", "long", table, shelf).formula
        return plan_json(plan(formula, Fraction(9, 8), shelf.used, SCALES))

    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    ours = median_s(check_and_plan, repeats=repeats) * 1_000
    floor = median_s(lambda: yaml.compose(content, Loader=loader), repeats=repeats) * 1_000
    yield Row(
        f"{ADDITIONS} additions checked and planned",
        figure=ours,
        unit="ms",
        floor=floor,
        floor_is="yaml.compose of the same text",
        ratio_at_most=RATIO,
        figure_at_most=BUDGET_MS,
    )
    file = installed_table_text()
    yield Row(
        "the ingredient table, read once a run",
        figure=median_s(lambda: read_table(file, "ingredients.yaml"), repeats=repeats) * 1_000,
        unit="ms",
        floor=median_s(lambda: yaml.compose(file, Loader=loader), repeats=repeats) * 1_000,
        floor_is="yaml.compose of the same text",
    )


def installed_table_text() -> str:
    from importlib.resources import files

    return files("scaled.formula").joinpath("ingredients.yaml").read_text(encoding="utf-8")
