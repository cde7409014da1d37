"""What is appended is on disk, in order, chained; one writer; a file that is not sound is kept and replaced."""

import hashlib
import json
import os
import sqlite3
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest
from records_bakery import keep, overpoured_batch, plain_batch, short_dough

from scaled.batch.envelope import FIRST_CHAIN, canonical_json, chain_hash
from scaled.batch.events import BatchAborted, BatchCompleted, BatchHeld, LotNamed, VesselTared
from scaled.clock import ManualClock
from scaled.errors import Busy, RecordsUnusable, WrongSettings
from scaled.records.database import RecordsMoved, assert_durable, open_for_reading
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader


def test_an_envelope_says_who_when_and_in_which_order(journal, clock):
    first, second = keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01")[:2])
    assert (first.bench, first.sequence, second.sequence) == (journal.bench, 1, 2)
    assert (first.batch, first.boot, first.wall) == ("2026-11-24-01", "first boot", clock.wall_iso())
    assert first.wall == "2026-11-24T04:30:00.000+00:00"


def test_the_chain_is_sha256_over_the_hash_before_and_the_canonical_json(journal):
    """FIPS 180-4 through hashlib, put together here by hand."""
    envelopes = keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    assert envelopes[0].chain == chain_hash(FIRST_CHAIN, canonical_json(envelopes[0]))
    for before, after in pairwise(envelopes):
        text = canonical_json(after)
        assert after.chain == hashlib.sha256(before.chain.encode() + b"\n" + text.encode()).hexdigest()


def test_what_is_read_back_is_what_was_appended(journal, path):
    appended = keep(journal, "2026-11-24-01", overpoured_batch("2026-11-24-01"))
    assert RecordsReader(path).envelopes("2026-11-24-01") == appended


def test_a_restart_goes_on_with_bench_sequence_and_chain(path, clock):
    events = plain_batch("2026-11-24-01")
    with Journal(path, clock) as journal:
        before = keep(journal, "2026-11-24-01", events[:4])
        bench = journal.bench
    with Journal(path, clock) as journal:
        assert journal.bench == bench
        after = keep(journal, "2026-11-24-01", events[4:])
    assert after[0].sequence == 5
    assert after[0].chain == chain_hash(before[-1].chain, canonical_json(after[0]))
    assert RecordsReader(path).verify().is_sound


def test_two_benches_have_two_ids(tmp_path, clock):
    with Journal(tmp_path / "a.db", clock) as one, Journal(tmp_path / "b.db", clock) as other:
        assert one.bench != other.bench


def test_several_events_are_recorded_together_or_not_at_all(journal, path):
    drafts = [journal.draft("2026-11-24-01", event) for event in plain_batch("2026-11-24-01")]
    not_a_number = journal.draft("2026-11-24-01", VesselTared(float("nan"), 0))
    with pytest.raises(ValueError, match="JSON"):
        journal.append_all([*drafts, not_a_number])
    assert RecordsReader(path).envelopes("2026-11-24-01") == []
    assert [e.sequence for e in journal.append_all(drafts)] == list(range(1, len(drafts) + 1))
    assert RecordsReader(path).verify().is_sound


def test_the_connection_is_what_survives_a_power_cut(journal):
    """WAL with synchronous=FULL (2): https://www.sqlite.org/pragma.html#pragma_synchronous."""
    ask = {name: journal._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")}
    assert ask == {"journal_mode": "wal", "synchronous": 2}
    assert journal._db.execute("PRAGMA page_size").fetchone()[0] == 1024
    assert journal._db.execute("PRAGMA mmap_size").fetchone()[0] == 0


def test_a_file_that_keeps_no_log_is_refused(path):
    """A database in memory takes no write-ahead log, as one on a network share does not."""
    db = sqlite3.connect(":memory:")
    with pytest.raises(RecordsUnusable, match=r"would not outlive a power cut.*journal mode memory"):
        assert_durable(db, path)
    db.close()


def test_a_connection_that_does_not_sync_each_commit_is_refused(journal, path):
    """NORMAL is 1: https://www.sqlite.org/pragma.html#pragma_synchronous."""
    journal._db.execute("PRAGMA synchronous = NORMAL")
    with pytest.raises(RecordsUnusable, match=r"would not outlive a power cut.*synchronous 1"):
        assert_durable(journal._db, path)


def test_a_reading_connection_cannot_write(journal):
    db = open_for_reading(journal.path)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        db.execute("DELETE FROM events")
    db.close()


def test_a_formula_is_kept_once_for_all_batches_that_begin_with_it(journal):
    for number in range(1, 6):
        batch = f"2026-11-24-{number:02d}"
        keep(journal, batch, plain_batch(batch))
    keep(journal, "2026-11-24-06", plain_batch("2026-11-24-06", formula=short_dough(title="Oat, by hand")))
    kept = journal._db.execute("SELECT hash, text FROM formulas").fetchall()
    assert len(kept) == 2
    assert all(hashlib.sha256(text.encode()).hexdigest() == digest for digest, text in kept)
    assert journal._db.execute("SELECT count(*) FROM events WHERE length(text) > 1000").fetchone() == (0,)


def test_ids_count_the_batches_of_a_day(journal):
    day, next_day = date(2026, 11, 24), date(2026, 11, 25)
    ids = [journal.new_batch_id(day), journal.new_batch_id(day), journal.new_batch_id(next_day)]
    assert ids == ["2026-11-24-01", "2026-11-24-02", "2026-11-25-01"]


def test_ids_go_on_after_a_restart_and_past_a_hundred(path, clock):
    day = date(2026, 11, 24)
    with Journal(path, clock) as journal:
        ids = [journal.new_batch_id(day) for _ in range(101)]
        for batch in (ids[98], ids[100]):
            keep(journal, batch, plain_batch(batch))
    with Journal(path, clock) as journal:
        assert journal.new_batch_id(day) == "2026-11-24-102"


def test_a_day_that_comes_twice_is_counted_on(path):
    """A machine without a clock of its own starts each time in the same night."""
    for expected in ("1970-01-01-01", "1970-01-01-02"):
        clock = ManualClock()
        with Journal(path, clock) as journal:
            batch = journal.new_batch_id(clock.wall().date())
            assert batch == expected
            keep(journal, batch, plain_batch(batch))


def test_the_open_batch_is_the_one_that_nobody_ended(journal):
    assert journal.open_batch() == []
    events = plain_batch("2026-11-24-01")
    appended = keep(journal, "2026-11-24-01", [*events[:4], BatchHeld(1100.0)])
    assert journal.open_batch() == appended
    journal.append("2026-11-24-01", BatchCompleted(1200.0))
    assert journal.open_batch() == []
    keep(journal, "2026-11-24-02", [*plain_batch("2026-11-24-02", at=2000.0)[:1], BatchAborted(2010.0)])
    assert journal.open_batch() == []


def test_a_lot_named_afterwards_opens_no_batch(journal):
    keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    journal.append("2026-11-24-01", LotNamed(5000.0, "butter", "B7"))
    assert journal.open_batch() == []


def test_a_second_writer_is_turned_away_and_the_first_undisturbed(journal, path, clock):
    with pytest.raises(Busy, match=r"process \d+ writes these records") as refused:
        Journal(path, clock)
    assert refused.value.exit_code == 75
    assert journal.append("2026-11-24-01", plain_batch("2026-11-24-01")[0]).sequence == 1
    journal.close()
    journal.close()
    Journal(path, clock).close()


def test_a_newer_version_is_refused_and_its_file_untouched(path, clock):
    Journal(path, clock).close()
    db = sqlite3.connect(path)
    db.execute("PRAGMA user_version = 2")
    db.execute("UPDATE bench SET program = '9.9'")
    db.commit()
    db.close()
    before = path.read_bytes()
    with pytest.raises(WrongSettings, match=r"version 9\.9 of scaled wrote these records") as refused:
        Journal(path, clock)
    assert refused.value.exit_code == 78
    assert path.read_bytes() == before
    with pytest.raises(WrongSettings):
        RecordsReader(path).batches(5)


def test_events_of_an_unknown_form_are_another_versions_and_no_damage(path, clock):
    """The chain holds, so the file is what was written; it must not be set aside."""
    with Journal(path, clock) as journal:
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01")[:1])
        text = json.dumps(
            {
                "batch": "2026-11-24-01",
                "bench": journal.bench,
                "boot": "b",
                "event": {"at": 5.0, "event": "OvenOpened"},
                "sequence": 2,
                "wall": clock.wall_iso(),
            },
            separators=(",", ":"),
        )
        chain = chain_hash(journal._chain, text)
        journal._db.execute("INSERT INTO events VALUES (2, 1, NULL, ?, ?)", (text, chain))
    with pytest.raises(WrongSettings, match="another version of scaled wrote these records"):
        Journal(path, clock)
    assert [p.name for p in path.parent.glob("*corrupt*")] == []


def test_a_missing_folder_is_said(tmp_path, clock):
    with pytest.raises(RecordsUnusable, match="there is no folder") as refused:
        Journal(tmp_path / "nowhere" / "records.db", clock)
    assert refused.value.exit_code == 74


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (Path.mkdir, r"this is a folder: name the file in it, like .*/records\.db/records\.db$"),
        (os.mkfifo, "this is a device, a pipe or a socket: records are kept in a file"),
        (lambda path: path.symlink_to("/dev/null"), "this is a device, a pipe or a socket: records are kept in a file"),
    ],
)
def test_what_is_no_file_is_said_and_left_as_it_is(path, clock, make, said):
    make(path)
    before = path.lstat()
    with pytest.raises(RecordsUnusable, match=said) as refused:
        Journal(path, clock)
    assert refused.value.exit_code == 74
    with pytest.raises(RecordsUnusable, match=said):
        RecordsReader(path).count()
    assert (path.lstat().st_ino, path.lstat().st_mode) == (before.st_ino, before.st_mode)
    assert list(path.parent.iterdir()) == [path]


def test_an_empty_file_is_no_damage(path, clock):
    path.touch()
    with Journal(path, clock) as journal:
        assert journal.set_aside == ()
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    assert RecordsReader(path).verify().is_sound


def test_a_half_made_file_of_a_start_that_was_cut_is_in_nobodys_way(path, clock):
    path.with_name("records.db.new").write_bytes(b"half")
    path.with_name("records.db.new-wal").write_bytes(b"half")
    with Journal(path, clock) as journal:
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
        assert list(path.parent.glob("*.new*")) == []


def test_a_name_with_marks_that_mean_something_in_an_address(tmp_path, clock):
    path = tmp_path / "a b?mode=memory#100%[x]*.db"
    with Journal(path, clock) as journal:
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    assert path.exists()
    assert RecordsReader(path).count() == 1
    path.write_bytes(b"damage" * 1000)
    with Journal(path, clock) as journal:
        assert len(journal.set_aside) == 1


def test_records_that_are_moved_away_under_a_writer_take_no_more_events(journal, path):
    keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01")[:3])
    path.rename(path.with_name("elsewhere.db"))
    with pytest.raises(RecordsMoved, match="moved, deleted or replaced"):
        journal.append("2026-11-24-01", BatchHeld(1100.0))


def test_lots_and_titles_may_hold_anything(journal, path):
    lot, title = "half a pair \ud800 \x00 'quoted' ; --", "Zitronen\ud800kuchen"
    batch = "2026-11-24-01"
    keep(journal, batch, plain_batch(batch, lots=[("butter", lot)], formula=short_dough(title=title)))
    assert RecordsReader(path).verify().is_sound
    assert RecordsReader(path).record_json(batch)["title"] == title
    assert len(RecordsReader(path).trace(lot.replace("\ud800", "\\ud800"))) == 1
