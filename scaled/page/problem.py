"""Every error as an RFC 9457 problem document: what was wrong in one sentence, never a traceback.

Werkzeug's HTTP exceptions are raised as they are, with the sentence as their description; what is no HTTP exception is
a mistake of ours: logged here, and told as a bare 500.
"""

from __future__ import annotations

import json
import logging
from http import HTTPStatus
from typing import Any

from flask import Flask, Response
from werkzeug.exceptions import HTTPException

from scaled.errors import RecordsUnusable

PROBLEM_TYPE = "application/problem+json"
RETRY_RECORDS_S = 10
log = logging.getLogger(__name__)


def problem_document(status: int, detail: str | None, **more: object) -> dict[str, Any]:
    """The members of RFC 9457 section 3.1; `about:blank` says that the title is the status's own phrase."""
    return {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, "detail": detail, **more}


def problem_response(status: int, detail: str | None, **more: object) -> Response:
    body = json.dumps(problem_document(status, detail, **more))
    return Response(body, status, mimetype=PROBLEM_TYPE, headers={"Cache-Control": "no-store"})


def told_as_problem(error: HTTPException) -> Response | HTTPException:
    if error.response is not None or error.code is None:
        return error
    response = problem_response(error.code, error.description)
    for name, value in error.get_headers():
        if name not in ("Content-Type", "Content-Length"):
            response.headers[name] = value
    return response


def told_as_internal(error: Exception) -> Response:
    log.error("the page failed to answer", exc_info=error)
    return problem_response(500, "Something went wrong inside the page. The weighing goes on; the log has the cause.")


def told_as_unreadable(error: RecordsUnusable) -> Response:
    response = problem_response(503, str(error))
    response.headers["Retry-After"] = str(RETRY_RECORDS_S)
    return response


def tell_errors_as_problems(app: Flask) -> None:
    app.register_error_handler(HTTPException, told_as_problem)
    app.register_error_handler(RecordsUnusable, told_as_unreadable)
    app.register_error_handler(Exception, told_as_internal)
