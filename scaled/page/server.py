"""The page served by waitress from a thread of its own, inside the daemon's process, with the crier's thread beside it.

Threads are viewers + 8: each stream holds one, and eight are left for everything else, so that the page itself and
`/healthz` answer while all places are taken. More may knock than can enter (`connection_limit`), to be told so. Little
is buffered for a viewer who does not read (`outbuf_high_watermark`, the socket's own buffer), and one that is gone
without a word is given up after twenty seconds.

A page that breaks off is told in one line and starts anew on the same port, after a pause that grows while it breaks
again and again. The weighing neither notices nor waits.
"""

from __future__ import annotations

import errno
import logging
import socket
from contextlib import suppress
from threading import Event, Thread
from typing import TYPE_CHECKING, Any

from waitress import wasyncore
from waitress.server import create_server

from scaled.errors import Busy, WrongSettings
from scaled.page.wire import LARGEST_DRAINED, Channel

if TYPE_CHECKING:
    from flask import Flask

    from scaled.page.page import Page

SPARE_THREADS = 8
SPARE_CONNECTIONS = 300
BACKLOG = 1024  # as waitress has it
PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0  # before the page starts anew
LONGEST_ANSWER_S = 10.0  # an intent waits for the bench for up to 7 s
WELL_S = 60.0  # what breaks off after so long is a new trouble
log = logging.getLogger(__name__)
SOCKET_OPTIONS = [
    (socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),
    (socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, 20_000),  # ms
    (socket.SOL_SOCKET, socket.SO_SNDBUF, 32 * 1024),
]


class PageServer:
    """The page at one address, from `start` to `stop`."""

    def __init__(self, app: Flask, address: str, port: int) -> None:
        self._app, self._address, self._port = app, address, port
        self._page: Page = app.extensions["page"]
        self._server: Any = None
        self._map: dict[int, Any] = {}
        self._loop: Thread | None = None
        self._crier: Thread
        self._closing = Event()
        self._pause_s = PAUSE_S

    @property
    def port(self) -> int:
        """The port that it listens on, the one it was given by the system where 0 was asked for."""
        return self._port

    @property
    def url(self) -> str:
        host = f"[{self._address}]" if ":" in self._address else self._address
        return f"http://{host}:{self._port}/"

    def start(self) -> None:
        """Listen and serve.

        Raises:
            Busy: another program has the port.
            WrongSettings: the address is none of this machine's.
        """
        self._listen()
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a line for each who waits would fill the journal
        self._loop = Thread(target=self._serve, name="page", daemon=True)
        self._crier = Thread(target=self._page.crier.run, name="page-crier", daemon=True)
        self._page.stopping.clear()
        self._loop.start()
        self._crier.start()

    def _listen(self) -> None:
        most = self._page.viewers.most
        self._server = create_server(
            self._app,
            map=self._map,
            sockets=self._bound(),
            threads=most + SPARE_THREADS,
            connection_limit=most + SPARE_CONNECTIONS,
            outbuf_high_watermark=16 * 1024,
            max_request_body_size=LARGEST_DRAINED,
            max_request_header_size=16 * 1024,
            channel_request_lookahead=1,
            asyncore_use_poll=True,
            ident="",
        )
        self._server.adj.socket_options = SOCKET_OPTIONS
        for listener in list(self._map.values()):
            if hasattr(listener, "channel_class"):
                listener.channel_class = Channel

    def _serve(self) -> None:
        began = self._page.monotonic()
        while not self._closing.is_set():
            try:
                wasyncore.loop(timeout=1, use_poll=True, map=self._map, count=1)
            except Exception as error:  # noqa: BLE001 - whatever it was
                if self._page.monotonic() - began >= WELL_S:
                    self._pause_s = PAUSE_S
                self._start_anew(error)
                began = self._page.monotonic()
        wasyncore.close_all(self._map, ignore_all=True)

    def _start_anew(self, error: Exception) -> None:
        """Let go of every connection, and listen again as soon as nothing is in the way."""
        is_listening = False
        while not is_listening:
            log.error("the page broke off and starts anew in %g s: %s: %s", self._pause_s, type(error).__name__, error)
            self._let_go()
            pause_s, self._pause_s = self._pause_s, min(LONGEST_PAUSE_S, 2 * self._pause_s)
            if self._closing.wait(pause_s):
                return
            try:
                self._listen()
                is_listening = True
            except Exception as again:  # noqa: BLE001 - whatever it was
                error = again

    def _let_go(self) -> None:
        """End the streams and the connections, let the workers finish, and only then close what they wake the loop by:
        a file of the records could be the next to have its number."""
        self._page.crier.end_all()
        for channel in list(self._map.values()):
            if isinstance(channel, Channel):
                channel.handle_close()
        self._server.task_dispatcher.shutdown(timeout=LONGEST_ANSWER_S)
        wasyncore.close_all(self._map, ignore_all=True)

    def stop(self, timeout_s: float = 3.0) -> None:
        """End the streams, answer what is being asked, close. Does nothing where it was not started."""
        if self._loop is None:
            return
        self._page.stopping.set()
        self._crier.join(timeout_s)
        self._server.task_dispatcher.shutdown(timeout=timeout_s)
        self._closing.set()
        for listener in list(self._map.values()):
            if hasattr(listener, "pull_trigger"):
                with suppress(OSError):  # it is just being closed
                    listener.pull_trigger()
        self._loop.join(timeout_s)
        self._loop = None

    def _bound(self) -> list[socket.socket]:
        """A socket bound to each address that the name stands for, all on one port."""
        host = self._address.strip("[]")
        try:
            found = socket.getaddrinfo(host, self._port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        except OSError as error:
            raise WrongSettings(f"page: address {self._address!r} cannot be found: {error.strerror}") from error
        sockets: list[socket.socket] = []
        try:
            for family, kind, protocol, _, where in dict.fromkeys(found):
                listener = socket.socket(family, kind, protocol)
                sockets.append(listener)
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                listener.bind((where[0], self._port, *where[2:]))
                listener.listen(BACKLOG)  # of two that bind at the same moment one is refused only here
                self._port = listener.getsockname()[1]
        except OSError as error:
            for listener in sockets:
                listener.close()
            raise self._refused(error) from error
        return sockets

    def _refused(self, error: OSError) -> Busy | WrongSettings:
        where = f"{self._address} port {self._port}"
        if error.errno == errno.EADDRINUSE:
            return Busy(f"{where} is taken by another program; end it or set another `page: port`")
        return WrongSettings(f"the page cannot listen on {where}: {error.strerror}; set `page: address` and `port`")
