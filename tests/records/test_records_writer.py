"""The writer's thread: the bench never waits, a disk that refuses loses nothing, nobody is told what is not so."""

import json
import logging
import sqlite3
import subprocess
import sys
import threading
from datetime import date
from pathlib import Path

import pytest
from records_bakery import keep, plain_batch
from records_waiting import Told, eventually

from scaled.batch.events import BatchHeld, BatchResumed, VesselTared
from scaled.errors import Busy
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader
from scaled.records.verification import verify
from scaled.records.writer import JournalWriter

BATCH = "2026-11-24-01"


@pytest.fixture
def told():
    return Told()


@pytest.fixture
def writer(path, clock, told):
    writer = JournalWriter(path, clock, told.committed, told.failed, retry_s=0.02)
    yield writer
    if writer._thread.is_alive():
        writer.stop()


def hand_in(writer, events, batch=BATCH):
    for event in events:
        assert writer.submit(batch, event)


def test_events_are_committed_in_order_and_told_of_afterwards(writer, told, path):
    on_disk = []
    writer._on_committed = lambda envelope: (
        on_disk.append(len(RecordsReader(path).envelopes(BATCH)) >= envelope.sequence),
        told.committed(envelope),
    )
    assert writer.start() == []
    events = plain_batch(BATCH)
    hand_in(writer, events)
    eventually(lambda: len(told.envelopes) == len(events), "all committed")
    assert told.events == events
    assert [e.sequence for e in told.envelopes] == list(range(1, len(events) + 1))
    assert all(on_disk)
    assert writer.state.is_recorded
    assert told.errors == []


def test_an_event_carries_the_time_when_it_was_handed_in(writer, told, clock):
    writer.start()
    before = clock.wall_iso()
    hand_in(writer, plain_batch(BATCH)[:1])
    clock.advance(60)
    eventually(lambda: told.envelopes, "committed")
    assert told.envelopes[0].wall == before


def test_a_start_hands_back_the_batch_that_was_left_open(path, clock, writer):
    with Journal(path, clock) as journal:
        left = keep(journal, BATCH, plain_batch(BATCH)[:4])
    assert writer.start() == left
    hand_in(writer, plain_batch(BATCH)[4:])
    writer.stop()
    assert verify(path).is_sound
    assert RecordsReader(path).record_json(BATCH)["state"] == "complete"


def test_stop_writes_what_waits(writer, told):
    writer.start()
    events = plain_batch(BATCH)
    hand_in(writer, events)
    assert writer.stop() == 0
    assert told.events == events
    assert not writer.submit(BATCH, BatchHeld(1.0))


def test_what_is_left_behind_at_the_end_is_told_with_its_reason(path, clock, told, caplog):
    """The writer is held up at the first event while the second waits: no disk has refused anything."""
    goes_on = threading.Event()
    writer = JournalWriter(path, clock, lambda _envelope: goes_on.wait(10), told.failed)
    writer.start()
    hand_in(writer, plain_batch(BATCH)[:1])
    eventually(lambda: not writer.state.waiting, "the first is taken")
    hand_in(writer, plain_batch(BATCH)[1:2])
    assert writer.stop(timeout_s=0.01) == 1
    assert caplog.messages == ["events that could not be recorded: 1: the disk did not take them within 0.01 s"]
    goes_on.set()
    eventually(lambda: not writer._thread.is_alive(), "ended")


def test_a_second_writer_is_turned_away(writer, path, clock):
    with Journal(path, clock), pytest.raises(Busy):
        writer.start()


def test_what_json_cannot_say_is_refused_at_the_door(writer):
    writer.start()
    with pytest.raises(ValueError, match="JSON"):
        writer.submit(BATCH, VesselTared(float("inf"), 0))
    assert writer.state.waiting == 0


def test_while_another_program_holds_the_file_the_bench_goes_on_and_is_not_recorded(writer, told, path, clock, caplog):
    """A real lock of SQLite's: somebody opened the file with a tool and left a change open."""
    caplog.set_level(logging.CRITICAL)
    writer.start()
    intruder = sqlite3.connect(path, isolation_level=None)
    intruder.execute("BEGIN IMMEDIATE")
    events = plain_batch(BATCH)
    hand_in(writer, events)
    assert writer.state.is_recorded, "a moment's wait is no outage"
    clock.advance(2.5 / clock.real_seconds(1.0))
    assert not writer.state.is_recorded
    assert writer.state.why == "the disk does not answer"
    assert writer.state.waiting == len(events)
    assert told.envelopes == []
    intruder.execute("ROLLBACK")
    intruder.close()
    eventually(lambda: told.events == events, "all committed")
    eventually(lambda: writer.state.is_recorded, "recorded again")


def test_only_so_many_events_wait_and_the_rest_is_refused(path, clock, told):
    writer = JournalWriter(path, clock, told.committed, told.failed, most_waiting=5)
    writer.start()
    intruder = sqlite3.connect(path, isolation_level=None)
    intruder.execute("BEGIN IMMEDIATE")
    events = plain_batch(BATCH)
    taken = [writer.submit(BATCH, event) for event in events[:7]]
    assert taken == [True] * 5 + [False] * 2
    assert writer.state.refused == 2
    assert not writer.state.is_recorded
    intruder.close()
    writer.stop()
    assert told.events == events[:5]


def test_a_folder_that_comes_back_is_written_to(tmp_path, clock, told, caplog):
    """The disk with the records is not mounted yet when the bench starts."""
    caplog.set_level(logging.CRITICAL)
    path = tmp_path / "disk" / "records.db"
    writer = JournalWriter(path, clock, told.committed, told.failed, retry_s=0.02)
    assert writer.start() == []
    assert [error.exit_code for error in told.errors] == [74]
    assert not writer.state.is_recorded
    assert "there is no folder" in writer.state.why
    batch = writer.new_batch_id(date(2026, 11, 24))
    assert batch.startswith("2026-11-24-")
    assert batch[11:].isalpha(), "no count: it could be one that is in the records"
    events = plain_batch(batch)
    hand_in(writer, events, batch)
    (tmp_path / "disk").mkdir()
    eventually(lambda: told.events == events, "all committed")
    eventually(lambda: writer.state.is_recorded, "recorded again")
    writer.stop()
    assert verify(path).is_sound


def test_a_bench_that_waits_for_its_disk_with_nothing_to_write_finds_it_too(tmp_path, clock, told, caplog):
    caplog.set_level(logging.CRITICAL)
    writer = JournalWriter(tmp_path / "disk" / "records.db", clock, told.committed, told.failed, retry_s=0.02)
    writer.start()
    (tmp_path / "disk").mkdir()
    eventually(lambda: writer.state.is_recorded, "the disk is found")
    writer.stop()


def test_records_deleted_under_the_writer_begin_anew_with_the_open_batch(writer, told, path, caplog):
    caplog.set_level(logging.CRITICAL)
    writer.start()
    events = plain_batch(BATCH)
    hand_in(writer, events[:5])
    eventually(lambda: len(told.envelopes) == 5, "committed")
    for left in path.parent.glob("records.db*"):
        if not left.name.endswith(".lock"):
            left.unlink()
    hand_in(writer, events[5:])
    writer.stop()
    assert told.events == events, "told of each event once"
    assert [e.event for e in RecordsReader(path).envelopes(BATCH)] == events
    assert verify(path).is_sound


def test_records_damaged_under_the_writer_are_kept_and_begin_anew_with_the_open_batch(writer, told, path, caplog):
    caplog.set_level(logging.CRITICAL)
    writer.start()
    for number in range(1, 4):
        batch = f"2026-11-23-{number:02d}"
        hand_in(writer, plain_batch(batch), batch)
    events = plain_batch(BATCH)
    hand_in(writer, events[:5])
    eventually(lambda: len(told.envelopes) == 3 * 9 + 5, "committed")
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA writable_schema = ON")
    db.execute("DROP TABLE lots")  # stands for a table that can no longer be reached
    db.close()
    hand_in(writer, [*events[5:7], *plain_batch(BATCH, lots=[("butter", "B7")])[7:]])
    eventually(lambda: len(told.envelopes) == 3 * 9 + 10, "all committed")
    assert [e.event for e in RecordsReader(path).envelopes(BATCH)] == told.events[27:]
    assert verify(path).is_sound
    (kept,) = writer.state.set_aside
    assert RecordsReader(kept).count() == 4


def test_ids_are_not_given_twice_when_the_file_begins_anew(writer, told, path, caplog):
    caplog.set_level(logging.CRITICAL)
    writer.start()
    day = date(2026, 11, 24)
    first = writer.new_batch_id(day)
    hand_in(writer, plain_batch(first), first)
    eventually(lambda: len(told.envelopes) == 9, "committed")
    path.unlink()
    hand_in(writer, [BatchHeld(5000.0), BatchResumed(5001.0)], first)
    eventually(lambda: len(told.envelopes) == 11, "committed")
    assert writer.new_batch_id(day) == "2026-11-24-02"


def test_an_idle_writer_gives_signs_of_life(path, clock, told):
    beats = []
    writer = JournalWriter(path, clock, told.committed, told.failed, beat=lambda: beats.append(1))
    writer.start()
    eventually(lambda: len(beats) >= 3, "three beats")
    writer.stop()


# --- real faults of the disk, in a process of its own

FAULTY_DISK = Path(__file__).parent / "records_faulty_disk.py"


def story_of(*arguments, under=()):
    done = subprocess.run(
        [*under, sys.executable, FAULTY_DISK, *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    return json.loads(done.stdout)


def assert_all_recorded(path, story):
    assert story["left"] == 0
    assert story["sequences"] == list(range(1, story["submitted"] + 1))
    verdict = verify(path)
    assert verdict.is_sound
    assert verdict.events == story["submitted"]


def test_a_full_disk_loses_nothing(path):
    """RLIMIT_FSIZE (setrlimit(2)) refuses each write beyond a size, as a full disk does."""
    story = story_of(path, "full")
    assert story["during"]["waiting"] > 0
    assert not story["during"]["is_recorded"]
    assert "make room" in story["during"]["why"]
    assert story["outages"] >= 1
    assert_all_recorded(path, story)


def under_faults(fault):
    """strace's fault injection: some system calls, counted in each thread, fail as they would on a worn card."""
    call = fault.partition(":")[0]
    return ("strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}", "-e", f"inject={fault}")


@pytest.mark.parametrize("fault", ["pwrite64:error=ENOSPC:when=7", "fdatasync:error=EIO:when=6", "rename:error=EROFS"])
def test_a_disk_that_fails_while_the_file_is_made_loses_nothing(path, fault):
    story = story_of(path, "steady", under=under_faults(f"{fault}:when=1" if "when" not in fault else fault))
    assert story["outages"] == 1
    assert_all_recorded(path, story)


@pytest.mark.parametrize(
    "fault",
    [
        "pwrite64:error=ENOSPC:when=50+41",
        "pwrite64:error=EIO:when=51+37",
        "fdatasync:error=EIO:when=3+5",
        "fdatasync:error=ENOSPC:when=4+3",
    ],
)
def test_a_disk_that_fails_now_and_then_loses_nothing(path, clock, fault):
    Journal(path, clock).close()
    story = story_of(path, "steady", under=under_faults(fault))
    assert story["outages"] >= 3
    assert_all_recorded(path, story)
