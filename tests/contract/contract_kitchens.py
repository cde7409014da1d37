"""Random kitchens: a formula file and what went in, drawn over every form that the formula file knows."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

from contract_ways_back import Kitchen, Line

NAMES = (
    "amber",
    "birch",
    "cedar",
    "damson",
    "elder",
    "fennel",
    "ginseng",
    "hazel",
    "indigo",
    "juniper",
    "kelp",
    "lotus",
)
STAGES = ("first", "second", "third")
ROLES = {"salt": "salt", "leavening": "baking powder"}


def number(value: Fraction) -> str:
    return format(float(value), "f").rstrip("0").rstrip(".")


def _tolerance(draw: random.Random) -> tuple[str, tuple[Fraction, Fraction], tuple[Fraction, Fraction]]:
    def side() -> tuple[str, tuple[Fraction, Fraction]]:
        if draw.random() < 0.6:
            tenths = draw.randint(1, 60)
            return f"{number(Fraction(tenths, 10))} %", (Fraction(tenths, 1000), Fraction(0))
        mg = draw.choice((50, 100, 300, 500, 1000, 2000, 5000))
        return f"{number(Fraction(mg, 1000))} g", (Fraction(0), Fraction(mg))

    over_text, over = side()
    if draw.random() < 0.6:
        return f"{draw.choice(('±', '+-', '+/-'))}{over_text}", over, over
    under_text, under = side()
    return f"+{over_text} / -{under_text}", under, over


def draw_kitchen(draw: random.Random) -> Kitchen:
    stages = STAGES[: draw.randint(1, 3)]
    count = draw.randint(1, 8)
    where = sorted(draw.choices(stages, k=count), key=stages.index)
    stages = tuple(s for s in stages if s in where)
    names = draw.sample(NAMES, count)
    lines: list[Line] = []
    for name, stage in zip(names, where, strict=True):
        text, under, over = _tolerance(draw)
        role = draw.choice((None, None, None, None, "salt", "leavening"))
        if role and ROLES[role] in [line.name for line in lines]:
            role = None
        if draw.random() < 0.1 and role is None:
            text, under, over = "", (Fraction(2, 100), Fraction(0)), (Fraction(2, 100), Fraction(0))
        weight = Fraction(draw.choice((3, 20, 50, 100, 240, 500)) * 1000 + draw.choice((0, 0, 123, 500)))
        comes_out = draw.choice((True, False))
        lines.append(Line(ROLES[role] if role else name, weight, stage, under, over, text, comes_out, role=role))
    lines = [line for line in lines if line.low(Fraction(1)) > 0] or [
        Line(
            "amber",
            Fraction(100000),
            stages[0],
            (Fraction(1, 100), Fraction(0)),
            (Fraction(1, 100), Fraction(0)),
            "±1 %",
            True,
        )
    ]
    stages = tuple(s for s in stages if s in [line.stage for line in lines])
    before = draw.choice((Fraction(1), Fraction(1), Fraction(3, 2), Fraction(9, 8), Fraction(1, 3)))
    told = {}
    for line in draw.sample(lines, draw.randint(1, min(3, len(lines)))):
        scale = draw.choice((0.3, 0.8, 0.95, 1, 1.01, 1.03, 1.1, 1.14, 1.3))
        told[line.name] = Fraction(round(line.weight * before * Fraction(scale).limit_denominator(100)))
    low, high = draw.choice(((80, 125), (80, 125), (50, 200), (100, 300), (90, 110)))
    closed = tuple(s for s in stages if draw.random() < 0.2)
    late_no = tuple(s for s in stages if draw.random() < 0.4)
    stock = {}
    for line in lines:
        if draw.random() < 0.2:
            stock[line.name] = Fraction(
                round(line.weight * before * Fraction(draw.choice((0, 5, 10, 50, 98, 110)), 100))
            )
    total = sum(line.weight for line in lines) * before
    capacity = None
    if draw.random() < 0.35:
        capacity = Fraction(round(total * Fraction(draw.randint(90, 130), 100)))
    return Kitchen(
        lines=tuple(lines),
        told=told,
        limits=(Fraction(low, 100), Fraction(high, 100)),
        pieces=draw.choice((None, 1, 4, 8, 30)),
        before=before,
        closed=closed,
        late_no=late_no,
        stock=stock,
        capacity=capacity,
        flag=draw.choice((None, None, "tubs", "mixed")),
        vessel=draw.choice((None, "one bowl", "separate tubs")),
    )


def write_formula(kitchen: Kitchen, path: Path) -> Path:
    text = ["formula: Drawn"]
    if kitchen.pieces:
        text.append(f"pieces: {kitchen.pieces}")
    if kitchen.vessel:
        text.append(f"vessel: {kitchen.vessel}")
    text.append(f"limits: {{factor: {number(kitchen.limits[0])} to {number(kitchen.limits[1])}}}")
    text.append("stages:")
    stage = None
    for line in kitchen.lines:
        if line.stage != stage:
            stage = line.stage
            text.append(f"  - stage: {stage}")
            text.append(f"    late: {'no' if stage in kitchen.late_no else 'yes'}")
            text.append("    additions:")
        parts = [f"ingredient: {line.name}", f"weight: {number(line.weight / 1000)} g"]
        if line.tolerance:
            parts.append(f"tolerance: {line.tolerance}")
        if line.comes_out is not None:
            parts.append(f"comes out: {'yes' if line.comes_out else 'no'}")
        if line.piece is not None:
            parts.append(f"piece: {number(line.piece / 1000)} g")
        if line.egg:
            parts.append("egg: whole")
        text.append("      - {" + ", ".join(parts) + "}")
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    return path


def arguments(kitchen: Kitchen, path: Path) -> list[str]:
    said = ["formula", "correct", str(path), "--json"]
    for name, mg in kitchen.told.items():
        said += ["--in", f"{name}={number(mg / 1000)} g"]
    for name, mg in kitchen.stock.items():
        said += ["--stock", f"{name}={number(mg / 1000)} g"]
    for stage in kitchen.closed:
        said += ["--closed", stage]
    if kitchen.before != 1:
        said += ["--factor", str(kitchen.before)]
    if kitchen.capacity is not None:
        said += ["--capacity", f"{number(kitchen.capacity / 1000)} g"]
    if kitchen.flag:
        said.append(f"--{kitchen.flag}")
    return said
