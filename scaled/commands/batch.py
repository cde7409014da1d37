"""`scaled batch`: look back. What went into which batch, where a lot went, whether the records are what was written.

All of it only reads, and does so while the daemon works.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scaled.commands.options import config_option, json_option
from scaled.commands.printing import print_data, print_json, print_text
from scaled.errors import RecordsUnusable, WrongUsage
from scaled.texts.record import record_text
from scaled.texts.tables import table

if TYPE_CHECKING:
    from scaled.records.look_up import LotUse
    from scaled.records.reader import RecordsReader
    from scaled.records.verification import Verdict

SHOWN = 30
NAMED = 12  # ids that an error names


@click.group(no_args_is_help=False)
def batch() -> None:
    """Look back: what went into which batch, from which lot, and whether that is what was written."""


@batch.command(name="list")
@click.option("--most", type=click.IntRange(0), default=SHOWN, show_default=True, help="The newest so many; 0: all.")
@config_option
@json_option
def list_command(most: int, config: str | None, *, as_json: bool) -> None:
    """List the batches, the newest first."""
    reader = _reader(config)
    lines = reader.batches(most or None)
    if as_json:
        print_json([{"batch": line["id"]} | {k: v for k, v in line.items() if k != "id"} for line in lines])
        return
    rows = [[line["id"], line["state"], line["title"], _when(line["started"]), _when(line["ended"])] for line in lines]
    if rows:
        print_text(table(("batch", "state", "formula", "began", "ended"), rows))
    total = reader.count()
    if not total:
        print_text("no batch has been recorded yet", err=True)
    elif total > len(lines):
        print_text(f"the newest {len(lines)} of {total}; --most 0 lists all", err=True)


@batch.command()
@click.argument("batch_id", metavar="ID")
@config_option
@json_option
def show(batch_id: str, config: str | None, *, as_json: bool) -> None:
    """Show the record of one batch: ID or as much of its beginning as fits only one."""
    reader = _reader(config)
    record = reader.record_json(_one(reader, batch_id))
    if record is None:
        raise RecordsUnusable(f"{reader.path}: batch {batch_id} can no longer be found")
    if as_json:
        print_json(record)
        return
    print_text(record_text(record))
    for line in record["additions"]:
        if line["lot"]:
            print_text(f"lot of {line['ingredient']} ({line['stage']}): {line['lot']}")
    print_text(f"\nbegan {_when(record['started'])}, ended {_when(record['ended'])}, on scale {record['scale'] or '-'}")
    print_text(f"{record['events']} events, the last with hash {record['chain']}")


@batch.command()
@click.option("--format", "layout", type=click.Choice(("csv", "jsonl")), help="csv (a row an addition) if not given.")
@config_option
@json_option
def export(layout: str | None, config: str | None, *, as_json: bool) -> None:
    """Write all records to standard output, oldest first.

    csv: a row an addition; texts that a spreadsheet would take for a formula begin with an apostrophe. jsonl: an
    event a line, with the hash that chains it to the one before. With --json one document: a list of records.
    """
    from scaled.batch.record import record_json
    from scaled.records.export import csv_lines

    if as_json and layout:
        raise WrongUsage("--json writes a list of records, --format csv or jsonl: give one of them")
    reader = _reader(config)
    if as_json:
        _print_array(json.dumps(record_json(record), ensure_ascii=False) for record in reader.records())
        return
    for line in reader.lines() if layout == "jsonl" else csv_lines(reader.records()):
        print_data(f"{line}\n")


@batch.command()
@click.argument("lot")
@config_option
@json_option
def trace(lot: str, config: str | None, *, as_json: bool) -> None:
    """Say into which batches a LOT went, the oldest first; a lot named and later replaced counts."""
    if not lot.strip():
        raise WrongUsage("LOT is empty: give the lot as it was named")
    reader = _reader(config)
    uses = reader.trace(lot)
    if as_json:
        print_json({"lot": lot.strip(), "batches": [_use_json(use) for use in uses]})
    elif uses:
        rows = [[use.batch, _when(use.started), use.title or "-", use.addition] for use in uses]
        print_text(table(("batch", "began", "formula", "lot was"), rows))
    if not uses:
        near = reader.lots_like(lot)
        hint = f": there are {', '.join(near)}" if near else ""
        print_text(f"no batch names the lot '{lot.strip()}'{hint}", err=True)


@batch.command()
@config_option
@json_option
def verify(config: str | None, *, as_json: bool) -> int:
    """Check that every event is what was written, from the first to the last; 1 if one is not."""
    reader = _reader(config)
    verdict = reader.verify()
    if as_json:
        print_json(verdict.as_json())
    else:
        print_text(_verdict_text(verdict, reader.path))
    return 0 if verdict.is_sound else 1


def _reader(config: str | None) -> RecordsReader:
    from scaled.config import load_settings
    from scaled.records.reader import RecordsReader

    return RecordsReader(load_settings(config).records)


def _one(reader: RecordsReader, batch_id: str) -> str:
    """The one id that begins so; raises WrongUsage with those that would fit."""
    found = reader.ids_like(batch_id.strip(), NAMED + 1) if batch_id.strip() else []
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(found[:NAMED]) + (" and more" if len(found) > NAMED else "")
        raise WrongUsage(f"'{batch_id}' fits several batches: {names}")
    newest = [line["id"] for line in reader.batches(3)]
    names = f"the newest are {', '.join(newest)}" if newest else "none has been recorded yet"
    raise WrongUsage(f"no batch begins with '{batch_id}': {names}")


def _use_json(use: LotUse) -> dict[str, Any]:
    return {
        "batch": use.batch,
        "formula": use.formula,
        "title": use.title,
        "started": use.started,
        "addition": use.addition,
    }


def _verdict_text(verdict: Verdict, path: Path) -> str:
    lines = [f"{path}: {verdict.events} events of {verdict.batches} batches are what was written"]
    if verdict.last_chain:
        lines.append(f"bench {verdict.bench}; hash of event {verdict.events}: {verdict.last_chain}")
    if verdict.is_sound:
        lines.append("checked: the hash of each event and of the one before it, no gap in their numbers, each can be")
        lines.append(
            "read, the last hash in each copy of a day, the pages and indexes of the file, the tables of batches"
        )
        lines.append("and lots. All is well.")
    if verdict.first_bad is not None:
        lines.append(f"the first bad event is {verdict.first_bad}; what follows it was not checked")
    return "\n".join([*lines, *(f"TROUBLE: {trouble}" for trouble in verdict.troubles)])


def _when(iso: str | None) -> str:
    """A wall time to the second, as it stood."""
    return "-" if iso is None else iso[:19].replace("T", " ")


def _print_array(documents: Iterable[str]) -> None:
    """A list in JSON, written as it is read: a year of records does not fit into memory."""
    before = "["
    for document in documents:
        print_data(f"{before}\n{document}")
        before = ","
    print_data("[]\n" if before == "[" else "\n]\n")
