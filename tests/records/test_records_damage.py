"""Damaged records are kept bit for bit and never end in a traceback; a chain shows the first event that was changed."""

import os
import random
import shutil
import sqlite3
from datetime import date

import pytest
from records_bakery import keep, overpoured_batch, plain_batch

from scaled.batch.events import BatchHeld
from scaled.errors import RecordsUnusable, ScaledError
from scaled.records import examination
from scaled.records.database import RecordsDamaged, log_of
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader
from scaled.records.verification import verify

CASES = int(os.environ.get("SCALED_DAMAGE_CASES", "120"))  # 1000 at full size


@pytest.fixture
def written(path, clock):
    """Eleven batches, the last of them open, in a file that was closed."""
    with Journal(path, clock) as journal:
        for number in range(1, 11):
            batch = f"2026-11-24-{number:02d}"
            make = overpoured_batch if number % 3 == 0 else plain_batch
            keep(journal, batch, make(batch, at=1000.0 * number))
        keep(journal, "2026-11-24-11", plain_batch("2026-11-24-11", at=11_000.0, lots=[("butter", "B7")])[:8])
    return path


def everything_that_is_asked(reader):
    """Ask all there is to ask; what the records cannot answer must be a ScaledError."""
    answers = []
    for ask in (
        lambda: reader.batches(100),
        lambda: reader.record_json("2026-11-24-03"),
        lambda: list(reader.records()),
        lambda: list(reader.lines()),
        lambda: reader.trace("B7"),
        lambda: reader.ids_like("2026"),
        reader.open_batch,
        reader.verify,
    ):
        try:
            answers.append(ask())
        except ScaledError as error:
            assert "\n" not in str(error)
            answers.append(error)
    return answers


def overwritten(path, chance):
    """As a failing card or `dd` would: random bytes at a random place, a page of zeros, a cut end, a flipped bit."""
    size = path.stat().st_size
    kind = chance.choice(("random bytes", "page of zeros", "cut", "flipped bit", "swapped pages"))
    with path.open("r+b") as file:
        at = chance.randrange(size)
        if kind == "random bytes":
            file.seek(at)
            file.write(chance.randbytes(chance.choice((1, 16, 512, 4096))))
        elif kind == "page of zeros":
            file.seek(at // 1024 * 1024)
            file.write(bytes(1024))
        elif kind == "cut":
            file.truncate(at)
        elif kind == "flipped bit":
            file.seek(at)
            byte = file.read(1)[0]
            file.seek(at)
            file.write(bytes([byte ^ 1 << chance.randrange(8)]))
        else:
            other = chance.randrange(size) // 1024 * 1024
            file.seek(at // 1024 * 1024)
            one = file.read(1024)
            file.seek(other)
            two = file.read(1024)
            file.seek(at // 1024 * 1024)
            file.write(two)
            file.seek(other)
            file.write(one)
    return kind


@pytest.mark.parametrize("part", range(4))
def test_damage_of_any_kind_is_never_a_traceback_and_the_old_file_is_kept(written, clock, part):
    """Each time: what is damaged is either set aside as it was, or the journal goes on and `verify` tells the place."""
    whole = written.read_bytes()
    aside = alive = 0
    for case in range(part, CASES, 4):
        chance = random.Random(case)
        for left in written.parent.glob("records.db*"):
            left.unlink()
        written.write_bytes(whole)
        overwritten(written, chance)
        damaged = written.read_bytes()
        everything_that_is_asked(RecordsReader(written))
        assert written.read_bytes() == damaged, "reading must change nothing"
        try:
            journal = Journal(written, clock)
        except ScaledError as error:
            assert error.exit_code == 78, error  # damage that reads as a newer version
            assert written.read_bytes() == damaged
            continue
        with journal:
            kept = journal.set_aside
            assert all(file.read_bytes() == damaged for file in kept)
            aside += len(kept)
            is_appended = True
            try:
                journal.append("2026-11-25-01", plain_batch("2026-11-25-01")[0])
            except RecordsDamaged:
                is_appended = False
        alive += is_appended
        everything_that_is_asked(RecordsReader(written))
        if kept:
            assert verify(written).is_sound
    assert aside > CASES / 16, "the damage done was too kind to mean anything"
    assert alive > CASES / 16


def test_a_file_that_is_no_database_is_set_aside_with_its_log(path, clock):
    path.write_bytes(b"flour" * 1000)
    log_of(path).write_bytes(b"log")
    with Journal(path, clock) as journal:
        (kept,) = journal.set_aside
        assert kept.name == "records.db.corrupt-20261124T043000"
        assert kept.read_bytes() == b"flour" * 1000
        assert log_of(kept).read_bytes() == b"log"
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    assert verify(path).is_sound


def test_damaged_records_are_named_at_each_start_until_they_are_moved_away(path, clock):
    path.write_bytes(b"flour" * 1000)
    for _ in range(2):
        with Journal(path, clock) as journal:
            assert [p.name for p in journal.set_aside] == ["records.db.corrupt-20261124T043000"]
    journal.set_aside[0].unlink()
    with Journal(path, clock) as journal:
        assert journal.set_aside == ()


def test_two_damaged_files_in_one_second_are_both_kept(path, clock):
    for content in (b"flour" * 1000, b"sugar" * 1000):
        path.write_bytes(content)
        Journal(path, clock).close()
    kept = sorted(p.read_bytes() for p in examination.files_set_aside(path))
    assert kept == [b"flour" * 1000, b"sugar" * 1000]


def test_a_schema_that_is_no_text_any_more_is_damage(written, clock):
    """SQLite quotes it in its error, which Python then cannot decode."""
    content = written.read_bytes().replace(b"tablelotslots", b"tablel\xcbtsl\xcbts")
    written.write_bytes(content.replace(b"CREATE TABLE lots", b"CREATE TABBE lots"))
    with pytest.raises(RecordsDamaged):
        RecordsReader(written).batches(5)
    with Journal(written, clock) as journal:
        assert len(journal.set_aside) == 1


def test_a_log_without_its_file_never_reaches_the_new_one(written, clock):
    with Journal(written, clock) as journal:
        journal.append("2026-11-24-11", BatchHeld(12_000.0))
        shutil.copy(log_of(written), written.with_name("kept-log"))
    written.unlink()
    shutil.move(written.with_name("kept-log"), log_of(written))
    with Journal(written, clock) as journal:
        assert journal.is_new
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    assert verify(written).batches == 1


def test_a_new_file_after_damage_is_another_bench(written, clock):
    """An event's identity is (bench, sequence): a second event 1 needs another bench."""
    with Journal(written, clock) as journal:
        before = journal.bench
    written.write_bytes(b"flour" * 1000)
    with Journal(written, clock) as journal:
        assert journal.bench != before


def test_the_open_batch_of_a_damaged_file_goes_on_in_the_new_one(written, clock):
    """Old pages are damaged; what is on the bench this minute can still be read, and its hashes hold."""
    events = [envelope.event for envelope in RecordsReader(written).open_batch()]
    with written.open("r+b") as file:
        file.seek(written.read_bytes().index(b'"sequence":30,') // 1024 * 1024)
        file.write(os.urandom(1024))
    with Journal(written, clock) as journal:
        assert len(journal.set_aside) == 1
        assert [envelope.event for envelope in journal.open_batch()] == events
        assert journal.new_batch_id(date(2026, 11, 24)) == "2026-11-24-12"
        journal.append("2026-11-24-11", BatchHeld(12_000.0))
    assert verify(written).is_sound
    assert [p.name for p in written.parent.glob("*.corrupt-*-shm")] == []


def test_a_journal_that_is_abandoned_leaves_its_file_and_log_as_they_were(written, clock):
    journal = Journal(written, clock)
    journal.append("2026-11-24-11", BatchHeld(12_000.0))
    before = written.read_bytes(), log_of(written).read_bytes()
    journal.abandon()
    (kept,) = examination.files_set_aside(written)
    assert (kept.read_bytes(), log_of(kept).read_bytes()) == before
    assert not written.exists()
    assert not log_of(written).exists()
    assert RecordsReader(kept).open_batch()[-1].event == BatchHeld(12_000.0)


def test_one_shot_questions_say_that_a_file_is_unreadable(path):
    with pytest.raises(RecordsUnusable, match="there are no records yet") as missing:
        RecordsReader(path).batches(5)
    path.write_bytes(b"flour" * 1000)
    with pytest.raises(RecordsUnusable, match="the file is damaged") as damaged:
        RecordsReader(path).batches(5)
    assert (missing.value.exit_code, damaged.value.exit_code) == (74, 74)


# --- the chain


def tampered(path, *statements):
    db = sqlite3.connect(path)
    for statement in statements:
        db.execute(statement)
    db.commit()
    db.close()


def test_untouched_records_verify(written):
    verdict = verify(written)
    assert verdict.is_sound
    assert (verdict.batches, verdict.first_bad, verdict.troubles) == (11, None, ())
    assert verdict.events == len(list(RecordsReader(written).lines()))
    assert verdict.last_chain == RecordsReader(written).open_batch()[-1].chain


@pytest.mark.parametrize(
    ("what", "statement", "first_bad", "said"),
    [
        ("a mass", "UPDATE events SET text = replace(text, '300000', '299000') WHERE sequence = 3", 3, "not what was"),
        ("a time", "UPDATE events SET text = replace(text, 'T04:30', 'T04:31') WHERE sequence = 7", 7, "not what was"),
        ("one event taken out", "DELETE FROM events WHERE sequence = 20", 20, "event 20 missing"),
        ("several taken out", "DELETE FROM events WHERE sequence IN (4, 5, 6)", 4, "events 4 to 6 missing"),
        ("the first taken out", "DELETE FROM events WHERE sequence = 1", 1, "event 1 missing"),
        ("a hash", "UPDATE events SET chain = upper(chain) WHERE sequence = 9", 9, "not what was written"),
        ("a formula", "UPDATE formulas SET text = replace(text, '\"4\"', '\"5\"')", 1, "not what was written"),
        ("a formula taken out", "DELETE FROM formulas", 1, "event 1 misses its formula"),
    ],
)
def test_a_change_is_found_at_its_place(written, what, statement, first_bad, said):
    tampered(written, statement)
    verdict = verify(written)
    assert (verdict.is_sound, verdict.first_bad) == (False, first_bad), what
    assert said in verdict.troubles[0]
    assert verdict.events == first_bad - 1


def test_two_events_that_changed_places_are_found(written):
    swap = "UPDATE events SET sequence = {} WHERE sequence = {}"
    tampered(written, swap.format(-1, 8), swap.format(8, 9), swap.format(9, -1))
    assert verify(written).first_bad == 8


def test_an_event_put_in_at_the_end_is_found(written):
    last = verify(written).events
    tampered(written, f"INSERT INTO events SELECT {last + 1}, batch, NULL, text, chain FROM events WHERE sequence = 5")
    assert verify(written).first_bad == last + 1


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DELETE FROM lots", "table of lots"),
        ("UPDATE batches SET id = '2026-11-24-99' WHERE number = 4", "table of batches"),
        ("UPDATE bench SET id = 'other'", "table of the bench"),
    ],
)
def test_a_change_of_the_tables_that_look_up_is_found(written, statement, said):
    tampered(written, statement)
    verdict = verify(written)
    assert verdict.first_bad is None
    assert said in verdict.troubles[0]


def test_an_event_of_the_newest_batch_that_was_changed_is_not_gone_on_from(written, clock):
    last = verify(written).events
    tampered(written, f"UPDATE events SET text = replace(text, 'lot', 'Lot') WHERE sequence = {last}")
    with Journal(written, clock) as journal:
        assert len(journal.set_aside) == 1
        assert journal.open_batch() == []


def test_old_damage_that_leaves_the_pages_sound_stops_no_bench(written, clock):
    """A start looks at what it goes on from; `verify` finds the rest."""
    tampered(written, "UPDATE events SET text = 'x' WHERE sequence = 2")
    with Journal(written, clock) as journal:
        assert journal.set_aside == ()
        journal.append("2026-11-24-11", BatchHeld(12_000.0))
    assert verify(written).first_bad == 2
