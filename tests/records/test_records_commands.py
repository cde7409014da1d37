"""`scaled batch`: what a cook, an inspector and a script ask, and what they are told where it cannot be answered."""

import csv
import io
import json
import os
import sqlite3
import subprocess
import sys

import pytest
from records_bakery import keep, overpoured_batch, plain_batch, short_dough

from scaled import cli
from scaled.batch.envelope import FIRST_CHAIN, chain_hash
from scaled.records.journal import Journal

SETTINGS = """
scales: [{name: bench, port: /dev/nowhere, line: plain}]
formulas: .
records: records.db
"""


@pytest.fixture
def ask(tmp_path, capsys, monkeypatch):
    """Run a command with the settings of this folder: exit code, standard output, standard error."""
    (tmp_path / "scaled.yaml").write_text(SETTINGS)
    monkeypatch.setenv("SCALED_CONFIG", str(tmp_path / "scaled.yaml"))

    def run(*arguments):
        code = cli.main(["batch", *arguments])
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return code, told.out, told.err

    return run


@pytest.fixture
def three_batches(path, clock, ask):
    """Two are complete, one of them overpoured; the third is open, and the writer has the records."""
    with Journal(path, clock) as journal:
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01", lots=[("butter", "B-77")]))
        clock.advance(1800)
        keep(journal, "2026-11-24-02", overpoured_batch("2026-11-24-02", at=3000.0))
        clock.advance(1800)
        keep(journal, "2026-11-25-01", plain_batch("2026-11-25-01", at=5000.0)[:4])
        yield ask


def test_list_shows_the_newest_first_while_the_daemon_writes(three_batches):
    code, out, err = three_batches("list")
    assert code == 0
    assert out.splitlines() == [
        "batch          state     formula                    began                ended",
        "2026-11-25-01  running   Oat and honey short dough  2026-11-24 05:30:00  -",
        "2026-11-24-02  complete  Oat and honey short dough  2026-11-24 05:00:00  2026-11-24 05:00:00",
        "2026-11-24-01  complete  Oat and honey short dough  2026-11-24 04:30:00  2026-11-24 04:30:00",
    ]
    assert err == ""


def test_list_says_that_there_are_more(three_batches):
    code, out, err = three_batches("list", "--most", "1")
    assert (code, len(out.splitlines())) == (0, 2)
    assert err == "the newest 1 of 3; --most 0 lists all\n"
    assert len(three_batches("list", "--most", "0")[1].splitlines()) == 4


def test_list_as_json(three_batches):
    code, out, err = three_batches("list", "--json")
    lines = json.loads(out)
    assert (code, err) == (0, "")
    assert lines[0] == {
        "batch": "2026-11-25-01",
        "formula": "oat-honey",
        "title": "Oat and honey short dough",
        "state": "running",
        "started": "2026-11-24T05:30:00.000+00:00",
        "ended": None,
    }


def test_show_as_json_is_the_record_of_the_contract(three_batches):
    code, out, _ = three_batches("show", "2026-11-24-02", "--json")
    record = json.loads(out)
    assert code == 0
    assert list(record) == [
        "batch",
        "formula",
        "title",
        "state",
        "factor",
        "factor_exact",
        "started",
        "ended",
        "scale",
        "additions",
        "corrections",
        "events",
        "chain",
    ]
    assert record["corrections"] == [{"after": "whole egg", "offer": "scale up, exact", "factor": 1.14}]


def test_show_tells_what_went_in(three_batches):
    code, out, _ = three_batches("show", "2026-11-24-01")
    assert code == 0
    assert "butter          200.0     200.0" in out
    assert "lot of butter (creamed): B-77" in out
    assert "began 2026-11-24 04:30:00" in out
    assert "on scale bench" in out


@pytest.mark.parametrize("beginning", ["2026-11-25-01", "2026-11-25", " 2026-11-25 "])
def test_a_beginning_that_fits_only_one_is_enough(three_batches, beginning):
    code, out, _ = three_batches("show", beginning, "--json")
    assert (code, json.loads(out)["batch"]) == (0, "2026-11-25-01")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("2026-11-24", "fits several batches: 2026-11-24-01, 2026-11-24-02"),
        ("1999", "no batch begins with '1999': the newest are 2026-11-25-01, 2026-11-24-02, 2026-11-24-01"),
        ("", "no batch begins with ''"),
    ],
)
def test_an_id_that_fits_several_or_none_is_wrong_usage_with_names(three_batches, given, said):
    code, out, err = three_batches("show", given)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def test_export_writes_a_row_an_addition(three_batches):
    code, out, err = three_batches("export")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert (code, err) == (0, "")
    assert len(rows) == 3 * 6
    butter = rows[3]
    assert (butter["batch"], butter["ingredient"], butter["lot"]) == ("2026-11-24-01", "butter", "B-77")
    assert (float(butter["target_g"]), float(butter["actual_g"])) == (200.0, 200.0)
    assert (float(butter["band_lo_g"]), float(butter["band_hi_g"]), butter["in_tolerance"]) == (198.0, 202.0, "yes")
    flour = next(row for row in rows if row["batch"] == "2026-11-24-02")
    assert (float(flour["topped_up_g"]), float(flour["factor"])) == (42.0, 1.14)
    zest = rows[5]
    assert (zest["ingredient"], zest["actual_g"], zest["in_tolerance"]) == ("lemon zest", "", "")


def test_export_of_events_can_be_checked_without_this_program(three_batches):
    code, out, _ = three_batches("export", "--format", "jsonl")
    before = FIRST_CHAIN
    for number, line in enumerate(out.splitlines(), 1):
        text, _, chain = line.rpartition(',"chain":"')
        before = chain_hash(before, text + "}")
        assert json.loads(line)["sequence"] == number
        assert chain == f'{before}"}}'
    assert (code, number) == (0, 9 + 1 + 13 + 4)


def test_export_as_json_is_one_document(three_batches):
    code, out, _ = three_batches("export", "--json")
    assert code == 0
    assert [record["batch"] for record in json.loads(out)] == ["2026-11-24-01", "2026-11-24-02", "2026-11-25-01"]
    assert three_batches("export", "--json", "--format", "csv")[0] == 2
    assert three_batches("export", "--format", "xml")[0] == 2


@pytest.mark.parametrize("evil", ['=HYPERLINK("http://x")', "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_no_text_from_outside_becomes_a_formula_of_a_spreadsheet(path, clock, ask, evil):
    """OWASP, CSV Injection: cells that begin with = + - @ tab or a line end are computed by spreadsheets."""
    with Journal(path, clock) as journal:
        formula = short_dough(title=evil)
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01", lots=[("butter", evil)], formula=formula))
    _, out, _ = ask("export")
    butter = list(csv.DictReader(io.StringIO(out, newline="")))[3]
    assert butter["title"] == f"'{evil}"
    assert butter["lot"].startswith("'")
    assert butter["lot"].lstrip("'") == evil
    assert float(butter["actual_g"]) == 200.0


def test_text_from_outside_does_not_steer_a_terminal(path, clock, ask):
    with Journal(path, clock) as journal:
        formula = short_dough(title="\x1b[2Jshort dough")
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01", lots=[("butter", "\x1b]0;B-77")], formula=formula))
    for arguments in (("list",), ("show", "2026"), ("trace", "\x1b]0;B-77"), ("trace", "\x1b")):
        _, out, err = ask(*arguments)
        assert "\x1b" not in out + err


def test_trace_says_into_which_batches_a_lot_went(three_batches):
    code, out, _ = three_batches("trace", "b-77")
    assert code == 0
    assert out.splitlines()[1:] == ["2026-11-24-01  2026-11-24 04:30:00  Oat and honey short dough  butter"]
    code, out, _ = three_batches("trace", "B-77", "--json")
    assert json.loads(out) == {
        "lot": "B-77",
        "batches": [
            {
                "batch": "2026-11-24-01",
                "formula": "oat-honey",
                "title": "Oat and honey short dough",
                "started": "2026-11-24T04:30:00.000+00:00",
                "addition": "butter",
            }
        ],
    }


def test_a_lot_that_nobody_named_is_said_with_those_like_it(three_batches):
    assert three_batches("trace", "B-7") == (0, "", "no batch names the lot 'B-7': there are B-77\n")
    code, out, _ = three_batches("trace", "Z", "--json")
    assert (code, json.loads(out)) == (0, {"lot": "Z", "batches": []})
    assert three_batches("trace", " ")[0] == 2


def test_verify_says_what_was_checked(three_batches):
    code, out, _ = three_batches("verify")
    assert code == 0
    assert "27 events of 3 batches are what was written" in out
    assert "All is well" in out
    code, out, _ = three_batches("verify", "--json")
    verdict = json.loads(out)
    assert (code, verdict["sound"], verdict["events"], verdict["batches"]) == (0, True, 27, 3)


def test_verify_names_the_first_bad_event(path, clock, ask):
    with Journal(path, clock) as journal:
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    db = sqlite3.connect(path)
    db.execute("UPDATE events SET text = replace(text, '60000', '61000') WHERE sequence = 5")
    db.commit()
    db.close()
    code, out, _ = ask("verify")
    assert code == 1
    assert "4 events of 1 batches are what was written" in out
    assert "the first bad event is 5" in out
    assert "TROUBLE: event 5 is not what was written" in out
    code, out, _ = ask("verify", "--json")
    assert (code, json.loads(out)["first_bad"]) == (1, 5)


QUESTIONS = [("list",), ("show", "1"), ("export",), ("export", "--format", "jsonl"), ("trace", "B"), ("verify",)]


@pytest.mark.parametrize("question", QUESTIONS)
def test_records_that_are_not_there_or_unreadable_are_74(path, ask, question):
    code, out, err = ask(*question)
    assert (code, out) == (74, "")
    assert "there are no records yet" in err
    path.write_bytes(b"flour" * 1000)
    code, _, err = ask(*question)
    assert code == 74
    assert "the file is damaged" in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize("question", QUESTIONS)
def test_settings_that_are_not_there_are_78(ask, tmp_path, question):
    code, out, _ = ask(*question, "--config", str(tmp_path / "nowhere.yaml"))
    assert (code, out) == (78, "")


def test_no_batch_yet_is_no_error(path, clock, ask):
    Journal(path, clock).close()
    assert ask("list") == (0, "", "no batch has been recorded yet\n")
    assert json.loads(ask("list", "--json")[1]) == []
    assert json.loads(ask("export", "--json")[1]) == []
    assert "0 events of 0 batches" in ask("verify")[1]
    assert ask("show", "2026")[0] == 2


def test_a_pipe_that_closes_early_is_no_trouble(three_batches, tmp_path):
    """`scaled batch export | head -1`"""
    environment = dict(os.environ, SCALED_CONFIG=str(tmp_path / "scaled.yaml"))
    command = f"{sys.executable} -m scaled batch export --format jsonl | head -1"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, env=environment, check=True)
    assert (json.loads(done.stdout)["sequence"], done.stderr) == (1, "")
    assert three_batches("list")[0] == 0
