"""One mistake is told as one, at its own place, wherever it stands: every key and value of two formulas made wrong.

The places are those of a reader of YAML that is not the project's (`yaml.compose`).
"""

import re
from collections.abc import Iterator

import pytest
import yaml

from scaled.errors import Mistakes

BY_WEIGHT = """\
formula: Test dough
pieces: 8
vessel: one bowl
limits: {factor: 0.5 to 2}
guard: yes
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %, flour: yes}
      - {ingredient: wheat flour, weight: 60 g, tolerance: +1 % / -2 %, flour: yes}
      - {ingredient: sea salt, percent: 1.25, tolerance: ±0.3 g}
      - {formula: curd, weight: 30 g, tolerance: +2 g / -0.5 g}
  - stage: creamed
    late: no
    vessel: separate tubs
    additions:
      - {ingredient: butter, percent: 90, comes out: yes}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, piece: 50 g, egg: whole, weigh: first}
      - {ingredient: lemon zest, count: 1 lemon}
      - {ingredient: sea salt, to taste: yes, allergens: milk}
      - {ingredient: wheat flour, for: dusting, about: 15 g}
      - {ingredient: water, by feel: 200 to 260 g}
steps:
  - {after: creamed, do: rest, for: 1 to 24 h, at: 4 degC}
  - {do: bake, for: 18 to 25 min, at: 170 degC}
"""
BY_PERCENT = """\
formula: Test dough
mass: 2.4 kg
stages:
  - stage: dry
    additions:
      - ingredient: oat flour
        percent: 60
        flour: yes
      - ingredient: wheat flour
        percent: 40
        flour: yes
  - stage: wet
    late: yes
    additions:
      - ingredient: water
        percent: 67
        price: 0.01
      - ingredient: moon dust
        weight: 20 ml
        density: 0.6 g/ml
        density range: 0.5 to 0.7 g/ml
        role: spice
        form: fine
        composition: {water: 1, fat: 2, sugars: 3}
        allergens: sesame
        tolerance: ±1 g
steps:
  - after: wet
    do: knead
    for: 8 min
"""
CURD = "formula: Curd\nstages:\n  - stage: all\n    additions:\n      - {ingredient: butter, weight: 9 g}\n"
ANY_TEXT = frozenset({"formula", "stage", "ingredient", "do", "count"})
OTHER_KEY = {"weight": "weght"}  # without its last letter it would be `weigh`


def scalars(node: yaml.Node, path: str = "") -> Iterator[tuple[str, yaml.ScalarNode, yaml.Node]]:
    """All keys with their values, and where each stands in the file in words."""
    if isinstance(node, yaml.SequenceNode):
        for number, entry in enumerate(node.value):
            yield from scalars(entry, f"{path}[{number}]")
    elif isinstance(node, yaml.MappingNode):
        for key, value in node.value:
            yield f"{path}/{key.value}", key, value
            yield from scalars(value, f"{path}/{key.value}")


def wrong_ways(content: str) -> Iterator[tuple[str, tuple[str, tuple[int, int]]]]:
    """A name; the file with one mistake in it, and the line and column of that."""
    for path, key, value in scalars(yaml.compose(content, Loader=yaml.SafeLoader)):
        name = key.value
        yield f"{path} misspelt", put(content, key, OTHER_KEY.get(name, name[:-1] if len(name) > 3 else f"{name}x"))
        if not isinstance(value, yaml.ScalarNode):
            continue
        yield f"{path} a list", put(content, value, "[[1]]")
        yield f"{path} a mapping", put(content, value, "{a: 1}")
        yield f"{path} empty", put(content, value, "''")
        yield f"{path} an anchor", put(content, value, f"&a {content[value.start_mark.index : value.end_mark.index]}")
        if name in ANY_TEXT or (name == "for" and value.value == "dusting"):
            continue
        yield f"{path} nonsense", put(content, value, "'?!'")
        amount = re.search(r"[0-9]+(\.[0-9]+)?", value.value)
        if amount is not None:
            comma = value.value.replace(amount[0], f"{amount[0].partition('.')[0]},5", 1)
            yield f"{path} a decimal comma", put(content, value, comma)


def put(content: str, node: yaml.Node, new: str) -> tuple[str, tuple[int, int]]:
    """The file with a node's text replaced, and the place of that."""
    start, end = node.start_mark, node.end_mark
    # A list in a list: where a list may stand, the one in it is the mistake.
    inner = 1 if new == "[[1]]" and content[: start.index].rstrip().endswith("allergens:") else 0
    return content[: start.index] + new + content[end.index :], (start.line + 1, start.column + 1 + inner)


CASES = [
    (f"{kind} {name}", *made)
    for kind, content in (("weight", BY_WEIGHT), ("percent", BY_PERCENT))
    for name, made in wrong_ways(content)
]


def test_the_formulas_that_are_made_wrong_have_no_mistake(read):
    for content in (BY_WEIGHT, BY_PERCENT):
        assert read(content, {"curd": CURD}).formula.title == "Test dough"
    assert len(CASES) > 400


@pytest.mark.parametrize(("content", "place"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_one_mistake_is_told_as_one_where_it_is(read, content, place):
    with pytest.raises(Mistakes) as caught:
        read(content, {"curd": CURD})
    (mistake,) = caught.value.mistakes
    assert (mistake.place.line, mistake.place.column) == place
