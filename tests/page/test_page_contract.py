"""The HTTP contract, asked without a socket: what is answered, what is sent to the bench, what is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from conftest import Behind
from flask import Flask
from flask.testing import FlaskClient
from page_scenes import PLAIN
from prometheus_client.parser import text_string_to_metric_families
from werkzeug.test import TestResponse

from scaled.batch.cue import Cue, Spoken
from scaled.batch.inputs import WISHES, NameLot, StartBatch, TakeOffer, UseProduct, Wanted
from scaled.batch.protocols import Accepted, RefusalReason, Refused
from scaled.errors import RecordsUnusable
from scaled.formula import line
from scaled.page.guard import HEADERS
from scaled.page.status import status_json

POSTS = (
    ("/api/v1/batch", {"formula": "oat-short-dough"}),
    ("/api/v1/intent", {"intent": "next"}),
    ("/api/v1/offer", {"offer": 0}),
    ("/api/v1/lot", {"ingredient": "butter", "lot": "B-17"}),
    ("/api/v1/swap", {"ingredient": "butter", "for": "margarine"}),
)
STATUS_OF: dict[RefusalReason, int] = {"unknown": 404, "conflict": 409, "invalid": 400, "full": 503}


def assert_problem(response: TestResponse, status: int) -> dict[str, object]:
    """RFC 9457 section 3: media type, members, and the status said twice alike."""
    assert response.status_code == status, response.text
    assert response.mimetype == "application/problem+json"
    document = json.loads(response.data)
    assert document["status"] == status
    assert document["type"] == "about:blank"
    assert document["title"] and document["detail"]
    assert "Traceback" not in response.text
    return document


def test_status_is_the_snapshot(client: FlaskClient, behind: Behind) -> None:
    behind.board.publish(replace(PLAIN, seq=2))
    response = client.get("/api/v1/status")
    assert response.status_code == 200
    assert response.mimetype == "application/json"
    assert response.json == status_json(replace(PLAIN, seq=2))


def test_what_was_spoken_stands_beside_it_in_words(client: FlaskClient, behind: Behind) -> None:
    spoken = Spoken(3, "came back heavier", (("grams", "37"),))
    behind.board.publish(replace(PLAIN, seq=2, cue=Cue("confirm", spoken=spoken)))
    document = client.get("/api/v1/status").json
    assert document is not None
    assert document["said"].startswith("The vessel came back 37 grams heavier.")
    behind.board.publish(replace(PLAIN, seq=3, cue=Cue("confirm", spoken=Spoken(4, "no such phrase"))))
    again = client.get("/api/v1/status").json
    assert again is not None
    assert again["said"] is None


def test_a_batch_is_started_at_factor_one(client: FlaskClient, behind: Behind) -> None:
    response = client.post("/api/v1/batch", json={"formula": "oat-short-dough"})
    assert (response.status_code, response.json) == (201, {"batch": "20261124-1"})
    assert response.headers["Location"].endswith("/api/v1/batches/20261124-1")
    assert behind.sink.sent == [StartBatch(42.0, "oat-short-dough", Fraction(1))]


@pytest.mark.parametrize(
    ("number", "factor"),
    [
        ("2", Fraction(2)),
        ("1.0", Fraction(1)),
        ("0.1", Fraction(1, 10)),
        ("1.125", Fraction(9, 8)),
        ("1.1176470588235294", Fraction(19, 17)),
        ("0.3333333333333333", Fraction(1, 3)),
        ("1.23456789", Fraction(123456789, 100000000)),
        ("1e-3", Fraction(1, 1000)),
        ("1000", Fraction(1000)),
    ],
)
def test_a_factor_is_the_simplest_fraction_that_is_the_same_double(
    client: FlaskClient, behind: Behind, number: str, factor: Fraction
) -> None:
    body = f'{{"formula": "lemon-curd", "factor": {number}}}'
    assert client.post("/api/v1/batch", data=body, content_type="application/json").status_code == 201
    (sent,) = behind.sink.sent
    assert isinstance(sent, StartBatch)
    assert sent.factor == factor


@pytest.mark.parametrize("wish", WISHES)
def test_each_wish_reaches_the_bench(client: FlaskClient, behind: Behind, wish: str) -> None:
    behind.sink.answers.append(Accepted(77))
    response = client.post("/api/v1/intent", json={"intent": wish})
    assert (response.status_code, response.json) == (202, {"seq": 77})
    assert behind.sink.sent == [Wanted(42.0, wish)]  # type: ignore[arg-type]


def test_an_offer_and_a_lot_reach_the_bench(client: FlaskClient, behind: Behind) -> None:
    assert client.post("/api/v1/offer", json={"offer": 1, "seq": 12}).json == {"seq": 1}
    assert client.post("/api/v1/offer", json={"offer": 0}).json == {"seq": 2}
    assert client.post("/api/v1/lot", json={"ingredient": " butter ", "lot": "B-17 é"}).json == {"seq": 3}
    assert behind.sink.sent == [TakeOffer(42.0, 1, 12), TakeOffer(42.0, 0, None), NameLot(42.0, "butter", "B-17 é")]


@pytest.mark.parametrize("called", ["می\u200cخواهم", "egg 👩\u200d🍳", "crème fraîche"])
def test_a_name_that_a_formula_may_have_reaches_the_bench(client: FlaskClient, behind: Behind, called: str) -> None:
    assert line.name(called) == called
    assert client.post("/api/v1/lot", json={"ingredient": called, "lot": "B-17"}).status_code == 202
    assert behind.sink.sent == [NameLot(42.0, called, "B-17")]


def test_another_product_reaches_the_bench_with_the_yes_that_was_said(client: FlaskClient, behind: Behind) -> None:
    for body in ({}, {"yes": False}, {"yes": True}):
        answer = client.post("/api/v1/swap", json={"ingredient": "butter", "for": " margarine "} | body)
        assert answer.status_code == 202
    said = [UseProduct(42.0, "butter", "margarine", is_yes) for is_yes in (False, False, True)]
    assert behind.sink.sent == said


@pytest.mark.parametrize(("path", "body"), POSTS)
@pytest.mark.parametrize("reason", STATUS_OF)
def test_the_benchs_no_is_a_status(
    client: FlaskClient, behind: Behind, path: str, body: dict[str, object], reason: RefusalReason
) -> None:
    status = STATUS_OF[reason]
    behind.sink.answers.append(Refused(reason, "No batch runs. Start one."))
    response = client.post(path, json=body)
    assert assert_problem(response, status)["detail"] == "No batch runs. Start one."
    assert ("Retry-After" in response.headers) == (status == 503)


BAD_BODIES = (
    "",
    "{",
    "nonsense",
    "null",
    "[]",
    '"next"',
    "17",
    "{}",
    "{'intent': 'next'}",
    '{"a": 1, "a": 2}',
    "[" * 8000,
    '{"a":' * 3000,
    "1" * 6000,
    "\ufeff{}",
)


@pytest.mark.parametrize("path", [path for path, _ in POSTS])
@pytest.mark.parametrize("body", BAD_BODIES)
def test_what_is_no_such_object_is_400(client: FlaskClient, behind: Behind, path: str, body: str) -> None:
    assert_problem(client.post(path, data=body, content_type="application/json"), 400)
    assert behind.sink.sent == []


@pytest.mark.parametrize("path", [path for path, _ in POSTS])
@pytest.mark.parametrize("body", [b"\xff\xfe{}", '{"intent": "next"}'.encode("utf-16"), b'{"intent": "\xe9"}'])
def test_what_is_not_utf_8_is_400(client: FlaskClient, behind: Behind, path: str, body: bytes) -> None:
    assert_problem(client.post(path, data=body, content_type="application/json"), 400)
    assert behind.sink.sent == []


@pytest.mark.parametrize(
    ("path", "body", "told"),
    [
        ("/api/v1/batch", '{"formula": 3}', "'formula' must be text"),
        ("/api/v1/batch", '{"formula": ""}', "'formula' must have 1 to 200"),
        ("/api/v1/batch", '{"formula": "  "}', "'formula' must have 1 to 200"),
        ("/api/v1/batch", '{"formula": "a\\u0000b"}', "printable"),
        ("/api/v1/batch", '{"factor": 1}', "'formula' is missing"),
        ("/api/v1/batch", '{"formula": "a", "facktor": 1}', "'factor' is meant?"),
        ("/api/v1/batch", '{"formula": "a", "factor": 1, "factor": 2}', "given twice"),
        *(
            ("/api/v1/batch", f'{{"formula": "a", "factor": {value}}}', "factor")
            for value in ('"2"', '"19/17"', "true", "null", "0", "-1", "0.0009", "1001", "1e999", "-1e999", "[1]", "{}")
        ),
        *(
            ("/api/v1/batch", f'{{"formula": "a", "factor": {value}}}', "no JSON number")
            for value in ("NaN", "Infinity", "-Infinity")
        ),
        ("/api/v1/intent", '{"intent": "nxet"}', "'next' is meant?"),
        ("/api/v1/intent", '{"intent": "Next"}', "'next' is meant?"),
        ("/api/v1/intent", '{"intent": null}', "'intent' must be text"),
        ("/api/v1/intent", '{"intent": "next", "now": true}', "'now' is no key"),
        ("/api/v1/offer", '{"offer": "0"}', "'offer' must be a whole number"),
        ("/api/v1/offer", '{"offer": 0.0}', "'offer' must be a whole number"),
        ("/api/v1/offer", '{"offer": true}', "'offer' must be a whole number"),
        ("/api/v1/offer", '{"offer": -1}', "'offer' must be a whole number"),
        ("/api/v1/offer", '{"offer": 0, "seq": null}', "'seq' must be a whole number"),
        ("/api/v1/offer", '{"offer": 0, "seq": 1e3}', "'seq' must be a whole number"),
        ("/api/v1/offer", '{"offer": 9007199254740993}', "'offer' must be a whole number"),
        ("/api/v1/lot", '{"ingredient": "butter"}', "'lot' is missing"),
        ("/api/v1/lot", '{"ingredient": "butter", "lot": ""}', "'lot' must have 1 to 80"),
        ("/api/v1/lot", json.dumps({"ingredient": "butter", "lot": "x" * 81}), "'lot' must have 1 to 80"),
        ("/api/v1/lot", '{"ingredient": "butter", "lot": "a\\nb"}', "printable"),
        ("/api/v1/swap", '{"ingredient": "butter"}', "'for' is missing"),
        ("/api/v1/swap", '{"ingredient": "butter", "for": ""}', "'for' must have 1 to 80"),
        ("/api/v1/swap", '{"ingredient": "butter", "for": "x", "yes": 1}', "'yes' must be true or false"),
    ],
)
def test_a_value_that_will_not_do_is_told_by_its_key(
    client: FlaskClient, behind: Behind, path: str, body: str, told: str
) -> None:
    document = assert_problem(client.post(path, data=body, content_type="application/json"), 400)
    assert told in str(document["detail"])
    assert len(str(document["detail"])) < 300
    assert behind.sink.sent == []


@pytest.mark.parametrize(("path", "body"), POSTS)
@pytest.mark.parametrize(
    "content_type", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "text/json"]
)
def test_what_is_not_declared_as_json_is_415(
    client: FlaskClient, behind: Behind, path: str, body: dict[str, object], content_type: str | None
) -> None:
    assert_problem(client.post(path, data=json.dumps(body), content_type=content_type), 415)
    assert behind.sink.sent == []


def test_a_charset_beside_the_media_type_does_no_harm(client: FlaskClient) -> None:
    response = client.post("/api/v1/intent", data='{"intent": "next"}', content_type="application/json; charset=utf-8")
    assert response.status_code == 202


@pytest.mark.parametrize(("path", "body"), POSTS)
def test_too_large_a_body_is_413(client: FlaskClient, behind: Behind, path: str, body: dict[str, object]) -> None:
    padded = json.dumps(body) + " " * 16384
    assert_problem(client.post(path, data=padded, content_type="application/json"), 413)
    assert behind.sink.sent == []


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/nowhere", 404),
        ("GET", "/api/v1/", 404),
        ("GET", "/api/v1/status/", 404),
        ("GET", "/api//v1/status", 404),
        ("POST", "/api/v1/status", 405),
        ("GET", "/api/v1/batch", 405),
        ("DELETE", "/api/v1/batches/20261124-1", 405),
        ("PUT", "/", 405),
        ("GET", "/api/v1/batches/nosuch", 404),
        ("GET", "/api/v1/formulas/nosuch/plan", 404),
        ("GET", "/assets/nosuch.css", 404),
    ],
)
def test_what_is_not_there_is_a_problem_too(client: FlaskClient, method: str, path: str, status: int) -> None:
    response = client.open(path, method=method)
    assert_problem(response, status)
    assert ("Allow" in response.headers) == (status == 405)


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../app.py",
        "/assets/..%2fapp.py",
        "/assets/%2e%2e/app.py",
        "/assets//etc/passwd",
        "/assets/%2fetc%2fpasswd",
        "/api/v1/formulas/..%2f..%2fetc%2fpasswd/plan",
        "/api/v1/batches/..%2f..%2fetc%2fpasswd",
        "/..%2f..%2fetc/passwd",
    ],
)
def test_a_path_never_reaches_the_file_system(client: FlaskClient, path: str) -> None:
    assert_problem(client.get(path), 404)


def test_a_mistake_of_ours_is_told_without_a_traceback(
    app: Flask, behind: Behind, caplog: pytest.LogCaptureFixture
) -> None:
    behind.health.parts = {}
    response = app.test_client().get("/healthz")
    assert "KeyError" not in str(assert_problem(response, 500))
    assert "KeyError" in caplog.text


def test_formulas_can_be_chosen_and_one_with_a_mistake_says_so(client: FlaskClient) -> None:
    document = client.get("/api/v1/formulas").json
    assert document is not None
    by_stem = {formula["formula"]: formula for formula in document["formulas"]}
    assert list(by_stem) == ["oat-short-dough", "lemon-curd", "misspelt"]
    assert by_stem["oat-short-dough"] == {
        "formula": "oat-short-dough",
        "title": "Oat and honey short dough",
        "pieces": 8.0,
        "mass_g": 513.0,
        "additions": 4,
        "mistake": None,
    }
    assert by_stem["misspelt"]["mistake"] == "misspelt.yaml:3:7: 'wieght' is no key; 'weight' is meant?"


@pytest.mark.parametrize(("query", "exact"), [("", "1"), ("?factor=1.125", "9/8"), ("?factor=19/17", "19/17")])
def test_a_plan_at_a_factor(client: FlaskClient, query: str, exact: str) -> None:
    document = client.get(f"/api/v1/formulas/oat-short-dough/plan{query}").json
    assert document is not None
    assert document["factor_exact"] == exact


@pytest.mark.parametrize(
    "query",
    ["factor=", "factor=x", "factor=-1", "factor=1/0", "factor=1&factor=2", "pieces=3", "factor=1e3", "factor=5000"],
)
def test_a_plan_asked_for_wrongly(client: FlaskClient, query: str) -> None:
    assert_problem(client.get(f"/api/v1/formulas/oat-short-dough/plan?{query}"), 400)


def test_a_plan_that_cannot_be_made(client: FlaskClient) -> None:
    assert "misspelt.yaml:3:7" in str(assert_problem(client.get("/api/v1/formulas/misspelt/plan"), 409)["detail"])
    assert_problem(client.get("/api/v1/formulas/lemon-curd/plan?factor=500"), 400)


def test_batches_and_their_records(client: FlaskClient) -> None:
    document = client.get("/api/v1/batches").json
    assert document is not None
    assert [batch["id"] for batch in document["batches"]] == ["20261124-1"]
    record = client.get("/api/v1/batches/20261124-1").json
    assert record is not None
    assert record["factor_exact"] == "1"
    for most in ("0", "-1", "x", "501", "1" * 40, "²"):
        assert_problem(client.get("/api/v1/batches", query_string={"most": most}), 400)


def test_records_that_cannot_be_read_are_503(client: FlaskClient, behind: Behind) -> None:
    behind.history.trouble = RecordsUnusable("records.db cannot be read: disk I/O error")
    response = client.get("/api/v1/batches")
    assert "disk I/O error" in str(assert_problem(response, 503)["detail"])
    assert "Retry-After" in response.headers


def test_metrics_are_read_by_a_prometheus_parser(client: FlaskClient) -> None:
    response = client.get("/metrics")
    assert response.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    families = {family.name: family for family in text_string_to_metric_families(response.text)}
    assert families["scaled_frames_ok"].type == "counter"
    assert families["scaled_frames_ok"].samples[0].value == 1234.0
    assert families["scaled_u_grams"].samples[0].labels == {"scale": "bench"}
    assert families["scaled_page_viewers_most"].samples[0].value == 50
    assert families["scaled_weight_gross_grams"].samples[0].value == 812.4
    assert families["scaled_recorded"].samples[0].value == 1.0


def test_health_is_told_and_a_part_that_stands_still_is_503(client: FlaskClient, behind: Behind) -> None:
    assert client.get("/healthz").json == behind.health.parts
    behind.health.parts = {"ok": False, "scale": "ready", "records": "cannot be written"}
    response = client.get("/healthz")
    document = assert_problem(response, 503)
    assert document["records"] == "cannot be written"
    assert "Retry-After" in response.headers


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [("GET", "/", 200), ("GET", "/nowhere", 404), ("POST", "/api/v1/intent", 415), ("GET", "/api/v1/status", 200)],
)
def test_every_answer_carries_the_security_headers(client: FlaskClient, method: str, path: str, status: int) -> None:
    response = client.open(path, method=method)
    assert response.status_code == status
    for name, value in HEADERS:
        assert response.headers.getlist(name) == [value]
    policy = response.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert not [name for name in response.headers if name[0].startswith("Access-Control")]


def test_the_pages_files_are_asked_for_again_only_when_they_change(client: FlaskClient) -> None:
    first = client.get("/")
    assert first.mimetype == "text/html"
    again = client.get("/", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
