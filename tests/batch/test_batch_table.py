"""The procedure is a total table, its interpreter knows every action, and the diagram is drawn from it."""

from __future__ import annotations

import typing
from pathlib import Path

import pytest
from batch_plate import Plate, to_the_egg

from scaled.batch import decide as deciding
from scaled.batch.bench import MachinePhase
from scaled.batch.inputs import WISHES, Input
from scaled.batch.table import KINDS, PHASES, TABLE, Action, diagram

ROOT = Path(__file__).parents[2]


def missing_cells(table: dict[MachinePhase, dict[str, str]]) -> list[tuple[str, str]]:
    return [(phase, kind) for phase in PHASES for kind in KINDS if kind not in table.get(phase, {})]


def all_phases() -> set[str]:
    return {word for part in typing.get_args(MachinePhase) for word in (typing.get_args(part) or (part,))}


def test_every_phase_has_an_answer_to_every_kind_of_input() -> None:
    assert set(PHASES) == all_phases() == set(TABLE)
    assert missing_cells(TABLE) == []


def test_a_cell_left_out_is_found() -> None:
    """The gate above, shown to catch a planted fault."""
    planted = {phase: dict(row) for phase, row in TABLE.items()}
    del planted["under"]["abort"]
    assert missing_cells(planted) == [("under", "abort")]


def test_every_action_is_known_to_the_interpreter() -> None:
    used = {action for row in TABLE.values() for action in row.values()}
    assert used <= set(typing.get_args(Action))
    assert used - {"ignore", "refuse"} == set(deciding._ACTIONS)


def test_every_kind_of_input_has_a_column() -> None:
    classes = set(typing.get_args(Input))
    named = {cls.__name__ for cls in classes} - {"Wanted"}
    assert named == {cls.__name__ for cls in deciding._KINDS}
    assert set(WISHES) <= set(KINDS)


@pytest.mark.parametrize("wish", WISHES)
def test_a_refused_wish_changes_nothing(plate: Plate, wish: str) -> None:
    to_the_egg(plate).add(57)
    before, bench, count = plate.batch, plate.bench, len(plate.events)
    plate.wish(wish)
    if plate.refused is not None:
        assert (plate.batch, plate.bench, len(plate.events)) == (before, bench, count)
        assert plate.refused.strip()


def test_with_no_batch_only_a_beginning_is_taken() -> None:
    row = TABLE["idle"]
    assert {kind for kind in KINDS if row[kind] not in ("refuse", "ignore")} == {"begin", "weight"}


def test_the_docs_show_the_table_as_it_is() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert diagram() in text, "put the output of scaled.batch.table.diagram() into DEVELOPERS.md"
