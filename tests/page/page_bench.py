"""A bench to look at and act on without a scale: the protocols of `scaled.batch.protocols` over values in memory."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from threading import Lock
from typing import Any

from scaled.batch.inputs import Intent, StartBatch
from scaled.batch.protocols import Accepted, Refused
from scaled.errors import Invalid, Place, RecordsUnusable
from scaled.formula.values import Addition, Formula, Side, Stage, Tolerance

STARTED = "2026-11-24T06:00:00.000+01:00"


class ScriptedSink:
    """Takes every intent, keeps it, and answers with what was put in `answers`, else that it was taken."""

    def __init__(self) -> None:
        self.sent: list[Intent] = []
        self.answers: list[Accepted | Refused] = []
        self._lock = Lock()

    def now(self) -> float:
        return 42.0

    def send(self, intent: Intent, timeout_s: float = 2.0) -> Accepted | Refused:
        del timeout_s
        with self._lock:
            self.sent.append(intent)
            if self.answers:
                return self.answers.pop(0)
            return Accepted(len(self.sent), "20261124-1" if isinstance(intent, StartBatch) else None)


def addition(name: str, grams: int, stage: str) -> Addition:
    side = Side(Fraction(1, 100), is_relative=True)
    return Addition(name, stage, name, "weighed", Fraction(grams * 1000), Tolerance(side, side))


def short_dough(stem: str, title: str, pieces: int | None = 8) -> Formula:
    dry = Stage("dry", (addition("oat flour", 240, "dry"), addition("sea salt", 3, "dry")))
    wet = Stage("creamed", (addition("butter", 220, "creamed"), addition("whole egg", 50, "creamed")))
    return Formula(stem, title, (dry, wet), None if pieces is None else Fraction(pieces))


class ShelfCatalogue:
    """Formulas by stem; a stem without one is a file with a mistake."""

    def __init__(self, formulas: dict[str, Formula | None]) -> None:
        self.formulas = formulas

    def stems(self) -> tuple[str, ...]:
        return tuple(self.formulas)

    def formula(self, stem: str) -> Formula:
        formula = self.formulas[stem]
        if formula is None:
            raise Invalid("'wieght' is no key; 'weight' is meant?", Place(f"{stem}.yaml", 3, 7))
        return formula

    def plan_json(self, stem: str, factor: Fraction) -> dict[str, Any]:
        formula = self.formula(stem)
        if factor > 100:
            raise Invalid(f"{stem}: nobody makes {float(factor):g} times this")
        return {
            "formula": stem,
            "title": formula.title,
            "factor": float(factor),
            "factor_exact": str(factor),
            "pieces": None if formula.pieces is None else float(formula.pieces * factor),
            "mass_g": float(formula.mass_mg * factor / 1000),
            "additions": [
                {"ingredient": a.ingredient, "stage": a.stage, "weight_g": float(a.target_mg(factor) / 1000)}
                for a in formula.weighed
            ],
            "allergens": ["eggs", "milk"],
            "cautions": ["Raw flour and raw egg: do not taste the dough."],
        }


class ListedHistory:
    def __init__(self) -> None:
        self.records: dict[str, dict[str, Any]] = {}
        self.trouble: RecordsUnusable | None = None

    def batches(self, most: int) -> Sequence[dict[str, Any]]:
        if self.trouble is not None:
            raise self.trouble
        keys = ("formula", "title", "state", "started", "ended")
        return [{"id": name} | {key: record[key] for key in keys} for name, record in self.records.items()][:most]

    def record_json(self, batch: str) -> dict[str, Any] | None:
        return self.records.get(batch)


class ReportedHealth:
    def __init__(self) -> None:
        self.parts: dict[str, Any] = {"ok": True, "scale": "ready", "gpio": "none", "voice": "none", "records": "ready"}
        self.numbers: dict[str, float] = {"scaled_frames_ok_total": 1234.0, 'scaled_u_grams{scale="bench"}': 0.04}

    def report(self) -> dict[str, Any]:
        return self.parts

    def metrics(self) -> dict[str, float]:
        return self.numbers


def example_record(batch: str) -> dict[str, Any]:
    return {
        "batch": batch,
        "formula": "oat-short-dough",
        "title": "Oat short dough",
        "state": "complete",
        "factor": 1.0,
        "factor_exact": "1",
        "started": STARTED,
        "ended": None,
        "additions": [],
    }
