"""What is told to a viewer for whom there is no place, before the application is troubled with it.

Where fifty look on and two hundred knock, each knock is a request that whoever asks for the page or for `/healthz`
waits behind; this answer costs a fifth of one that goes through the views.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

from werkzeug.exceptions import ServiceUnavailable

from scaled.page.problem import PROBLEM_TYPE, problem_document
from scaled.page.stream import Viewers

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

STREAM = "/api/v1/events"
RETRY_S = 5
DETAIL = "All places for viewers are taken."


def no_place() -> ServiceUnavailable:
    return ServiceUnavailable(DETAIL, retry_after=RETRY_S)


class Doorkeeper:
    """The WSGI application, with the streams that find no place turned away before it."""

    def __init__(self, inner: WSGIApplication, viewers: Viewers) -> None:
        self._inner, self._viewers = inner, viewers
        self._body = json.dumps(problem_document(503, DETAIL)).encode()
        self._headers = [
            ("Content-Type", PROBLEM_TYPE),
            ("Content-Length", str(len(self._body))),
            ("Cache-Control", "no-store"),
            ("Retry-After", str(RETRY_S)),
        ]

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        is_stream = environ["PATH_INFO"] == STREAM and environ["REQUEST_METHOD"] == "GET"
        if not (is_stream and self._viewers.is_full):
            return self._inner(environ, start_response)
        self._viewers.refuse()
        start_response("503 Service Unavailable", list(self._headers))
        return [self._body]
