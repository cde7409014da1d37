"""Reading a formula file: stages of additions, steps, and what holds for the whole.

Three passes, each of which notes every mistake it can see and goes on: the lines as they stand (`line`), percentages
to weights (`percent`), then keys, tolerances and shares (`settle`). Only when the whole file is free of mistakes is a
Formula made of it. What is no mistake but ought to be known is noticed and comes with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from scaled.errors import Place
from scaled.formula.cautions import usual_cautions
from scaled.formula.geometry import Rolled
from scaled.formula.ingredients import Table
from scaled.formula.line import LINE, Line, Noticed, Shelf, name, read_line
from scaled.formula.notices import notices
from scaled.formula.percent import with_weights
from scaled.formula.rolled import read_rolled, rolled_notices
from scaled.formula.settle import settled
from scaled.formula.values import LEAST_FACTOR, MOST_FACTOR, VESSEL_PLANS, Formula, Stage, Step, VesselPlan
from scaled.marks import Mapping, nearest, one_of, read_mapping, text, truth
from scaled.units import celsius_range, decimal, duration_range_s, number_range, weight_mg

TOP = (
    "formula",
    "pieces",
    "vessel",
    "limits",
    "stages",
    "steps",
    "mass",
    "yield",
    "guard",
    "keeps",
    "caution",
    "rolled",
)
STAGE = ("stage", "late", "vessel", "additions")
STEP = ("after", "do", "for", "at")

MOST_DEED = 160

# After these nothing goes in any more without harm (common practice), unless the stage says `late: yes`.
ENDS_A_STAGE = frozenset({"cook", "boil", "whip", "knead", "temper", "bake", "fry"})


@dataclass(frozen=True)
class FormulaFile:
    """A formula and what was noticed while it was read, each with its place."""

    formula: Formula
    noticed: tuple[Noticed, ...]


@dataclass(frozen=True)
class _Stage:
    """A stage as read: its lines have no keys yet, and perhaps no weights."""

    name: str
    lines: tuple[Line, ...]
    is_late: bool | None
    vessel: VesselPlan | None


def read_formula(
    content: str, file: str, stem: str, table: Table, shelf: Shelf, *, mass_mg: Fraction | None = None
) -> FormulaFile:
    """The formula that a YAML text holds.

    Args:
        content: the text.
        file: its name for places, as the user gave it.
        stem: the file's name without the ending.
        table: what is known of ingredients.
        shelf: the other formulas, for lines that use one.
        mass_mg: what percentages are made of where the file itself gives no `mass`.

    Raises:
        Mistakes: all that is wrong, each with its place.
        MassMissing: percentages only, no `mass` in the file and none given.
    """
    root = read_mapping(content, file, TOP)
    noticed: list[Noticed] = []
    header = _header(root)
    told_before = len(root.report.mistakes)
    stages = _stages(root, table, shelf, noticed)
    is_whole = len(root.report.mistakes) == told_before
    steps = _steps(root, tuple(stage.name for stage in stages))
    # Percentages are of sums, and a sum without a line that could not be read would be told as a second mistake.
    lines = _with_weights(stages, root, header.mass_mg or mass_mg) if is_whole else [list(s.lines) for s in stages]
    made = settled([(stage.name, part) for stage, part in zip(stages, lines, strict=True)], table, keeps=header.keeps)
    root.raise_mistakes()
    formula = Formula(
        stem=stem,
        title=header.title,
        stages=tuple(
            Stage(stage.name, additions, _is_late(stage, steps), stage.vessel or header.vessel)
            for stage, additions in zip(stages, made, strict=True)
        ),
        pieces=header.pieces,
        vessel=header.vessel,
        limits=header.limits,
        steps=steps,
        is_guarded=header.is_guarded,
        keeps=header.keeps,
        yield_mg=header.yield_mg,
        rolled=header.rolled,
    )
    noticed += notices(root, formula, [line for stage in lines for line in stage], table, header.mass_mg)
    noticed += rolled_notices(root, formula)
    noticed.sort(key=lambda notice: notice.place)
    return FormulaFile(_cautioned(formula, lines, noticed, header.cautions), tuple(noticed))


def _cautioned(formula: Formula, lines: list[list[Line]], noticed: list[Noticed], own: tuple[str, ...]) -> Formula:
    """The formula with its cautions: its own, the usual ones, and what was noticed, on its line too."""
    of_line: dict[Place, tuple[str, ...]] = {}
    for notice in noticed:
        if notice.line is not None:
            of_line[notice.line] = (*of_line.get(notice.line, ()), notice.message)
    stages = []
    for stage, read in zip(formula.stages, lines, strict=True):
        pairs = zip(stage.additions, (of_line.get(line.node.place, ()) for line in read), strict=True)
        additions = tuple(replace(a, cautions=(*a.cautions, *more)) if more else a for a, more in pairs)
        stages.append(replace(stage, additions=additions))
    cautions = (*own, *usual_cautions(formula), *(notice.message for notice in noticed))
    return replace(formula, stages=tuple(stages), cautions=cautions)


@dataclass(frozen=True)
class _Header:
    """What the top of the file says of the whole; where a mistake was noted there is a stand-in."""

    title: str
    pieces: Fraction | None
    vessel: VesselPlan
    limits: tuple[Fraction, Fraction]
    mass_mg: Fraction | None
    yield_mg: Fraction | None
    rolled: Rolled | None
    is_guarded: bool
    keeps: bool
    cautions: tuple[str, ...]


def _header(root: Mapping) -> _Header:
    return _Header(
        title=root.required("formula", name) or "",
        pieces=root.get("pieces", _pieces),
        vessel=_vessel(root) or "one bowl",
        limits=_limits(root),
        mass_mg=root.get("mass", weight_mg),
        yield_mg=root.get("yield", weight_mg),
        rolled=read_rolled(root),
        is_guarded=root.get("guard", truth) or False,
        keeps=root.get("keeps", truth) is not False,
        cautions=root.texts("caution", text),
    )


def _vessel(node: Mapping) -> VesselPlan | None:
    return node.get("vessel", one_of(*VESSEL_PLANS))


def _pieces(value: str) -> Fraction:
    pieces = decimal(value)
    if not 0 < pieces <= 1_000_000:
        raise ValueError(f"'{value}' is out of bounds: pieces are more than 0 and at most 1000000")
    return pieces


def _limits(root: Mapping) -> tuple[Fraction, Fraction]:
    usual = (Fraction(4, 5), Fraction(5, 4))
    limits = root.mapping("limits", ("factor",))
    return (limits.required("factor", _factors) if limits else None) or usual


def _factors(value: str) -> tuple[Fraction, Fraction]:
    lo, hi = number_range(value)
    if not LEAST_FACTOR <= lo <= 1 <= hi <= MOST_FACTOR:
        raise ValueError(f"'{value}' is out of bounds: limits hold the factor 1, like 0.80 to 1.25")
    return lo, hi


def _stages(root: Mapping, table: Table, shelf: Shelf, noticed: list[Noticed]) -> tuple[_Stage, ...]:
    stages: list[_Stage] = []
    seen: dict[str, Place] = {}
    for node in root.mappings("stages", STAGE, is_required=True):
        called = node.required("stage", name) or ""
        first = seen.setdefault(called.casefold(), node.place)
        if called and first is not node.place:
            node.note(f"a stage '{called}' stands in line {first.line} already: name one differently", "stage")
        nodes = node.mappings("additions", LINE, is_required=True)
        lines = (read_line(line, table, shelf, noticed) for line in nodes)
        kept = tuple(line for line in lines if line is not None)
        stages.append(_Stage(called, kept, node.get("late", truth), _vessel(node)))
    if not root.report.mistakes and all(line.kind == "told" for stage in stages for line in stage.lines):
        root.note("nothing is weighed here: a formula weighs at least one ingredient", "stages")
    return tuple(stages)


def _with_weights(stages: tuple[_Stage, ...], root: Mapping, mass_mg: Fraction | None) -> list[list[Line]]:
    """The lines of each stage with their percentages, which are of the flour of all stages, as weights."""
    lines = iter(with_weights([line for stage in stages for line in stage.lines], root, mass_mg))
    return [[next(lines) for _ in stage.lines] for stage in stages]


def _steps(root: Mapping, stages: tuple[str, ...]) -> tuple[Step, ...]:
    steps = []
    for node in root.mappings("steps", STEP):
        after = node.get("after", name)
        known = {stage.casefold(): stage for stage in stages}
        if after is not None and after.casefold() not in known and known and "" not in known:
            close = nearest(after, stages)
            others = f"did you mean '{close}'?" if close else f"the stages are {', '.join(dict.fromkeys(stages))}"
            node.note(f"no stage '{after}' here: {others}", "after")
        done = node.required("do", _deed)
        steps.append(
            Step(
                do=done or "",
                after=known.get(after.casefold()) if after is not None else None,
                for_s=node.get("for", duration_range_s),
                at_celsius=node.get("at", celsius_range),
            )
        )
    return tuple(steps)


def _deed(value: str) -> str:
    deed = text(value)
    if len(deed) > MOST_DEED:
        raise ValueError(f"'{deed[:20]}...' is longer than {MOST_DEED} characters: make two steps of it")
    return deed


def _is_late(stage: _Stage, steps: tuple[Step, ...]) -> bool:
    """Whether a closed stage can still be topped up: as the file says, else unless what follows it ends it."""
    if stage.is_late is not None:
        return stage.is_late
    return not any(step.after == stage.name and ENDS_A_STAGE & set(step.do.casefold().split()) for step in steps)
