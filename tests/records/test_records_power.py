"""The power is cut at any moment: what was told to be recorded is recorded. And the process is killed at any moment.

A kill cannot tell a safe setting from an unsafe one, since the kernel still has the pages: so cuts are simulated from
the writes and syncs of a real run, and the settings that SQLite documents as unsafe are run beside it and must lose.
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from records_bakery import keep, plain_batch
from records_power import Disk, play, recorded

from scaled.batch.events import BatchStarted
from scaled.clock import ManualClock
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader
from scaled.records.verification import verify

CUTS = int(os.environ.get("SCALED_POWER_CUTS", "400"))  # 3000 at full size
KILLS = int(os.environ.get("SCALED_KILLS", "15"))  # 100 at full size
BAKING = Path(__file__).parent / "records_baking.py"


@pytest.fixture
def memory_folder(tmp_path):
    """A folder whose syncs cost nothing, where the machine has one: each cut starts a journal anew."""
    shared = Path("/dev/shm")
    if not os.access(shared, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=shared) as folder:
        yield Path(folder)


def outcomes(memory_folder, synchronous, cuts):
    """Bake six batches, cut the power at random moments, start anew on what is left.

    Returns how many cuts lost an event that had been told, and how many left a damaged file.
    """
    folder = memory_folder / synchronous
    folder.mkdir()
    path = folder / "records.db"
    arguments = (path, "--batches", 6, "--synchronous", synchronous, "--checkpoint", 40)
    calls = recorded(BAKING, *arguments, trace=memory_folder / "trace")
    assert sum(kind == "ack" for kind, *_ in calls) > 50
    assert any(call[0] == "write" and call[1] == str(path) for call in calls), "no checkpoint in this run"
    chance = random.Random(2026)
    moments = sorted(chance.randrange(len(calls) + 1) for _ in range(cuts))
    disk, told, happened, lost, damaged = Disk(), 0, 0, 0, 0
    for moment in moments:
        for call in calls[happened:moment]:
            play(disk, call, folder)
            told = call[1] if call[0] == "ack" else told
        happened = moment
        kept, is_damaged = started_on(folder, disk.cut(chance), path)
        lost += kept < told
        damaged += is_damaged
    return lost, damaged


def started_on(folder, files, path):
    """Start a journal on what a cut left: how many events are there, and whether the file was found damaged."""
    for old in folder.iterdir():
        old.unlink()
    for name, content in files.items():
        Path(name).write_bytes(content)
    with Journal(path, ManualClock()) as journal:
        is_damaged = bool(journal.set_aside)
        journal.open_batch()
        sound = RecordsReader(path).verify()
        is_damaged = is_damaged or not sound.is_sound
        keep(journal, "2026-11-25-01", plain_batch("2026-11-25-01")[:2])
        return sound.events, is_damaged


def test_no_power_cut_loses_what_was_told_or_leaves_damage(memory_folder):
    assert outcomes(memory_folder, "FULL", CUTS) == (0, 0)


def test_the_cuts_would_show_a_loss_with_synchronous_normal(memory_folder):
    """SQLite documents that NORMAL may lose the last commits in WAL mode, but never damages the file."""
    lost, damaged = outcomes(memory_folder, "NORMAL", CUTS // 4)
    assert lost > CUTS // 16
    assert damaged == 0


def test_the_cuts_would_show_damage_with_synchronous_off(memory_folder):
    lost, damaged = outcomes(memory_folder, "OFF", CUTS // 4)
    assert lost > CUTS // 16
    assert damaged > 0


def test_a_killed_process_goes_on_where_it_was_with_nothing_lost_or_doubled(path, clock):
    chance = random.Random(9)
    told = 0
    for _ in range(KILLS):
        baking = subprocess.Popen([sys.executable, BAKING, path, "--checkpoint", "40"], stdout=subprocess.PIPE)
        for _ in range(chance.randrange(1, 60)):
            line = baking.stdout.readline()
            assert line, "it ended by itself"
            told = int(line)
        baking.send_signal(signal.SIGKILL)
        rest = baking.stdout.read().split()
        baking.wait()
        told = int(rest[-1]) if rest else told
        baking.stdout.close()
        assert verify(path).events >= told
    verdict = verify(path)
    assert verdict.is_sound
    with Journal(path, clock) as journal:
        assert journal.set_aside == ()
        left = len(journal.open_batch())
    for record in RecordsReader(path).records():
        events = [envelope.event for envelope in RecordsReader(path).envelopes(record.batch.id)]
        assert sum(isinstance(event, BatchStarted) for event in events) == 1
        assert len(set(events)) == len(events), "no event twice"
        assert record.batch.state == "complete" or len(events) == left


@pytest.mark.parametrize("moment", ["after the file", "after its log"])
def test_a_cut_while_a_damaged_file_is_set_aside_mixes_nothing(path, clock, moment):
    """Renamed so far and no further: the next start finds the rest and keeps it too."""
    path.write_bytes(b"flour" * 1000)
    log = path.with_name("records.db-wal")
    log.write_bytes(b"log of the flour")
    path.rename(path.with_name("records.db.corrupt-1"))
    if moment == "after its log":
        log.rename(path.with_name("records.db.corrupt-1-wal"))
    with Journal(path, clock) as journal:
        keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    assert verify(path).is_sound
    assert any(p.read_bytes() == b"log of the flour" for p in path.parent.glob("*corrupt*-wal"))
