"""What can be looked at over HTTP: the page and its files, the Snapshot, formulas, records, the daemon's health."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from flask import Blueprint, Response, request
from werkzeug.exceptions import BadRequest, Conflict, NotFound

from scaled.batch.snapshot import grams
from scaled.errors import Invalid, ScaledError
from scaled.page.answer import json_answer, json_bytes
from scaled.page.assets import Asset
from scaled.page.body import MOST_BATCHES, factor_from_text
from scaled.page.full import STREAM, no_place
from scaled.page.guard import may_act
from scaled.page.metrics import MEDIA_TYPE, metrics_text
from scaled.page.openapi import openapi_document
from scaled.page.page import Page
from scaled.page.problem import problem_response
from scaled.page.stream import WIRE, EventStream

RETRY_S = 5


def views_to_look(page: Page, assets: dict[str, Asset]) -> Blueprint:
    views = Blueprint("look", __name__)
    _views_of_files(views, assets)
    _views_of_bench(views, page)
    _views_of_health(views, page)
    _views_of_formulas(views, page)
    _views_of_batches(views, page)
    return views


def _views_of_files(views: Blueprint, assets: dict[str, Asset]) -> None:
    def sent(name: str) -> Response:
        asset = assets.get(name)
        if asset is None:
            raise NotFound("The page has no such file.")
        response = Response(asset.body, content_type=asset.media_type, headers={"Cache-Control": "no-cache"})
        response.set_etag(asset.tag)
        response.make_conditional(request.environ)
        return response

    @views.get("/")
    def index() -> Response:
        return sent("index.html")

    @views.get("/assets/<name>")
    def asset(name: str) -> Response:
        return sent(name)


def _views_of_bench(views: Blueprint, page: Page) -> None:
    @views.get("/api/v1/status")
    def status() -> Response:
        return json_bytes(page.text.of(page.source.latest()))

    @views.get(STREAM)
    def events() -> Response:
        if not page.viewers.enter():
            raise no_place()
        stream = EventStream(page.crier, page.viewers, request.environ.get(WIRE))
        response = Response(stream, mimetype="text/event-stream", direct_passthrough=True)
        response.headers["Cache-Control"] = "no-store"
        return response

    @views.get("/api/v1/access")
    def access() -> Response:
        return json_answer({"may_act": may_act(request)})

    @views.get("/api/v1/openapi.json")
    def openapi() -> Response:
        return json_answer(openapi_document())


def _views_of_health(views: Blueprint, page: Page) -> None:
    @views.get("/metrics")
    def metrics() -> Response:
        text = metrics_text(page.health, page.source.latest(), page.viewers)
        return Response(text, content_type=MEDIA_TYPE, headers={"Cache-Control": "no-store"})

    @views.get("/healthz")
    def healthz() -> Response:
        report = page.health.report()
        if report["ok"]:
            return json_answer(report)
        response = problem_response(503, "A vital part of the daemon does not move.", **report)
        response.headers["Retry-After"] = str(RETRY_S)
        return response


def _views_of_formulas(views: Blueprint, page: Page) -> None:
    @views.get("/api/v1/formulas")
    def formulas() -> Response:
        return json_answer({"formulas": [_formula_json(page, stem) for stem in page.catalogue.stems()]})

    @views.get("/api/v1/formulas/<stem>/plan")
    def plan(stem: str) -> Response:
        factor = _asked_factor()
        if stem not in page.catalogue.stems():
            raise NotFound(f"There is no formula {stem!r}.")
        try:
            page.catalogue.formula(stem)
        except (Invalid, KeyError) as error:
            raise Conflict(f"The formula {stem!r} cannot be used: {error}") from error
        try:
            return json_answer(page.catalogue.plan_json(stem, factor))
        except ScaledError as error:
            raise BadRequest(str(error)) from error


def _asked_factor() -> Fraction:
    asked = request.args.to_dict(flat=False)
    if asked.keys() - {"factor"} or len(asked.get("factor", [])) > 1:
        raise BadRequest("Ask with `?factor=1.25` or nothing.")
    return factor_from_text(asked["factor"][0], "factor") if asked else Fraction(1)


def _formula_json(page: Page, stem: str) -> dict[str, Any]:
    try:
        formula = page.catalogue.formula(stem)
    except (Invalid, KeyError) as error:
        mistake = str(error) if isinstance(error, Invalid) else "the file is gone"
        return {"formula": stem, "title": stem, "pieces": None, "mass_g": None, "additions": None, "mistake": mistake}
    return {
        "formula": stem,
        "title": formula.title,
        "pieces": None if formula.pieces is None else float(formula.pieces),
        "mass_g": grams(formula.mass_mg),
        "additions": len(formula.weighed),
        "mistake": None,
    }


def _views_of_batches(views: Blueprint, page: Page) -> None:
    @views.get("/api/v1/batches")
    def batches() -> Response:
        asked = request.args.get("most", "20")
        if not (asked.isascii() and asked.isdecimal()) or not 1 <= int(asked[:9]) <= MOST_BATCHES:
            raise BadRequest(f"'most' must be a whole number from 1 to {MOST_BATCHES}.")
        return json_answer({"batches": list(page.history.batches(int(asked)))})

    @views.get("/api/v1/batches/<batch>")
    def record(batch: str) -> Response:
        found = page.history.record_json(batch)
        if found is None:
            raise NotFound(f"There is no batch {batch!r}.")
        return json_answer(found)
