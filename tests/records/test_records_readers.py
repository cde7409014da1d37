"""Reading beside the writer: what is asked is answered, from one state of the file, and nobody locks anybody out."""

import ast
import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from threading import Event

import pytest
from records_bakery import keep, overpoured_batch, plain_batch, short_dough
from records_waiting import Told, eventually

import scaled
from scaled.batch.envelope import FIRST_CHAIN, chain_hash
from scaled.batch.events import BatchAborted, LotNamed
from scaled.batch.protocols import History
from scaled.records.journal import Journal
from scaled.records.reader import RecordsReader
from scaled.records.writer import JournalWriter

BAKING = Path(__file__).parent / "records_baking.py"
READERS = 50


@pytest.fixture
def reader(path):
    return RecordsReader(path)


def test_the_newest_batches_come_first(journal, reader, clock):
    keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
    clock.advance(600)
    keep(journal, "2026-11-24-02", [*plain_batch("2026-11-24-02", at=2000.0)[:4], BatchAborted(2100.0)])
    clock.advance(600)
    keep(journal, "2026-11-24-03", plain_batch("2026-11-24-03", formula=short_dough("Oat, by hand", "oat-hand"))[:3])
    assert reader.batches(2) == [
        {
            "id": "2026-11-24-03",
            "formula": "oat-hand",
            "title": "Oat, by hand",
            "state": "running",
            "started": "2026-11-24T04:50:00.000+00:00",
            "ended": None,
        },
        {
            "id": "2026-11-24-02",
            "formula": "oat-honey",
            "title": "Oat and honey short dough",
            "state": "aborted",
            "started": "2026-11-24T04:40:00.000+00:00",
            "ended": "2026-11-24T04:40:00.000+00:00",
        },
    ]
    assert [line["id"][-2:] for line in reader.batches(None)] == ["03", "02", "01"]
    assert reader.count() == 3


def test_a_record_is_what_the_contract_spells(journal, reader):
    envelopes = keep(journal, "2026-11-24-01", overpoured_batch("2026-11-24-01"))
    record = reader.record_json("2026-11-24-01")
    assert (record["factor_exact"], record["events"]) == ("57/50", len(envelopes))
    assert record["chain"] == envelopes[-1].chain
    egg = next(line for line in record["additions"] if line["ingredient"] == "whole egg")
    assert (egg["actual_g"], egg["target_g"], egg["in_tolerance"]) == (57.0, 57.0, True)
    flour = record["additions"][0]
    assert (flour["actual_g"], [more["grams"] for more in flour["topups"]]) == (342.0, [42.0])
    assert reader.record_json("2026-11-24-0") is None


def test_a_beginning_of_an_id_is_enough(journal, reader):
    for batch in ("2026-11-24-01", "2026-11-24-02", "2026-11-24-10", "2026-11-24-100", "2026-11-25-01"):
        keep(journal, batch, plain_batch(batch)[:1])
    assert reader.ids_like("2026-11-25") == ["2026-11-25-01"]
    assert reader.ids_like("2026-11-24-10") == ["2026-11-24-10"], "an id that is exactly that stands alone"
    assert reader.ids_like("2026-11-24-1") == ["2026-11-24-10", "2026-11-24-100"]
    assert reader.ids_like("2027") == []
    assert reader.ids_like("%") == []
    assert reader.ids_like("\udcff") == [], "what a terminal sends that is no UTF-8"
    assert reader.record_json("\udcff") is None
    assert reader.trace("\udcff") == reader.lots_like("\udcff") == []


def test_a_lot_leads_to_its_batches_whatever_its_case(journal, reader):
    keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01", lots=[("butter", "B-77"), ("wheat flour", "W1")]))
    keep(journal, "2026-11-24-02", plain_batch("2026-11-24-02", lots=[("butter", "B-78")]))
    keep(journal, "2026-11-24-03", plain_batch("2026-11-24-03", lots=[("butter", " b-77 "), ("butter", "b-77")]))
    assert [(use.batch, use.addition) for use in reader.trace("b-77")] == [
        ("2026-11-24-01", "butter"),
        ("2026-11-24-03", "butter"),
    ]
    assert reader.trace("B-7") == []
    assert reader.lots_like("B-7") == ["B-77", "B-78"]


def test_a_lot_that_was_named_and_replaced_is_still_led_to(journal, reader):
    """Who calls a lot back wants to look at that batch too: some of it may be in."""
    keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01", lots=[("butter", "B-77"), ("butter", "B-78")]))
    assert len(reader.trace("B-77")) == len(reader.trace("B-78")) == 1


def test_an_exported_line_can_be_checked_without_this_program(journal, reader):
    """Drop the last member and hash: SHA-256 over the hash before, a line feed and the text."""
    keep(journal, "2026-11-24-01", overpoured_batch("2026-11-24-01"))
    keep(journal, "2026-11-24-02", plain_batch("2026-11-24-02"))
    before = FIRST_CHAIN
    for line in reader.lines():
        text, _, chain = line.rpartition(',"chain":"')
        before = chain_hash(before, text + "}")
        assert json.loads(line)["chain"] == before == chain.removesuffix('"}')


def test_the_reader_is_what_the_page_asks_for(reader):
    history: History = reader
    assert callable(history.batches)
    assert callable(history.record_json)


def test_fifty_readers_and_a_writer_never_lock_each_other_out(path, clock):
    told = Told()
    writer = JournalWriter(path, clock, told.committed, told.failed)
    writer.start()
    is_over = Event()

    def read_on():
        """Ask until all is written; what was there once must stay there."""
        reader, asked, least = RecordsReader(path), 0, 0
        while not is_over.is_set():
            count = sum(record.events for record in reader.records())
            assert count >= least
            least, asked = count, asked + 1
        return asked

    submitted = 0
    with ThreadPoolExecutor(READERS) as pool:
        readers = [pool.submit(read_on) for _ in range(READERS)]
        for number in range(1, 21):
            batch = f"2026-11-24-{number:02d}"
            for event in plain_batch(batch, lots=[("butter", f"B{number}")]):
                assert writer.submit(batch, event)
                submitted += 1
        eventually(lambda: len(told.envelopes) == submitted, "all committed", within_s=60)
        is_over.set()
        assert sum(reader.result() for reader in readers) > READERS
    writer.stop()
    assert told.errors == []
    assert RecordsReader(path).verify().events == submitted


def test_another_process_reads_while_one_writes(path):
    """Every answer verifies, and nothing is in anybody's way, across processes and checkpoints."""
    baking = subprocess.Popen([sys.executable, BAKING, path, "--checkpoint", "20"], stdout=subprocess.PIPE)
    try:
        seen = []
        while not seen or seen[-1] < 150:
            told = int(baking.stdout.readline())
            if told % 10 == 0:
                verdict = RecordsReader(path).verify()
                assert verdict.is_sound
                assert verdict.events >= told
                seen.append(verdict.events)
    finally:
        baking.kill()
        baking.wait()
        baking.stdout.close()


# What one may ask who may read the file, and not write to its folder. Run as nobody where the tests run as root.
UNPRIVILEGED = """
import sys
from pathlib import Path
from scaled.records.reader import RecordsReader
print(len(RecordsReader(Path(sys.argv[1])).batches(10)))
"""


@pytest.mark.parametrize("left_by", ["a writer that ended", "a writer that works", "a writer that was killed"])
def test_who_may_only_read_can_read(tmp_path, clock, left_by):
    folder = tmp_path / "records"
    folder.mkdir()
    path = folder / "records.db"
    with ExitStack() as stack:
        if left_by == "a writer that was killed":
            subprocess.run([sys.executable, BAKING, path, "--batches", "1"], check=True, stdout=subprocess.DEVNULL)
            assert path.with_name("records.db-wal").exists()
        else:
            journal = stack.enter_context(Journal(path, clock))
            keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01"))
        if left_by == "a writer that ended":
            journal.close()
        open_to_all(folder)
        as_nobody = ["setpriv", "--reuid=65534", "--clear-groups"] if os.geteuid() == 0 else []
        command = [*as_nobody, sys.executable, "-c", UNPRIVILEGED, path]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        folder.chmod(0o755)
    assert (done.stdout.strip(), done.returncode) == ("1", 0), done.stderr


def open_to_all(folder):
    """Let everybody read in a folder and come to it, and nobody write to it."""
    folder.chmod(0o555)
    for parent in folder.parents:
        if parent.owner() != folder.owner() or parent == Path("/tmp"):
            break
        parent.chmod(parent.stat().st_mode | 0o055)


def modules_that_open_for_writing(folder):
    found = set()
    for file in folder.rglob("*.py"):
        names = {node.id for node in ast.walk(ast.parse(file.read_text())) if isinstance(node, ast.Name)}
        connects = "sqlite3.connect" in file.read_text()
        if "open_for_writing" in names or connects:
            found.add(file.relative_to(folder).as_posix())
    return found


def test_only_the_journal_opens_the_records_to_write(tmp_path):
    """Two connections that write or checkpoint at once are what SQLite's known fault of its log needs."""
    package = Path(scaled.__file__).parent
    assert modules_that_open_for_writing(package) == {"records/database.py", "records/journal.py"}
    (tmp_path / "planted.py").write_text("from x import open_for_writing\nopen_for_writing(1)\n")
    (tmp_path / "other.py").write_text("import sqlite3\nsqlite3.connect('a')\n")
    assert modules_that_open_for_writing(tmp_path) == {"planted.py", "other.py"}


def test_naming_a_lot_twice_shows_the_last(journal, reader):
    keep(journal, "2026-11-24-01", plain_batch("2026-11-24-01", lots=[("butter", "B-77")]))
    journal.append("2026-11-24-01", LotNamed(5000.0, "butter", "B-78"))
    butter = next(a for a in reader.record_json("2026-11-24-01")["additions"] if a["ingredient"] == "butter")
    assert butter["lot"] == "B-78"
