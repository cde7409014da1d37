"""`scaled run` as a real process with a settings file, its service manager (a real socket) and a browser's requests."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

from daemon_waiting import eventually

DOUGH = """\
formula: Oat dough
pieces: 8
limits: {factor: 0.5 to 2}
stages:
  - stage: dry
    additions:
      - {ingredient: oat flour, weight: 240 g, tolerance: ±1 %, flour: yes}
      - {ingredient: sea salt, weight: 3 g, tolerance: ±0.3 g}
      - {ingredient: butter, weight: 220 g, tolerance: ±1 %}
  - stage: creamed
    additions:
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, piece: 50 g, egg: whole, comes out: no}
"""
QUICK_DOUGH = """\
formula: Quick dough
pieces: 4
limits: {factor: 0.5 to 2}
stages:
  - stage: all
    additions:
      - {ingredient: oat flour, weight: 120 g, tolerance: ±2 %, flour: yes}
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, piece: 50 g, egg: whole, comes out: no}
"""
SETTINGS = """\
scales: [{{name: bench, port: {port}, line: header, capacity: 6 kg, division: 0.1 g}}]
formulas: recipes
records: {records}
page: {{port: {page}, viewers: {viewers}}}
{more}"""
QUICK = "confirm_after: 0.3 s\n"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Refusal(Exception):
    """The page said no; `status` is its status, `problem` the document."""

    def __init__(self, status: int, problem: dict[str, Any]) -> None:
        super().__init__(f"{status}: {problem.get('detail')}")
        self.status, self.problem = status, problem


class Place:
    """A folder with settings, formulas and records; processes come and go."""

    def __init__(self, folder: Path, port: Path | str, *, more: str = QUICK, records: str = "records.db") -> None:
        self.folder, self.port, self.more = folder, port, more
        self.records = folder / records
        self.page = free_port()
        self.settings = folder / "scaled.yaml"
        (folder / "recipes").mkdir(exist_ok=True)
        (folder / "recipes" / "oat-dough.yaml").write_text(DOUGH)
        (folder / "recipes" / "quick-dough.yaml").write_text(QUICK_DOUGH)
        self.write()

    def write(self, **changes: object) -> None:
        """The settings, with other values for port, records, page, viewers or more."""
        values: dict[str, object] = {
            "port": self.port,
            "records": self.records,
            "page": self.page,
            "viewers": 4,
            "more": self.more,
        }
        self.settings.write_text(SETTINGS.format(**(values | changes)))

    def run(self, *wrapped_by: str, environment: dict[str, str] | None = None) -> Running:
        """A daemon on these settings, perhaps run by another program (strace)."""
        return Running(self, wrapped_by, environment or {})


class Running:
    """One process; a context manager that ends it if it still runs."""

    def __init__(self, place: Place, wrapped_by: tuple[str, ...], environment: dict[str, str]) -> None:
        self.place = place
        self._manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        address = place.folder / f"notify-{time.monotonic_ns()}"
        self._manager.bind(str(address))
        self._manager.setblocking(False)
        self.notified: list[str] = []
        self.log = place.folder / f"log-{time.monotonic_ns()}"
        self.started_at = time.monotonic()
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*wrapped_by, sys.executable, "-m", "scaled", "run", "--config", str(place.settings)],
                cwd=place.folder,
                stdout=subprocess.PIPE,
                stderr=log,
                env=os.environ | {"NOTIFY_SOCKET": str(address)} | environment,
            )

    def __enter__(self) -> Running:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        if self.process.stdout:
            self.process.stdout.close()
        self._manager.close()

    # Its service manager.

    def heard(self) -> list[str]:
        """All that was told to the service manager so far."""
        while True:
            try:
                self.notified.append(self._manager.recv(8192).decode())
            except BlockingIOError:
                return self.notified

    def until_ready(self, within_s: float = 30.0) -> Running:
        eventually(lambda: "READY=1" in self.heard() or self.process.poll() is not None, "READY=1", within_s)
        assert self.process.poll() is None, self.log.read_text()
        return self

    # Its life.

    def signal(self, number: signal.Signals) -> None:
        self.process.send_signal(number)

    def ended(self, within_s: float = 30.0) -> int:
        """The exit code, once it has ended by itself."""
        return self.process.wait(within_s)

    def terminated(self) -> float:
        """Told to stop: how long that took, in seconds; its exit code must be 0."""
        start = time.monotonic()
        self.process.terminate()
        assert self.ended() == 0, self.log.read_text()
        return time.monotonic() - start

    def kill(self) -> None:
        """Gone at once, as by a pulled plug."""
        self.process.kill()
        self.process.wait()

    # Its page.

    def ask(self, path: str, body: object = None) -> dict[str, Any]:
        """GET, or POST with a body; raises Refusal, or ConnectionError where nobody answers."""
        status, text = self._exchanged(path, body)
        document: dict[str, Any] = json.loads(text)
        if status >= 400:
            raise Refusal(status, document)
        return document

    def text(self, path: str) -> str:
        """GET of something that is no JSON."""
        return self._exchanged(path, None)[1]

    def _exchanged(self, path: str, body: object) -> tuple[int, str]:
        connection = HTTPConnection("127.0.0.1", self.place.page, timeout=10)
        try:
            headers = {} if body is None else {"Content-Type": "application/json"}
            sent = None if body is None else json.dumps(body)
            connection.request("GET" if body is None else "POST", path, sent, headers)
            answer = connection.getresponse()
            return answer.status, answer.read().decode()
        except HTTPException as error:
            raise ConnectionError(str(error)) from error
        finally:
            connection.close()

    @property
    def status(self) -> dict[str, Any]:
        return self.ask("/api/v1/status")

    def until(self, is_so: Callable[[dict[str, Any]], object], what: str, within_s: float = 15.0) -> dict[str, Any]:
        """The Snapshot once something is so in it."""

        def ask() -> dict[str, Any] | None:
            status = self.status
            return status if is_so(status) else None

        try:
            return eventually(ask, what, within_s)
        except AssertionError as error:
            raise AssertionError(f"{error}\n{json.dumps(self.status)}\n{self.log.read_text()}") from None

    def wish(self, intent: str) -> int:
        """A plain intent; the `seq` of the Snapshot that shows it."""
        return int(self.ask("/api/v1/intent", {"intent": intent})["seq"])

    @contextmanager
    def viewer(self) -> Iterator[Iterator[dict[str, Any]]]:
        """A browser's stream of Snapshots, one after the other."""
        connection = HTTPConnection("127.0.0.1", self.place.page, timeout=10)
        try:
            connection.request("GET", "/api/v1/events")
            answer = connection.getresponse()
            lines = iter(answer.readline, b"")
            yield (json.loads(line[6:]) for line in lines if line.startswith(b"data: "))
        finally:
            connection.close()
