"""`scaled replay TRACE.csv --signal`: what the scale means, reading by reading, or told in short as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from scaled.commands.printing import print_data, print_json
from scaled.trace import read_trace
from scaled.weighing import Happening, Rest, Weigher, WeigherSettings, Weight

HEADER = "t_s,grams,estimate_g,u_g,rate_g_s,forecast_g,settled"
PAUSE_S = 1.0  # what rests for longer may be the end of an addition
SECONDS = 6  # decimals: a trace may tell its times to the microsecond


def run(trace_path: str, *, as_json: bool) -> None:
    """Print the signal of a trace on stdout: a CSV row a reading, or one JSON document.

    Raises:
        WrongUsage: the trace cannot be read.
    """
    trace = read_trace(trace_path)
    weigher = Weigher(WeigherSettings(division_mg=trace.division_mg))
    weights = [weigher.see(reading) for reading in trace.readings]
    if as_json:
        print_json(signal_json(weights, weigher.close()), indent=None)
        return
    print_data(f"{HEADER}\n")
    for weight in weights:
        print_data(f"{row(weight)}\n")


def row(weight: Weight) -> str:
    """One line of the CSV."""
    figures = (
        (weight.at, SECONDS),
        (weight.shown_mg / 1000, 3),
        (weight.estimate_g, 4),
        (weight.u_g, 4),
        (weight.rate_g_s, 3),
        (weight.forecast_g, 3),
    )
    settled = "0" if weight.rest is None else "1"
    return ",".join([*(_figure(value, decimals) for value, decimals in figures), settled])


def _figure(value: float, decimals: int) -> str:
    """With so many decimals, and no sign before a zero."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def signal_json(weights: Sequence[Weight], last: Iterable[Happening] = ()) -> dict[str, Any]:
    """`settled`: each rest at a new value, also where the weight crept there; `happened`: what was concluded, in order.

    A hand that holds still is no weight: what turned out to be a press has no rest in it. Nor is a rest what turned out
    to be a short pause on the way to another.

    Args:
        weights: what each reading of a trace means.
        last: what was still to be told when the trace ended.
    """
    settled: list[dict[str, float]] = []
    happened = retold([*(h for weight in weights for h in weight.happened), *last])
    stood_to = {weight.rest.known_at: weight.at for weight in weights if weight.rest is not None}
    known: Rest | None = None
    for weight in weights:
        rest = weight.rest
        if rest is None or (known is not None and not _is_elsewhere(rest, known, weight.division_mg)):
            continue
        if any(_is_within(rest, stood_to[rest.known_at], h) for h in happened):
            continue
        known = rest
        settled.append(
            {"at_s": round(weight.at, SECONDS), "grams": rest.mass_mg / 1000, "u_g": round(rest.u_mg / 1000, 4)}
        )
    return {"settled": settled, "happened": [_happening_json(h) for h in happened]}


def _is_within(rest: Rest, stood_to: float, h: Happening) -> bool:
    """Whether a rest that stood until then is a part of what went on: of a press, or a pause of a change."""
    if h.what == "press":
        return h.from_at < rest.known_at < h.to_at
    is_change = h.what in ("addition", "removal", "vessel on", "vessel off")
    return is_change and h.from_at < rest.began_at and stood_to < min(h.to_at, rest.began_at + PAUSE_S)


def _is_elsewhere(rest: Rest, known: Rest, division_mg: int) -> bool:
    """Whether two rests lie further apart than a division and than three times what is uncertain of both."""
    u_mg = math.hypot(rest.u_mg, known.u_mg)
    return abs(rest.mass_mg - known.mass_mg) > max(division_mg, 3 * u_mg)


def retold(happened: list[Happening]) -> list[Happening]:
    """The same in order, as one tells it afterwards.

    A tool that was lifted again is told once, not also as the addition that it seemed when it was laid in; so is a
    hand that held still, and a tare key that looked like the vessel lifted off.
    """
    known_late = [h for h in happened if h.what in ("tool", "press", "re-zeroed")]
    kept: list[Happening] = []
    for h in sorted(happened, key=lambda h: (h.from_at, h.to_at)):
        if h.what in ("addition", "vessel off") and any(late.from_at == h.from_at for late in known_late):
            continue
        kept.append(h)
    return kept


def _happening_json(happening: Happening) -> dict[str, Any]:
    return {
        "from_s": round(happening.from_at, SECONDS),
        "to_s": round(happening.to_at, SECONDS),
        "what": happening.what,
        "change_g": happening.change_mg / 1000,
    }
