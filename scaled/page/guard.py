"""Who may ask, and who may act: checked before any view runs.

- The Host header must be one of our own names. A page on the internet that makes its own name point at this machine
  (DNS rebinding) still sends its own name, and is told 421.
- A request that would change something must come from our own page (`Sec-Fetch-Site`, else Origin equal to Host) or
  from a program that is no browser, else 403. Neither may another site hold a viewer's place by opening the stream.
- Only the machine itself acts for now; other devices look.

There are no CORS headers at all, and each answer carries a Content-Security-Policy without inline script or style.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from werkzeug.exceptions import Forbidden

from scaled.page.options import PageOptions
from scaled.page.problem import problem_response

if TYPE_CHECKING:
    from _typeshed import OptExcInfo
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment
    from flask import Request

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
HEADERS = (
    (
        "Content-Security-Policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; "
        "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    ),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "same-origin"),
    ("X-Frame-Options", "DENY"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
)
_AUTHORITY = re.compile(r"(?P<host>\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::(?P<port>[0-9]{1,5}))?", re.ASCII)
_ORIGIN = re.compile(r"(?P<scheme>https?)://(?P<authority>[^/?#@]+)", re.ASCII | re.IGNORECASE)
_PORTS = {"http": 80, "https": 443}

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


def address_of(text: str) -> Address | None:
    """An IP literal as an address (an IPv4 one inside IPv6 as IPv4), None where it is a name."""
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return None
    return getattr(address, "ipv4_mapped", None) or address


def authority_of(text: str) -> tuple[str, int | None] | None:
    """Host and port of a Host header in one spelling (lower case, no trailing dot, IP literals canonical).

    None where it is no authority: empty, several, with a user part, a port out of range.
    """
    match = _AUTHORITY.fullmatch(text)
    if match is None:
        return None
    port = int(match["port"]) if match["port"] else None
    host = match["host"]
    if port is not None and port > 65535:
        return None
    if host.startswith("["):
        address = address_of(host[1:-1])
        return None if address is None else (str(address), port)
    name = host.lower().removesuffix(".")
    return (str(address_of(name) or name), port) if name else None


class OwnNames:
    """The names and addresses that this page answers to."""

    def __init__(self, options: PageOptions) -> None:
        own = address_of(options.address.strip("[]"))
        # A wildcard is reached by whatever address the machine has; an IP literal cannot be rebound by a foreign name.
        self._any_literal = own is not None and own.is_unspecified
        names = {"localhost", options.address, *options.hosts}
        self._names = {parsed[0] for name in names if (parsed := authority_of(_bracketed(name)))}

    def has(self, host: str) -> bool:
        authority = authority_of(host)
        if authority is None:
            return False
        address = address_of(authority[0])
        if address is not None and (address.is_loopback or self._any_literal):
            return not address.is_unspecified
        return authority[0] in self._names


def _bracketed(name: str) -> str:
    return f"[{name}]" if name.count(":") > 1 and not name.startswith("[") else name


class Guarded:
    """The WSGI application with the Host check before it and the security headers on each of its answers."""

    def __init__(self, inner: WSGIApplication, options: PageOptions) -> None:
        self._inner = inner
        self._own = OwnNames(options)

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        def start(
            status: str, headers: list[tuple[str, str]], exc_info: OptExcInfo | None = None, /
        ) -> Callable[[bytes], object]:
            return start_response(status, [*headers, *HEADERS], exc_info)

        if self._own.has(environ.get("HTTP_HOST", "")):
            return self._inner(environ, start)
        detail = "This address is not one of the page's own. Add the name to `page: hosts` in the settings."
        return problem_response(421, detail)(environ, start)


def refuse_cross_site(request: Request) -> None:
    """Raise Forbidden for a request that another site made a browser send."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None:
        if site not in ("same-origin", "none"):
            raise Forbidden("Another site's page asked for this. Only the page itself may.")
        return
    origin = request.headers.get("Origin")
    if origin is not None and not is_same_origin(origin, request.headers.get("Host", "")):
        raise Forbidden("Origin and Host differ: another site's page asked for this. Only the page itself may.")


def is_same_origin(origin: str, host: str) -> bool:
    """Whether an Origin header names the very host and port of a Host header."""
    match = _ORIGIN.fullmatch(origin)
    ours = authority_of(host)
    theirs = authority_of(match["authority"]) if match else None
    if match is None or ours is None or theirs is None:
        return False
    usual = _PORTS[match["scheme"].lower()]
    return (theirs[0], theirs[1] or usual) == (ours[0], ours[1] or usual)


def may_act(request: Request) -> bool:
    """Whether the request comes from this machine itself."""
    address = address_of(request.remote_addr or "")
    return address is not None and address.is_loopback


def refuse_from_afar(request: Request) -> None:
    """Raise Forbidden where it may not act."""
    if not may_act(request):
        raise Forbidden("This device may look only. Use the screen at the bench, the pedal or a press on the scale.")
