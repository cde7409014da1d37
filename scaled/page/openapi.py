"""The HTTP interface described in OpenAPI 3.1.0, built from the schemas: `/api/v1/openapi.json`."""

from __future__ import annotations

from functools import cache
from typing import Any

from scaled.page.body import MOST_BATCHES
from scaled.page.metrics import MEDIA_TYPE
from scaled.page.problem import PROBLEM_TYPE
from scaled.page.schemas import SCHEMAS, TEXT, Schema, named

JSON = "application/json"
_REFUSALS = {
    400: "not understood: no JSON, an unknown key, a value out of bounds",
    403: "asked for by another site's page, or by a device that may look only",
    404: "there is no such thing",
    409: "the bench does not take it now",
    413: "the body is too large",
    415: "the body is not declared as JSON",
    421: "the Host header is none of the page's own names",
    503: "full, or the records cannot be read; Retry-After says when to try again",
}
_ALWAYS = (421,)
_ACTING = (400, 403, 409, 413, 415, 421, 503)


def _content(media_type: str, schema: Schema) -> dict[str, Any]:
    return {media_type: {"schema": schema}}


def _answers(status: int, what: str, content: dict[str, Any], refusals: tuple[int, ...] = _ALWAYS) -> dict[str, Any]:
    answers: dict[str, Any] = {str(status): {"description": what, "content": content}}
    for refused in refusals:
        answers[str(refused)] = {
            "description": _REFUSALS[refused],
            "content": _content(PROBLEM_TYPE, named("Problem")),
        }
    return answers


def _look(name: str, what: str, content: dict[str, Any], *more: int, asks: tuple[Schema, ...] = ()) -> dict[str, Any]:
    operation = {"operationId": name, "summary": what, "responses": _answers(200, what, content, (*more, *_ALWAYS))}
    return {"get": operation | ({"parameters": list(asks)} if asks else {})}


def _act(name: str, what: str, body: str, answer: str, status: int = 202, *more: int) -> dict[str, Any]:
    return {
        "post": {
            "operationId": name,
            "summary": what,
            "requestBody": {"required": True, "content": _content(JSON, named(body))},
            "responses": _answers(status, "taken", _content(JSON, named(answer)), (*more, *_ACTING)),
        }
    }


def _asked(name: str, where: str, schema: Schema, what: str) -> Schema:
    return {"name": name, "in": where, "required": where == "path", "schema": schema, "description": what}


def _paths() -> dict[str, Any]:
    factor = _asked("factor", "query", TEXT, "a decimal number or a fraction: 1.25 or 9/8")
    most = _asked("most", "query", {"type": "integer", "minimum": 1, "maximum": MOST_BATCHES}, "how many at most")
    stem = _asked("formula", "path", TEXT, "the formula's stem")
    batch = _asked("batch", "path", TEXT, "the batch's id")
    name = _asked("name", "path", TEXT, "the file's name")
    return {
        "/": _look("page", "the page", _content("text/html", TEXT)),
        "/assets/{name}": _look("asset", "a file of the page", _content("text/javascript", TEXT), 404, asks=(name,)),
        "/api/v1/status": _look("status", "the bench as it stands", _content(JSON, named("Snapshot"))),
        "/api/v1/events": _look(
            "events",
            "the same as Server-Sent Events: `event: status`, `id: seq`, the present one first; a comment every 5 s",
            _content("text/event-stream", TEXT),
            403,
            503,
        ),
        "/api/v1/access": _look("access", "whether this device may act", _content(JSON, named("Access"))),
        "/api/v1/batch": _act("startBatch", "start a batch", "StartBatch", "Started", 201, 404),
        "/api/v1/intent": _act("intent", "a plain wish of the cook", "Intent", "Taken"),
        "/api/v1/offer": _act("takeOffer", "take one of the ways out", "TakeOffer", "Taken"),
        "/api/v1/lot": _act("nameLot", "say which lot an ingredient is from", "NameLot", "Taken", 202, 404),
        "/api/v1/swap": _act("swap", "weigh another product for what is still to come", "Swap", "Taken", 202, 404),
        "/api/v1/formulas": _look("formulas", "the formulas to choose from", _content(JSON, named("Formulas"))),
        "/api/v1/formulas/{formula}/plan": _look(
            "plan", "what a factor makes", _content(JSON, named("Plan")), 400, 404, 409, asks=(stem, factor)
        ),
        "/api/v1/batches": _look(
            "batches", "the newest batches first", _content(JSON, named("Batches")), 400, 503, asks=(most,)
        ),
        "/api/v1/batches/{batch}": _look(
            "record", "what went into a batch", _content(JSON, named("Record")), 404, 503, asks=(batch,)
        ),
        "/api/v1/openapi.json": _look("openapi", "this document", _content(JSON, {"type": "object"})),
        "/metrics": _look("metrics", "counters and gauges for Prometheus", _content(MEDIA_TYPE, TEXT)),
        "/healthz": _look("healthz", "whether the daemon's parts move", _content(JSON, named("Health")), 503),
    }


@cache
def openapi_document() -> dict[str, Any]:
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "scaled",
            "version": "1.0.0",
            "description": "The bench as it stands, and what can be done about it. Masses are grams.",
        },
        "servers": [{"url": "/"}],
        "paths": _paths(),
        "components": {"schemas": SCHEMAS},
    }
