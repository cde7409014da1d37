"""`scaled replay` on traces that somebody draws by hand: 3 to 80 lines a second, perfect steps, perfect rests.

No real scale is so clean, and each of these once was weighed late, wrongly or never.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from contract_command import called
from contract_drawn import Drawn

FOUR = """formula: Drawn
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g}
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, comes out: no}
"""
MASSES = (240.0, 3.0, 220.0, 50.0)


def replayed(drawn: Drawn, folder: Path, *said: str, formula: str = FOUR, **written: Any) -> Any:
    (folder / "formula.yaml").write_text(formula, encoding="utf-8")
    trace = drawn.write(folder / "trace.csv", **written)
    answer = called("replay", trace, "--formula", folder / "formula.yaml", "--json", *said)
    assert (answer.code, answer.err) == (0, "")
    return answer.document


def actual(record: Any) -> list[float | None]:
    return [line["actual_g"] for line in record["additions"]]


@pytest.mark.parametrize("repeats", [1, 2, 3, 4])
@pytest.mark.parametrize("rate", [5, 10, 20, 40, 50, 80])
def test_whatever_the_rate_and_however_often_a_value_is_sent(rate: int, repeats: int, tmp_path: Path) -> None:
    drawn = Drawn(rate).rest(2).put(812).rest(4)
    stopped = []
    for mass in MASSES:
        drawn.pour(mass, min(20, mass))
        stopped.append(drawn.now)
        drawn.rest(4)
    record = replayed(drawn, tmp_path, repeats=repeats)
    assert (record["state"], record["corrections"], actual(record)) == ("complete", [], list(MASSES))
    late = [line["settled_at_s"] - at for line, at in zip(record["additions"], stopped, strict=True)]
    assert all(0 <= one <= 1 + 3 * repeats / rate for one in late), late


@pytest.mark.parametrize("rate", [5, 10, 20, 40, 80])
def test_an_egg_is_there_from_one_line_to_the_next_where_all_else_was_poured(rate: int, tmp_path: Path) -> None:
    """However fast the egg came: no key of a scale leads from one load to a larger one."""
    drawn = Drawn(rate, load=350).rest(3)
    for mass, pieces in zip(MASSES, (4, 2, 4, 1), strict=True):
        for _ in range(pieces):
            drawn.pour(mass / pieces, mass / pieces * 4).rest(0.7) if pieces > 1 else drawn.put(mass)
        drawn.rest(4)
    record = replayed(drawn, tmp_path)
    assert (record["state"], actual(record)) == ("complete", list(MASSES))


@pytest.mark.parametrize("spoonfuls", [1, 2, 3])
@pytest.mark.parametrize("rate", [5, 10, 40])
def test_what_is_spooned_back_into_the_band_is_accepted_without_an_answer(
    rate: int, spoonfuls: int, tmp_path: Path
) -> None:
    """Also where nothing was to come out: the cook of the trace did not take what was offered."""
    drawn = Drawn(rate, load=350).rest(3)
    for mass in (*MASSES[:3], 57):
        drawn.pour(mass, min(40, mass)).rest(4)
    for _ in range(spoonfuls):
        drawn.pour(-7 / spoonfuls, 10).rest(0.5)
    record = replayed(drawn.rest(5), tmp_path)
    assert (record["state"], record["corrections"], record["factor"]) == ("complete", [], 1)
    assert (actual(record), record["additions"][3]["topups"]) == (list(MASSES), [])


def test_times_may_be_seconds_since_1970(tmp_path: Path) -> None:
    drawn = Drawn(10, load=350).rest(3)
    for mass in MASSES:
        drawn.put(mass).rest(4)
    rows = drawn.write(tmp_path / "early.csv").read_text(encoding="utf-8").splitlines()[1:]
    began_s = 1_790_000_000
    late = [f"{began_s + float(at):.3f},{grams}" for at, grams in (row.split(",") for row in rows)]
    (tmp_path / "late.csv").write_text("\n".join(["t_s,grams", *late]), encoding="utf-8")
    (tmp_path / "formula.yaml").write_text(FOUR, encoding="utf-8")
    answer = called("replay", tmp_path / "late.csv", "--formula", tmp_path / "formula.yaml", "--json")
    assert (answer.code, answer.err) == (0, "")
    began = datetime.fromisoformat(answer.document["started"])
    assert (answer.document["state"], began) == ("complete", datetime(1970, 1, 1, tzinfo=UTC) + timedelta(0, began_s))


@pytest.mark.parametrize("cell", ["1_000", "٣", "1e999999999999", "0x10", "1,5", "nan", "-inf", "1 0", "--1", ""])
def test_what_is_no_mass_is_told_with_its_place(cell: str, tmp_path: Path) -> None:
    (tmp_path / "trace.csv").write_text(f"t_s,grams\n0.0,1.0\n0.1,{cell}\n", encoding="utf-8")
    answer = called("replay", tmp_path / "trace.csv", "--signal")
    assert (answer.code, answer.out, len(answer.errors)) == (2, "", 1)
    assert f"{tmp_path / 'trace.csv'}:3:" in answer.err


@pytest.mark.parametrize("rate", [5, 10, 40])
@pytest.mark.parametrize("tared_in", [0, 1, 2, 3])
def test_the_tare_key_is_known_by_what_is_poured_after_it(rate: int, tared_in: int, tmp_path: Path) -> None:
    """A bowl that is there from one line to the next, and a key that takes it away the same way."""
    drawn = Drawn(rate).rest(2).put(812).rest(4)
    for index, mass in enumerate(MASSES[:3]):
        if index == tared_in:
            drawn.tare().rest(3)
        drawn.pour(mass, min(20, mass)).rest(4)
    if tared_in == 3:
        drawn.pour(25, 20).rest(3).tare().rest(3).pour(25, 20)
    else:
        drawn.put(50)
    record = replayed(drawn.rest(4), tmp_path)
    assert (record["state"], record["corrections"], actual(record)) == ("complete", [], list(MASSES))


@pytest.mark.parametrize("rate", [5, 10, 40])
def test_a_bowl_that_is_lifted_and_put_back_is_no_key(rate: int, tmp_path: Path) -> None:
    drawn = Drawn(rate).rest(2).put(812).rest(4)
    for mass in MASSES[:3]:
        load = drawn.pour(mass, min(20, mass)).rest(4).load
        drawn.put(-load).rest(4).put(load).rest(3)
    record = replayed(drawn.put(50).rest(4), tmp_path)
    assert (record["state"], record["corrections"], actual(record)) == ("complete", [], list(MASSES))


def test_a_key_that_was_known_late_is_told_once(tmp_path: Path) -> None:
    drawn = Drawn(10).rest(2).put(812).rest(4).pour(240, 20).rest(4).tare().rest(3).pour(220, 20).rest(4)
    answer = called("replay", drawn.put(-1272).rest(4).write(tmp_path / "trace.csv"), "--signal", "--json")
    happened = answer.document["happened"]
    assert [thing["what"] for thing in happened] == ["vessel on", "addition", "re-zeroed", "addition", "vessel off"]
    changes = [thing["change_g"] for thing in happened]
    assert changes == pytest.approx([812, 240, -1052, 220, -1272], abs=0.1)


@pytest.mark.parametrize("mass", [5, 8, 30])
def test_a_spoon_on_the_bare_plate_while_the_bowl_is_off_makes_no_key_of_the_lift(mass: float, tmp_path: Path) -> None:
    drawn = Drawn(10).rest(2).put(812).rest(4).put(240).rest(4).put(3).rest(4)
    drawn.put(-1055).rest(3).put(mass).rest(3).put(-mass).rest(1).put(1055).rest(4)
    record = replayed(drawn.put(220).rest(4).put(50).rest(4), tmp_path)
    assert (record["state"], record["corrections"], actual(record)) == ("complete", [], list(MASSES))


@pytest.mark.parametrize("pause_s", [0.8, 1.0, 1.2, 1.6])
def test_what_is_spooned_out_just_before_the_tare_key_is_told_once(pause_s: float, tmp_path: Path) -> None:
    drawn = Drawn(10).rest(2).put(812).rest(4).pour(240, 20).rest(4).put(-20).rest(pause_s).tare().rest(3)
    answer = called("replay", drawn.pour(220, 20).rest(4).write(tmp_path / "trace.csv"), "--signal", "--json")
    told = [(thing["what"], thing["change_g"]) for thing in answer.document["happened"]]
    assert sum(change for _, change in told) == pytest.approx(220, abs=0.3), told
    assert ("re-zeroed", pytest.approx(-1032, abs=0.2)) in told


@pytest.mark.parametrize("rate", [5, 10, 20, 50])
@pytest.mark.parametrize("noise", [0.01, 0.03, 0.05])
@pytest.mark.parametrize("decimals", [2, 3])
def test_digits_finer_than_the_noise(decimals: int, noise: float, rate: int, tmp_path: Path) -> None:
    """A change by the last digit is none there: nothing could ever prove that there was none."""
    drawn = Drawn(rate, division=10**-decimals).rest(3).put(812).rest(5)
    stopped = []
    for mass in (240, 3.2, 220):
        drawn.pour(mass, min(30, mass))
        stopped.append(drawn.now)
        drawn.rest(5)
    stopped.append(drawn.put(57).now)
    drawn.rest(5)
    for mass in (28.2, 25.9):
        drawn.pour(mass, 15).rest(5)
    record = replayed(drawn, tmp_path, decimals=decimals, noise=noise)
    assert (record["state"], [one["offer"] for one in record["corrections"]]) == ("complete", ["scale up, least"])
    assert actual(record) == pytest.approx([268.2, 3.2, 245.9, 57], abs=2 * noise)
    assert [len(line["topups"]) for line in record["additions"]] == [1, 0, 1, 0]
    late = [
        line["settled_at_s"] - at for line, at in zip(record["additions"], stopped, strict=True) if not line["topups"]
    ]
    assert all(0 <= one <= 2.5 for one in late), late
