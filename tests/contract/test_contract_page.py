"""The page's contract, seen from outside: `scaled run` as a process, the simulated scale, and bare HTTP."""

from __future__ import annotations

import http.client
import json
from collections.abc import Iterator
from typing import Any

import pytest
from contract_command import called
from contract_running import Running


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    bench = Running(tmp_path_factory.mktemp("bench"))
    try:
        yield bench.start()
    finally:
        if bench.process is not None:
            bench.stop()


TWO = {"formula": "two"}

PROMISED = {"seq", "at", "recorded", "scale", "weight", "batch", "addition", "upcoming", "done", "offers"}
MORE_PROMISED = {"cue", "cautions"}

REFUSED: list[tuple[str, str, Any, dict[str, str], int]] = [
    ("POST", "batch", b"{bad", {}, 400),
    ("POST", "batch", b"", {}, 400),
    ("POST", "batch", b"[]", {}, 400),
    ("POST", "batch", b"\xff\xfe", {}, 400),
    ("POST", "batch", b"[" * 3000, {}, 400),
    ("POST", "batch", {**TWO, "factor": 0}, {}, 400),
    ("POST", "batch", {**TWO, "factor": "x"}, {}, 400),
    ("POST", "batch", b'{"formula": "two", "factor": NaN}', {}, 400),
    ("POST", "intent", {"intent": "dance"}, {}, 400),
    ("POST", "offer", {"offer": "x"}, {}, 400),
    ("POST", "batch", TWO, {"Sec-Fetch-Site": "cross-site"}, 403),
    ("POST", "batch", TWO, {"Origin": "http://elsewhere.example"}, 403),
    ("POST", "batch", {"formula": "nope"}, {}, 404),
    ("POST", "batch", {"formula": "../two"}, {}, 404),
    ("GET", "nope", None, {}, 404),
    ("POST", "status", {}, {}, 405),
    ("POST", "intent", {"intent": "next"}, {}, 409),
    ("POST", "offer", {"offer": 0}, {}, 409),
    ("POST", "lot", {"ingredient": "whole egg", "lot": "L1"}, {}, 409),
    ("POST", "batch", b'{"formula": "' + b"a" * 1_000_000 + b'"}', {}, 413),
    ("POST", "batch", TWO, {"Content-Type": "text/plain"}, 415),
    ("POST", "batch", TWO, {"Content-Type": ""}, 415),
    ("GET", "status", None, {"Host": "elsewhere.example"}, 421),
]


@pytest.mark.parametrize(("method", "path", "body", "headers", "status"), REFUSED)
def test_what_is_refused_is_a_problem_document_and_changes_nothing(
    running: Running, method: str, path: str, body: Any, headers: dict[str, str], status: int
) -> None:
    before = running.status()["batch"]
    raw = body if isinstance(body, bytes) else None
    reply = running.ask(method, f"/api/v1/{path}", None if raw is not None else body, headers, raw)
    assert reply.status == status
    assert reply.headers["content-type"].split(";")[0] == "application/problem+json"
    problem = reply.document
    assert problem["status"] == status
    assert problem["title"]
    assert problem["detail"]
    assert running.status()["batch"] == before


def test_the_page_and_its_headers(running: Running) -> None:
    reply = running.ask("GET", "/")
    assert reply.status == 200
    policy = reply.headers["content-security-policy"]
    assert "unsafe-inline" not in policy
    assert "default-src 'none'" in policy
    assert reply.headers["x-content-type-options"] == "nosniff"
    assert "access-control-allow-origin" not in reply.headers
    assert b"<script>" not in reply.body
    assert b" style=" not in reply.body
    for path, kind in (
        ("/healthz", "application/json"),
        ("/metrics", "text/plain"),
        ("/api/v1/openapi.json", "application/json"),
    ):
        reply = running.ask("GET", path)
        assert (reply.status, reply.headers["content-type"].split(";")[0]) == (200, kind)


def test_a_snapshot_has_every_field(running: Running) -> None:
    running.until(lambda: running.status()["weight"], "a weight")
    snapshot = running.status()
    assert set(snapshot) >= PROMISED | MORE_PROMISED
    assert set(snapshot["scale"]) >= {"name", "state"}
    assert set(snapshot["weight"]) >= {"gross_g", "net_g", "settled", "rate_g_s", "forecast_g"}


def _event(stream: http.client.HTTPResponse) -> dict[str, str]:
    fields: dict[str, str] = {}
    while True:
        line = stream.readline().decode().rstrip("\n")
        if not line and fields:
            return fields
        if line and not line.startswith(":"):
            name, _, value = line.partition(": ")
            fields[name] = value


def test_events_begin_with_the_present(running: Running) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=10)
    connection.request("GET", "/api/v1/events")
    stream = connection.getresponse()
    assert (stream.status, stream.headers["content-type"].split(";")[0]) == (200, "text/event-stream")
    event = _event(stream)
    assert event["event"] == "status"
    assert json.loads(event["data"])["seq"] == int(event["id"])
    connection.close()


def test_a_batch_from_the_page_to_the_records(running: Running) -> None:
    """Last in the module: an egg overshoots, the offer of the page is taken, the records tell the same."""
    scale = running.scale
    assert scale is not None
    begun = running.ask("POST", "/api/v1/batch", TWO)
    assert begun.status == 201
    assert begun.headers["content-type"] == "application/json"
    batch = begun.document["batch"]
    assert running.ask("POST", "/api/v1/batch", TWO).status == 409
    scale.act(lambda it, at: it.put(500.0, at))
    running.until(lambda: running.status()["addition"]["phase"] == "waiting", "the vessel is tared")
    scale.act(lambda it, at: it.put(60.0, at))
    running.until(lambda: len(running.status()["done"]) == 1, "the flour is in")
    lot = running.ask("POST", "/api/v1/lot", {"ingredient": "wheat flour", "lot": "L-17"})
    assert lot.status == 202
    scale.act(lambda it, at: it.put(57.0, at))
    running.until(lambda: running.status()["addition"]["phase"] == "asking", "the question")
    asked = running.status()
    assert [offer["index"] for offer in asked["offers"]] == list(range(len(asked["offers"])))
    assert asked["offers"][0]["offer"] == "scale up, least"
    assert running.ask("POST", "/api/v1/offer", {"offer": 99, "seq": asked["seq"]}).status in (400, 409)
    assert running.ask("POST", "/api/v1/offer", {"offer": 0, "seq": lot.document["seq"]}).status == 409
    taken = running.ask("POST", "/api/v1/offer", {"offer": 0, "seq": asked["seq"]})
    assert taken.status == 202
    running.until(lambda: running.status()["seq"] >= taken.document["seq"], "the answer is shown")
    assert running.status()["batch"]["factor"] == pytest.approx(19 / 17)
    scale.act(lambda it, at: it.put(7.2, at))
    running.until(lambda: running.status()["batch"]["state"] == "complete", "the batch is complete")

    settings = ("--config", running.settings, "--json")
    shown = called("batch", "show", batch, *settings).document
    assert (shown["state"], shown["factor_exact"]) == ("complete", "19/17")
    flour, egg = shown["additions"]
    assert (flour["lot"], egg["actual_g"], egg["in_tolerance"]) == ("L-17", pytest.approx(57.0, abs=0.1), True)
    assert flour["actual_g"] == pytest.approx(67.2, abs=0.3)
    assert [correction["after"] for correction in shown["corrections"]] == ["whole egg"]
    for said in (("list",), ("verify",), ("trace", "L-17"), ("trace", "l-17")):
        answer = called("batch", *said, *settings)
        assert (answer.code, answer.err) == (0, "")
        assert said == ("verify",) or batch in answer.out
    lines = called("batch", "export", "--format", "jsonl", *settings[:2]).out.splitlines()
    assert all(json.loads(line) for line in lines)
    assert called("batch", "show", "nope", *settings).code in (1, 2)

    code, out, err = running.stop()
    assert (code, out) == (0, b"")
    assert b"Traceback" not in err
