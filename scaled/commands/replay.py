"""`scaled replay`: a recorded trace through the rules of the bench, as a batch or as the signal alone."""

from __future__ import annotations

from pathlib import Path

import click

from scaled.commands.options import json_option
from scaled.commands.printing import print_json, print_text
from scaled.errors import WrongUsage


@click.command()
@click.argument("trace", metavar="TRACE.csv")
@click.option("--formula", "formula_file", metavar="FILE", help="The formula that is weighed in the trace.")
@click.option("--factor", metavar="X", help="The factor of the batch; 1 if not given.")
@click.option("--tared", is_flag=True, help="The vessel is on from the first row.")
@click.option("--signal", is_flag=True, help="What the scale means, reading by reading; no formula needed.")
@json_option
def replay(
    trace: str, formula_file: str | None, factor: str | None, *, tared: bool, signal: bool, as_json: bool
) -> None:
    """Put a recorded trace (CSV: t_s,grams and, if known, settled) through the same rules that guide a cook."""
    if signal:
        if formula_file or factor or tared:
            raise WrongUsage("--signal goes without --formula, --factor and --tared: it knows no batch")
        from scaled.commands import replay_signal

        replay_signal.run(trace, as_json=as_json)
        return
    if formula_file is None:
        raise WrongUsage("say which formula was weighed: --formula FILE, or --signal for the weight alone")
    _batch(trace, formula_file, factor, is_tared=tared, as_json=as_json)


def _batch(trace_file: str, formula_file: str, factor: str | None, *, is_tared: bool, as_json: bool) -> None:
    from scaled.batch.record import record_from, record_json
    from scaled.catalogue import load_formula
    from scaled.commands.factor import factor_from
    from scaled.replay import replayed
    from scaled.texts.record import record_text
    from scaled.trace import read_trace

    wanted = factor_from(factor)
    formula = load_formula(Path(formula_file))
    trace = read_trace(trace_file)
    record = record_json(record_from(replayed(trace, formula, wanted, is_tared=is_tared)))
    if as_json:
        print_json(record)
    else:
        print_text(record_text(record))
