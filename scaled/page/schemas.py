"""The documents of the HTTP interface as JSON Schema (2020-12, the dialect of OpenAPI 3.1), by name."""

from __future__ import annotations

import typing
from typing import Any

from scaled.batch.cue import CueWord
from scaled.batch.inputs import WISHES
from scaled.batch.snapshot import BatchState, Phase, ScaleShown, WeighingKind
from scaled.page.body import LARGEST_FACTOR, LARGEST_WHOLE, LEAST_FACTOR, LONGEST_LABEL, LONGEST_NAME

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
NAME: Schema = TEXT | {"minLength": 1, "maxLength": LONGEST_NAME}
LABEL: Schema = TEXT | {"minLength": 1, "maxLength": LONGEST_LABEL}
NUMBER: Schema = {"type": "number"}
WHOLE: Schema = {"type": "integer", "minimum": 0, "maximum": LARGEST_WHOLE}
TRUTH: Schema = {"type": "boolean"}
TIME: Schema = {"type": "string", "format": "date-time"}
GRAMS: Schema = {"type": "number", "description": "grams, rounded to 0.001"}
FACTOR: Schema = {"type": "number", "minimum": float(LEAST_FACTOR), "maximum": float(LARGEST_FACTOR)}


def record(properties: dict[str, Schema], optional: tuple[str, ...] = (), *, is_closed: bool = False) -> Schema:
    """An object that has all of these properties but the optional ones."""
    schema: Schema = {
        "type": "object",
        "properties": properties,
        "required": [name for name in properties if name not in optional],
    }
    return schema | ({"additionalProperties": False} if is_closed else {})


def several(schema: Schema) -> Schema:
    return {"type": "array", "items": schema}


def one_of(literal: object) -> Schema:
    return {"type": "string", "enum": list(typing.get_args(literal))}


def or_null(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def named(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


BAND: Schema = {"type": "array", "items": GRAMS, "minItems": 2, "maxItems": 2}
TARGET: dict[str, Schema] = {"ingredient": TEXT, "stage": TEXT, "target_g": GRAMS}

SNAPSHOT = record(
    {
        "seq": WHOLE,
        "at": TIME,
        "recorded": TRUTH,
        "scale": record({"name": or_null(TEXT), "state": one_of(ScaleShown), "division_g": or_null(GRAMS)}),
        "weight": or_null(
            record({"gross_g": GRAMS, "net_g": GRAMS, "settled": TRUTH, "rate_g_s": NUMBER, "forecast_g": GRAMS})
        ),
        "batch": or_null(
            record({"id": TEXT, "formula": TEXT, "title": TEXT, "factor": NUMBER, "state": one_of(BatchState)})
        ),
        "addition": or_null(
            record(
                {
                    **TARGET,
                    "remaining_g": GRAMS,
                    "band_g": BAND,
                    "phase": one_of(Phase),
                    "kind": one_of(WeighingKind),
                    "told": several(TEXT),
                    "product": or_null(TEXT),
                }
            )
        ),
        "upcoming": several(record(TARGET)),
        "done": several(record({**TARGET, "actual_g": GRAMS, "in_tolerance": TRUTH})),
        "offers": several(named("Offer")),
        "cue": one_of(CueWord),
        "cautions": several(TEXT),
        "said": or_null(TEXT),
        "takes": several({"type": "string", "enum": list(WISHES)}),
    }
)
OFFER = record(
    {
        "index": WHOLE,
        "offer": TEXT,
        "factor": NUMBER,
        "factor_exact": TEXT,
        "bowl": {"type": "object", "additionalProperties": GRAMS},
        "changes": several(record({"ingredient": TEXT, "from_g": GRAMS, "to_g": GRAMS})),
        "extra_mass_g": GRAMS,
        "extra_weighings": WHOLE,
        "taken_out_g": GRAMS,
        "worst_deviation_pct": NUMBER,
        "makes": or_null(NUMBER),
        "cost": or_null(NUMBER),
    }
)
PROBLEM = record(
    {
        "type": TEXT,
        "title": TEXT,
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": or_null(TEXT),
    }
)
FORMULA = record(
    {
        "formula": TEXT,
        "title": TEXT,
        "pieces": or_null(NUMBER),
        "mass_g": or_null(GRAMS),
        "additions": or_null(WHOLE),
        "mistake": or_null(TEXT),
    }
)
BATCH = record(
    {
        "id": TEXT,
        "formula": TEXT,
        "title": TEXT,
        "state": one_of(BatchState),
        "started": TIME,
        "ended": or_null(TIME),
    }
)

SCHEMAS: dict[str, Schema] = {
    "Snapshot": SNAPSHOT,
    "Offer": OFFER,
    "Problem": PROBLEM,
    "Formula": FORMULA,
    "Batch": BATCH,
    "Formulas": record({"formulas": several(named("Formula"))}),
    "Batches": record({"batches": several(named("Batch"))}),
    "Plan": record({"formula": TEXT, "title": TEXT, "factor": NUMBER, "factor_exact": TEXT}),
    "Record": record({"batch": TEXT, "formula": TEXT, "title": TEXT, "state": one_of(BatchState)}),
    "Health": record({"ok": TRUTH}),
    "Access": record({"may_act": TRUTH}),
    "Started": record({"batch": TEXT}),
    "Taken": record({"seq": WHOLE}),
    "StartBatch": record({"formula": NAME, "factor": FACTOR}, ("factor",), is_closed=True),
    "Intent": record({"intent": {"type": "string", "enum": list(WISHES)}}, is_closed=True),
    "TakeOffer": record({"offer": WHOLE, "seq": WHOLE}, ("seq",), is_closed=True),
    "Swap": record(
        {
            "ingredient": NAME,
            "for": LABEL | {"description": "the product that is weighed instead"},
            "yes": {**TRUTH, "description": "take it with allergens that are new to the batch, or not known"},
        },
        ("yes",),
        is_closed=True,
    ),
    "NameLot": record(
        {
            "ingredient": NAME,
            "lot": LABEL,
        },
        is_closed=True,
    ),
}
