"""Copies beside the records: a file a day once the day is over, the whole file once a month; what they prove."""

import json
import logging
import sqlite3
from datetime import date, timedelta

import pytest
from records_bakery import keep, plain_batch
from records_waiting import eventually

from scaled.batch.envelope import FIRST_CHAIN, chain_hash
from scaled.errors import RecordsUnusable
from scaled.records.copies import CopyKeeper, copy_days_before, copy_whole, folder_of_copies, marks
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader
from scaled.records.verification import verify

DAY_S = 86_400


@pytest.fixture
def three_days(journal, clock):
    """Two batches on each of 24, 25 and 26 November 2026."""
    for day in range(3):
        for _ in range(2):
            batch = journal.new_batch_id(clock.wall().date())
            keep(journal, batch, plain_batch(batch, at=1000.0 + DAY_S * day))
        clock.advance(DAY_S)
    return journal


def lines_of(file):
    return file.read_text().splitlines()


@pytest.mark.usefixtures("three_days")
def test_a_day_that_is_over_is_copied_as_lines_that_chain_on(path):
    written = copy_days_before(path, date(2026, 11, 26))
    assert [file.name for file in written] == ["2026-11-24.jsonl", "2026-11-25.jsonl"]
    before = FIRST_CHAIN
    for file in written:
        for line in lines_of(file):
            text, _, chain = line.rpartition(',"chain":"')
            before = chain_hash(before, text + "}")
            assert chain == f'{before}"}}'
    assert [line for file in written for line in lines_of(file)] == list(RecordsReader(path).lines())[:36]


@pytest.mark.usefixtures("three_days")
def test_nothing_new_writes_nothing(path):
    copy_days_before(path, date(2026, 11, 26))
    before = {file: file.stat().st_mtime_ns for file in folder_of_copies(path).iterdir()}
    assert copy_days_before(path, date(2026, 11, 26)) == []
    assert {file: file.stat().st_mtime_ns for file in folder_of_copies(path).iterdir()} == before


@pytest.mark.usefixtures("three_days")
def test_a_bench_that_was_off_for_days_catches_up(path):
    copy_days_before(path, date(2026, 11, 25))
    assert [f.name for f in copy_days_before(path, date(2026, 12, 5))] == ["2026-11-25.jsonl", "2026-11-26.jsonl"]
    assert [mark.sequence for mark in marks(path)] == [18, 36, 54]


def test_a_clock_that_is_set_back_adds_to_the_day_and_keeps_the_order(journal, path, clock):
    keep(journal, "a", plain_batch("a"))
    clock.advance(DAY_S)
    keep(journal, "b", plain_batch("b"))
    copy_days_before(path, date(2026, 11, 27))
    with Journal(path.with_name("other.db"), clock):
        pass
    clock._start_wall -= timedelta(days=1)
    keep(journal, "c", plain_batch("c"))
    (file,) = copy_days_before(path, date(2026, 11, 27))
    assert file.name == "2026-11-24.jsonl"
    assert [json.loads(line)["sequence"] for line in lines_of(file)] == [*range(1, 10), *range(19, 28)]
    assert copy_days_before(path, date(2026, 11, 27)) == []
    assert verify(path).is_sound


def test_an_end_that_was_cut_off_is_found_against_the_copies(three_days, path):
    """The chain alone cannot show that: what is left is whole."""
    copy_days_before(path, date(2026, 11, 27))
    three_days.close()
    db = sqlite3.connect(path)
    db.execute("DELETE FROM events WHERE sequence > 50")
    db.commit()
    db.close()
    verdict = verify(path)
    assert verdict.troubles == ("the end is missing: the copy 2026-11-26.jsonl goes to event 54",)
    assert verdict.first_bad == 51


def test_records_written_anew_are_found_against_the_copies(three_days, path):
    """Somebody changed a mass and made all hashes from there on anew."""
    copy_days_before(path, date(2026, 11, 26))
    three_days.close()
    db = sqlite3.connect(path)
    db.execute("UPDATE events SET text = replace(text, '60000', '61000') WHERE sequence = 5")
    chain = FIRST_CHAIN
    stored = [
        (json.loads(line)["sequence"], line.rpartition(',"chain":"')[0] + "}") for line in RecordsReader(path).lines()
    ]
    db.commit()
    stored = [
        (json.loads(line)["sequence"], line.rpartition(',"chain":"')[0] + "}") for line in RecordsReader(path).lines()
    ]
    for sequence, text in stored:
        chain = chain_hash(chain, text)
        db.execute("UPDATE events SET chain = ? WHERE sequence = ?", (chain, sequence))
    db.commit()
    db.close()
    verdict = verify(path)
    assert verdict.first_bad == 18
    assert "2026-11-24.jsonl: written anew" in verdict.troubles[0]


def test_a_new_bench_begins_new_lines(three_days, path, clock):
    copy_days_before(path, date(2026, 11, 27))
    three_days.close()
    path.unlink()
    with Journal(path, clock) as journal:
        keep(journal, "d", plain_batch("d"))
        (file,) = copy_days_before(path, date(2026, 11, 28))
        assert len(lines_of(file)) == 9
        assert verify(path).is_sound


@pytest.mark.usefixtures("three_days")
def test_the_whole_file_is_copied_once_a_month_and_two_are_kept(path):
    for month in (date(2026, 10, 1), date(2026, 11, 30), date(2026, 11, 12), date(2026, 12, 1)):
        copy_whole(path, month)
    kept = sorted(file.name for file in folder_of_copies(path).glob("*.db"))
    assert kept == ["2026-11.db", "2026-12.db"]
    copy = folder_of_copies(path) / "2026-12.db"
    assert verify(copy).events == verify(path).events == 54
    assert RecordsReader(copy).batches(None) == RecordsReader(path).batches(None)


def test_a_copy_can_be_gone_on_from(three_days, path, clock):
    """It is put in the place of lost records and the bench goes on."""
    copy = copy_whole(path, date(2026, 11, 26))
    three_days.close()
    copy.rename(path)
    with Journal(path, clock) as journal:
        keep(journal, "e", plain_batch("e"))
    assert verify(path).events == 63


@pytest.mark.usefixtures("three_days")
def test_a_copy_that_was_cut_off_leaves_nothing_that_counts(path):
    folder = folder_of_copies(path)
    folder.mkdir()
    (folder / "2026-11-24.jsonl.new").write_text("half a li")
    (folder / "2026-11.db.new").write_text("half")
    (folder / "1999-01-01.jsonl").write_text("not ours\n")
    copy_days_before(path, date(2026, 11, 26))
    copy_whole(path, date(2026, 11, 26))
    assert [mark.sequence for mark in marks(path)] == [18, 36]
    assert verify(folder / "2026-11.db").is_sound


@pytest.mark.usefixtures("three_days")
def test_a_folder_that_takes_no_copy_is_said(path):
    folder_of_copies(path).write_text("in the way")
    with pytest.raises(RecordsUnusable, match="cannot copy the events of a day"):
        copy_days_before(path, date(2026, 11, 26))
    assert verify(path).is_sound


@pytest.mark.usefixtures("three_days")
def test_the_keeper_copies_by_itself_and_tells_a_failure_once(path, clock, caplog):
    caplog.set_level(logging.WARNING)
    blocker = folder_of_copies(path)
    blocker.write_text("in the way")
    keeper = CopyKeeper(path, clock)
    keeper.start()
    eventually(lambda: caplog.records, "the failure is told")
    blocker.unlink()
    eventually((folder_of_copies(path) / "2026-11.db").exists, "the copies are made")
    keeper.stop()
    assert len(caplog.records) == 1
    assert [mark.sequence for mark in marks(path)] == [18, 36, 54]
