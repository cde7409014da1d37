"""A JSON document as an answer: compact, in the order it was built, never kept by a cache."""

from __future__ import annotations

import json
from collections.abc import Mapping

from flask import Response


def json_answer(document: object, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    body = json.dumps(document, separators=(",", ":"), allow_nan=False)
    return json_bytes(body.encode(), status, headers)


def json_bytes(body: bytes, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    return Response(body, status, {"Cache-Control": "no-store", **(headers or {})}, mimetype="application/json")
