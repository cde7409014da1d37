"""The interface's own description: valid, and true in both directions."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import pytest
from conftest import Behind
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate
from page_scenes import PLAIN
from werkzeug.test import TestResponse

from scaled.batch.protocols import Refused
from scaled.page.openapi import openapi_document

GOOD_BODIES = {
    "/api/v1/batch": {"formula": "oat-short-dough", "factor": 1.5},
    "/api/v1/intent": {"intent": "next"},
    "/api/v1/offer": {"offer": 0, "seq": 1},
    "/api/v1/lot": {"ingredient": "butter", "lot": "B-17"},
    "/api/v1/swap": {"ingredient": "butter", "for": "margarine", "yes": True},
}
NAMES = {"formula": "oat-short-dough", "batch": "20261124-1", "name": "page.js"}
OPERATIONS = [(path, method) for path, item in openapi_document()["paths"].items() for method in item]


def schema_of(response_or_body: dict[str, Any], media_type: str) -> dict[str, Any]:
    described = {kind.split(";")[0]: content for kind, content in response_or_body["content"].items()}
    return described[media_type]["schema"] | {"components": openapi_document()["components"]}


def assert_described(operation: dict[str, Any], response: TestResponse) -> None:
    """The answer's status and media type are described, and a JSON body fits its schema."""
    described = operation["responses"][str(response.status_code)]
    schema = schema_of(described, response.mimetype)
    if "json" in response.mimetype:
        Draft202012Validator(schema).validate(json.loads(response.data))


def test_it_is_valid(client: FlaskClient) -> None:
    document = client.get("/api/v1/openapi.json").json
    validate(document)


def test_a_planted_fault_is_caught() -> None:
    broken = json.loads(json.dumps(openapi_document()))
    broken["paths"]["/api/v1/status"]["get"]["responses"] = "none"
    with pytest.raises(Exception, match="none"):
        validate(broken)


def test_it_describes_every_route_and_no_other(app: Flask) -> None:
    routes = {
        (re.sub(r"<(\w+)>", r"{\1}", rule.rule).replace("{stem}", "{formula}"), method.lower())
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    assert routes == set(OPERATIONS)


@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_each_operation_answers_as_described(client: FlaskClient, path: str, method: str) -> None:
    operation = openapi_document()["paths"][path][method]
    where = path.format(**NAMES)
    body = GOOD_BODIES.get(path)
    response = client.open(where, method=method, json=body)
    assert response.status_code in (200, 201, 202)
    assert_described(operation, response)
    response.close()
    if body is not None:
        sent = schema_of(operation["requestBody"], "application/json")
        Draft202012Validator(sent).validate(body)


@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_each_refusal_is_as_described(client: FlaskClient, behind: Behind, path: str, method: str) -> None:
    operation = openapi_document()["paths"][path][method]
    where = path.format(**NAMES)
    body = GOOD_BODIES.get(path)
    foreign = client.open(where, method=method, json=body, headers={"Host": "evil.example"})
    assert_described(operation, foreign)
    if body is None:
        return
    assert_described(operation, client.post(where, json=body, headers={"Sec-Fetch-Site": "cross-site"}))
    assert_described(operation, client.post(where, data="x", content_type="text/plain"))
    assert_described(operation, client.post(where, data="x", content_type="application/json"))
    assert_described(operation, client.post(where, data="x" * 20000, content_type="application/json"))
    for reason in ("conflict", "full", "invalid"):
        behind.sink.answers.append(Refused(reason, "not now"))
        assert_described(operation, client.post(where, json=body))


@pytest.mark.parametrize(
    "body",
    [
        {"formula": "a", "factor": 0},
        {"formula": "a", "factor": "2"},
        {"formula": ""},
        {"factor": 1},
        {"formula": "a", "x": 1},
    ],
)
def test_what_the_description_forbids_is_refused(client: FlaskClient, body: dict[str, Any]) -> None:
    operation = openapi_document()["paths"]["/api/v1/batch"]["post"]
    assert not Draft202012Validator(schema_of(operation["requestBody"], "application/json")).is_valid(body)
    assert client.post("/api/v1/batch", json=body).status_code == 400


def test_a_bench_without_weight_fits_the_description_too(client: FlaskClient, behind: Behind) -> None:
    behind.board.publish(replace(PLAIN, seq=2, weight=None, scale=None, scale_state="lost"))
    assert_described(openapi_document()["paths"]["/api/v1/status"]["get"], client.get("/api/v1/status"))
