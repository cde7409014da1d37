"""What an audit found at the edges of the contract, each as a user meets it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from contract_command import called
from contract_running import Reply, Running

from scaled.formula.values import LEAST_FACTOR, MOST_FACTOR
from scaled.page.body import LARGEST_FACTOR
from scaled.page.body import LEAST_FACTOR as LEAST_OVER_HTTP

DOUGH = Path(__file__).parents[2] / "recipes" / "oat-and-honey-short-dough.yaml"
FORMULA = """formula: Two in a bowl
stages:
  - stage: dry
    additions:
      - {ingredient: NAME, weight: 60 g, tolerance: ±2 g}
"""


# Factors: the same bounds wherever one is given.


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    file = tmp_path / "trace.csv"
    file.write_text("t_s,grams\n0,0\n0.1,0\n")
    return file


@pytest.mark.parametrize("factor", ["1e-9", "0.0009", "0", "-1", "1000.1", "1e400", "1/100000"])
def test_a_factor_out_of_bounds_is_wrong_usage_for_every_command(trace: Path, factor: str) -> None:
    for command in (
        ("replay", trace, "--formula", DOUGH),
        ("formula", "plan", DOUGH),
        ("formula", "correct", DOUGH, "--in", "egg=57 g"),
    ):
        answer = called(*command, f"--factor={factor}")
        assert (answer.code, answer.out) == (2, "")
        assert answer.errors == [f"a factor of {factor} cannot be: it lies in 0.001 to 1000"]


@pytest.mark.parametrize("factor", ["1e999999999", "nan", "inf", "1/0", "1,5", "", "٣", "1_0", "--"])
def test_what_is_no_factor_is_said_to_be_none_and_at_once(trace: Path, factor: str) -> None:
    answer = called("replay", trace, "--formula", DOUGH, f"--factor={factor}")
    assert answer.code == 2
    assert len(answer.errors) == 1
    assert f"'{factor}' is no factor: write it like 1.5 or 19/17" in answer.err


@pytest.mark.parametrize("factor", ["0.001", "1000", ".5", "2.", "19/17", "1.5e1"])
def test_a_factor_within_bounds_is_taken(factor: str) -> None:
    assert called("formula", "plan", DOUGH, "--json", f"--factor={factor}").code == 0


def test_over_http_the_bounds_are_the_same() -> None:
    assert (LEAST_FACTOR, MOST_FACTOR) == (LEAST_OVER_HTTP, LARGEST_FACTOR)


# Traces.


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("0,1e999999999", 3),
        ("1e999999999,0", 1),
        ("-1e11,0", 1),
        ("0,nan", 3),
        ("0,1e9999999999999999999", 3),
        ("0,1e-99999999999999999999999", 3),
    ],
)
def test_a_figure_that_no_scale_shows_has_its_place(tmp_path: Path, row: str, column: int) -> None:
    file = tmp_path / "trace.csv"
    file.write_text(f"t_s,grams\n{row}\n")
    answer = called("replay", file, "--signal")
    assert (answer.code, answer.out) == (2, "")
    assert answer.errors[0].startswith(f"{file}:2:{column}: ")


# Names.


@pytest.mark.parametrize(
    ("name", "character"),
    [
        (r'"fl\0our"', "U+0000"),
        (r'"fl\nour"', "U+000A"),
        (r'"fl\u202eour"', "U+202E"),
        (r'"fl\Nour"', "U+0085"),
        (r'"fl\u2028our"', "U+2028"),
        ('"fl\n\n         our"', "U+000A"),
    ],
)
def test_a_name_with_a_control_character_is_a_mistake_with_its_place(tmp_path: Path, name: str, character: str) -> None:
    file = tmp_path / "two.yaml"
    file.write_text(FORMULA.replace("NAME", name))
    answer = called("formula", "check", file)
    assert answer.code == 1
    assert len(answer.errors) == 1
    assert answer.err.startswith(f"{file}:5:22: ")
    assert character in answer.err


@pytest.mark.parametrize("name", ['"wheat\n          flour"', "farine de blé", '"na\\u00efve flour"'])
def test_a_name_that_is_only_typed_otherwise_is_none(tmp_path: Path, name: str) -> None:
    file = tmp_path / "two.yaml"
    file.write_text(FORMULA.replace("NAME", name))
    assert called("formula", "check", file).code == 0


# A second batch.


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    bench = Running(tmp_path)
    try:
        yield bench.start()
    finally:
        if bench.process is not None:
            bench.stop()


def test_without_a_batch_a_wish_is_told_so(running: Running) -> None:
    refused = running.ask("POST", "/api/v1/intent", {"intent": "next"})
    assert (refused.status, refused.document["detail"]) == (409, "no batch runs, so 'next' means nothing: begin one")


def test_while_a_batch_is_open_a_second_is_told_which_and_what_to_do(running: Running) -> None:
    batch = running.ask("POST", "/api/v1/batch", {"formula": "two"}).document["batch"]
    second = running.ask("POST", "/api/v1/batch", {"formula": "two", "factor": 2})
    assert second.status == 409
    assert second.headers["content-type"] == "application/problem+json"
    assert second.document["detail"] == (
        f"batch {batch} (Two in a bowl) is running: weigh it to its end, or end it with 'abort', before another begins"
    )
    assert running.ask("POST", "/api/v1/intent", {"intent": "hold"}).status == 202
    assert "(Two in a bowl) is held: " in running.ask("POST", "/api/v1/batch", {"formula": "two"}).document["detail"]
    assert running.ask("POST", "/api/v1/batch", {"formula": "nope"}).status == 404
    assert running.status()["batch"]["id"] == batch


# Records that cannot be read.


def test_records_that_cannot_be_read_are_503_on_the_page_and_74_for_commands(running: Running) -> None:
    records = running.folder / "records.db"
    batch = running.ask("POST", "/api/v1/batch", {"formula": "two"}).document["batch"]
    assert running.ask("GET", f"/api/v1/batches/{batch}").status == 200
    for spoil in (spoilt_by_garbage, spoilt_by_a_folder, taken_away):
        for file in records.parent.glob("records.db*"):
            file.unlink()
        spoil(records)
        for path in ("/api/v1/batches", f"/api/v1/batches/{batch}"):
            is_unreadable(running.ask("GET", path), records)
        for command in (["list"], ["show", batch], ["export"], ["trace", "L1"], ["verify"], ["list", "--json"]):
            answer = called("batch", *command, "--config", running.settings)
            assert (answer.code, answer.out, len(answer.errors)) == (74, "", 1), command
            assert answer.err.startswith(f"{records}: ")
        assert running.ask("GET", "/api/v1/status").status == 200, "the weighing goes on"
        if records.is_dir():
            shutil.rmtree(records)


def is_unreadable(reply: Reply, records: Path) -> None:
    assert reply.status == 503
    assert reply.headers["content-type"] == "application/problem+json"
    assert int(reply.headers["retry-after"]) > 0
    assert reply.document["status"] == 503
    assert str(records.name) in reply.document["detail"]


def taken_away(records: Path) -> None:
    assert not records.exists()


def spoilt_by_garbage(records: Path) -> None:
    records.write_bytes(b"no database at all " * 500)


def spoilt_by_a_folder(records: Path) -> None:
    records.mkdir()
