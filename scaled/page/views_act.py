"""What can be done over HTTP: start a batch, a plain wish, take an offer, name a lot, use another product.

Each becomes one intent; the bench answers whether it was taken. Nothing here knows when it would be.
"""

from __future__ import annotations

import difflib
from fractions import Fraction

from flask import Blueprint, Response, request
from werkzeug.exceptions import BadRequest, Conflict, HTTPException, NotFound, ServiceUnavailable

from scaled.batch.inputs import WISHES, Intent, NameLot, StartBatch, TakeOffer, UseProduct, Wanted
from scaled.batch.protocols import Accepted, Refused
from scaled.page.answer import json_answer
from scaled.page.body import LONGEST_LABEL, LONGEST_NAME, factor_of, json_object, text_of, truth_of, whole_of
from scaled.page.page import Page

RETRY_FULL_S = 1


def refusal(refused: Refused) -> HTTPException:
    """The bench's no as a status."""
    match refused.reason:
        case "unknown":
            return NotFound(refused.why)
        case "conflict":
            return Conflict(refused.why)
        case "invalid":
            return BadRequest(refused.why)
        case "full":
            return ServiceUnavailable(refused.why, retry_after=RETRY_FULL_S)


def views_to_act(page: Page) -> Blueprint:
    views = Blueprint("act", __name__, url_prefix="/api/v1")

    def sent(intent: Intent) -> Accepted:
        answer = page.sink.send(intent)
        if isinstance(answer, Refused):
            raise refusal(answer)
        return answer

    @views.post("/batch")
    def batch() -> Response:
        asked = json_object(request, ("formula",), ("factor",))
        formula = text_of(asked, "formula", longest=LONGEST_NAME)
        factor = factor_of(asked, "factor") if "factor" in asked else Fraction(1)
        accepted = sent(StartBatch(page.sink.now(), formula, factor))
        where = {"Location": f"/api/v1/batches/{accepted.batch}"}
        return json_answer({"batch": accepted.batch}, 201, where)

    @views.post("/intent")
    def intent() -> Response:
        asked = json_object(request, ("intent",))
        text = text_of(asked, "intent", longest=40)
        for wish in WISHES:
            if wish == text:
                return json_answer({"seq": sent(Wanted(page.sink.now(), wish)).seq}, 202)
        near = difflib.get_close_matches(text, WISHES, 1)
        meant = f" {near[0]!r} is meant?" if near else ""
        raise BadRequest(f"There is no intent {text!r}.{meant} Known: {', '.join(WISHES)}.")

    @views.post("/offer")
    def offer() -> Response:
        asked = json_object(request, ("offer",), ("seq",))
        seen = whole_of(asked, "seq") if "seq" in asked else None
        return json_answer({"seq": sent(TakeOffer(page.sink.now(), whole_of(asked, "offer"), seen)).seq}, 202)

    @views.post("/lot")
    def lot() -> Response:
        asked = json_object(request, ("ingredient", "lot"))
        ingredient = text_of(asked, "ingredient", longest=LONGEST_NAME)
        name = text_of(asked, "lot", longest=LONGEST_LABEL)
        return json_answer({"seq": sent(NameLot(page.sink.now(), ingredient, name)).seq}, 202)

    @views.post("/swap")
    def swap() -> Response:
        asked = json_object(request, ("ingredient", "for"), ("yes",))
        ingredient = text_of(asked, "ingredient", longest=LONGEST_NAME)
        product = text_of(asked, "for", longest=LONGEST_LABEL)
        is_yes = truth_of(asked, "yes") if "yes" in asked else False
        return json_answer({"seq": sent(UseProduct(page.sink.now(), ingredient, product, is_yes)).seq}, 202)

    return views
