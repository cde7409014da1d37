"""The body of a request as strict JSON, and values out of it that have been checked.

Strict means: `application/json`, UTF-8, one object, no key twice, no unknown key, no NaN, `true` is not a number. A
mistake is told as 400 with the key, what is wrong and what would do.
"""

from __future__ import annotations

import difflib
import json
import re
from fractions import Fraction
from typing import Any

from flask import Request
from werkzeug.exceptions import BadRequest, UnsupportedMediaType

LARGEST_BODY = 16 * 1024
LEAST_FACTOR, LARGEST_FACTOR = Fraction(1, 1000), Fraction(1000)
LONGEST_NAME = 200  # characters of a formula's stem or an ingredient's name
LONGEST_LABEL = 80  # of a lot, or a product's name
JOINERS = "\u200c\u200d"  # cannot be seen, but some scripts need them, and a formula's names may have them
MOST_BATCHES = 500  # in one answer
LARGEST_WHOLE = 2**53  # beyond it a JSON number is not exact everywhere (RFC 8259 section 6)
_SIMPLEST = 10_000  # the largest denominator that a cook's factor is taken to have
_FACTOR_TEXT = re.compile(r"(?P<number>\d{1,20}(\.\d{1,20})?)|(?P<top>\d{1,20})/(?P<bottom>0*[1-9]\d{0,19})", re.ASCII)


def json_object(request: Request, keys: tuple[str, ...], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    """The request's JSON object, which has all of `keys` and none beside them but the `optional` ones.

    Raises:
        UnsupportedMediaType: the request is not declared as `application/json`.
        RequestEntityTooLarge: the body is above `LARGEST_BODY` (set on the app).
        BadRequest: it is anything else than such an object.
    """
    if request.mimetype != "application/json":
        raise UnsupportedMediaType("Send the body as JSON, with the header `Content-Type: application/json`.")
    document = _decoded(request.get_data())
    if not isinstance(document, dict):
        raise BadRequest("The body must be one JSON object.")
    known = (*keys, *optional)
    for key in document:
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            meant = f"; {near[0]!r} is meant?" if near else ""
            raise BadRequest(f"{_shown(key)} is no key of this request.{meant} Known: {', '.join(known)}.")
    for key in keys:
        if key not in document:
            raise BadRequest(f"{key!r} is missing.")
    return document


def _decoded(body: bytes) -> object:
    try:
        return json.loads(body.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_no_key_twice)
    except json.JSONDecodeError as error:
        raise BadRequest(f"The body is no JSON: line {error.lineno}, column {error.colno}: {error.msg}.") from error
    except UnicodeDecodeError as error:
        raise BadRequest("The body is no JSON: it is not UTF-8.") from error
    except RecursionError as error:
        raise BadRequest("The body is nested too deeply.") from error
    except ValueError as error:
        raise BadRequest(f"The body cannot be read: {error}.") from error


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON number")


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(pairs)
    if len(document) < len(pairs):
        twice = next(key for index, (key, _) in enumerate(pairs) if key in dict(pairs[:index]))
        raise ValueError(f"the key {_shown(twice)} is given twice")
    return document


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def text_of(document: dict[str, Any], key: str, longest: int) -> str:
    """The text under `key`, without blanks around it: 1 to `longest` characters that print, or join others."""
    value = document[key]
    if not isinstance(value, str):
        raise BadRequest(f"{key!r} must be text, not {_shown(value)}.")
    value = value.strip()
    if not 1 <= len(value) <= longest or not all(c.isprintable() or c in JOINERS for c in value):
        raise BadRequest(f"{key!r} must have 1 to {longest} printable characters.")
    return value


def whole_of(document: dict[str, Any], key: str) -> int:
    """The whole number from 0 under `key`."""
    value = document[key]
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= LARGEST_WHOLE:
        raise BadRequest(f"{key!r} must be a whole number from 0, not {_shown(value)}.")
    return value


def truth_of(document: dict[str, Any], key: str) -> bool:
    """`true` or `false` under `key`."""
    value = document[key]
    if not isinstance(value, bool):
        raise BadRequest(f"{key!r} must be true or false, not {_shown(value)}.")
    return value


def factor_of(document: dict[str, Any], key: str) -> Fraction:
    """The factor under `key`: a JSON number within bounds."""
    value = document[key]
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise BadRequest(f"{key!r} must be a number such as 1 or 1.25, not {_shown(value)}.")
    return _factor(value, key)


def factor_from_text(text: str, key: str) -> Fraction:
    """The factor that a query spells as a decimal number (`1.25`) or a fraction (`9/8`)."""
    match = _FACTOR_TEXT.fullmatch(text)
    if match is None:
        raise BadRequest(f"{key!r} must be a number such as 1.25 or 9/8, not {_shown(text)}.")
    if match["number"]:
        return _factor(float(match["number"]), key)
    return _bounded(Fraction(int(match["top"]), int(match["bottom"])), key)


def _factor(value: float, key: str) -> Fraction:
    """The simplest fraction that is the same double: 1.1176470588235294 is what 19/17 becomes in JSON."""
    if not LEAST_FACTOR <= value <= LARGEST_FACTOR:
        raise BadRequest(f"{key!r} must lie in {float(LEAST_FACTOR)} to {LARGEST_FACTOR}.")
    simple = Fraction(value).limit_denominator(_SIMPLEST)
    return simple if float(simple) == value else Fraction(repr(value))


def _bounded(factor: Fraction, key: str) -> Fraction:
    if not LEAST_FACTOR <= factor <= LARGEST_FACTOR:
        raise BadRequest(f"{key!r} must lie in {float(LEAST_FACTOR)} to {LARGEST_FACTOR}.")
    return factor
