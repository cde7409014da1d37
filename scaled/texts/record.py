"""The record of a batch for reading: what was asked, what went in, what was done about it."""

from __future__ import annotations

from typing import Any

from scaled.texts.tables import grams_text, table


def record_text(record: dict[str, Any]) -> str:
    """The text of a record, given as the document of the contract (`batch.record.record_json`)."""
    head = f"{record['title']}: batch {record['batch']}, {record['state']}, factor {record['factor_exact']}"
    rows = [_addition_row(addition) for addition in record["additions"]]
    heads = ("stage", "ingredient", "target g", "actual g", "band g", "", "top-ups")
    lines = [head, "", table(heads, rows, right=(2, 3))]
    done = [f"after {c['after']}: {c['offer']}, factor {c['factor']:.6g}" for c in record["corrections"]]
    done += [_thrown_text(thrown) for thrown in record.get("thrown_away", ())]
    return "\n".join([*lines, "", *done] if done else lines)


def _thrown_text(thrown: dict[str, Any]) -> str:
    """`thrown away after 45 s, stage dry started again: oat flour 270.0 g`."""
    masses = ", ".join(f"{key} {grams_text(mass)} g" for key, mass in thrown["grams"].items())
    return f"thrown away after {thrown['at_s']:.0f} s, stage {thrown['stage']} started again: {masses}"


def _addition_row(addition: dict[str, Any]) -> tuple[str, ...]:
    band = addition["band_g"]
    verdict = {True: "in band", False: "OUT OF BAND", None: "" if band is None else "not weighed"}
    return (
        addition["stage"],
        addition["ingredient"],
        grams_text(addition["target_g"]),
        grams_text(addition["actual_g"]),
        "told, not weighed" if band is None else f"{grams_text(band[0])} to {grams_text(band[1])}",
        verdict[addition["in_tolerance"]],
        ", ".join(f"{'+' if t['grams'] >= 0 else ''}{grams_text(t['grams'])}" for t in addition["topups"]),
    )
