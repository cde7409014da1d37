"""A running `scaled run` on a simulated scale behind a real pseudo-terminal, as a process of its own."""

from __future__ import annotations

import http.client
import json
import signal
import socket
import subprocess
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contract_command import PROGRAM

from scaled.clock import RealClock
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale

FORMULA = """formula: Two in a bowl
pieces: 4
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 60 g, tolerance: ±2 g}
  - stage: wet
    additions:
      - {ingredient: whole egg, weight: 50 g, tolerance: ±2 %, comes out: no}
"""


@dataclass(frozen=True)
class Reply:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def document(self) -> Any:
        return json.loads(self.body)


@dataclass
class Running:
    """The process, its settings, its page and its scale; `wrapped_by` is a program that runs it (strace)."""

    folder: Path
    wrapped_by: tuple[str, ...] = ()
    port: int = 0
    scale: PtyScale | None = None
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> Running:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        (self.folder / "recipes").mkdir()
        (self.folder / "recipes" / "two.yaml").write_text(FORMULA, encoding="utf-8")
        self.scale = PtyScale(SimulatedScale(seed=5), RealClock(), self.folder)
        self.settings.write_text(
            f"scales:\n  - {{name: bench, port: {self.scale.path}, line: header, capacity: 6 kg, division: 0.1 g}}\n"
            f"formulas: {self.folder / 'recipes'}\nrecords: {self.folder / 'records.db'}\n"
            f"page: {{address: 127.0.0.1, port: {self.port}}}\n",
            encoding="utf-8",
        )
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*self.wrapped_by, str(PROGRAM), "run", "--config", str(self.settings)],
                stdout=subprocess.PIPE,
                stderr=log,
            )
        self.until(lambda: b"ready (lines come)" in self.log.read_bytes(), "the scale is ready")
        return self

    @property
    def settings(self) -> Path:
        return self.folder / "scaled.yaml"

    @property
    def log(self) -> Path:
        return self.folder / "log"

    def stop(self) -> tuple[int, bytes, bytes]:
        assert self.process is not None
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        out, _ = self.process.communicate(timeout=30)
        if self.scale is not None:
            self.scale.stop()
            self.scale = None
        return self.process.returncode, out, self.log.read_bytes()

    def ask(
        self,
        method: str,
        path: str,
        body: object = None,
        headers: dict[str, str] | None = None,
        raw: bytes | None = None,
    ) -> Reply:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            data = raw if raw is not None else (None if body is None else json.dumps(body).encode())
            told = {"Content-Type": "application/json"} if data is not None else {}
            told.update(headers or {})
            connection.putrequest(method, path, skip_host="Host" in told)
            for name, value in told.items():
                if value:
                    connection.putheader(name, value)
            if data is not None:
                connection.putheader("Content-Length", str(len(data)))
            connection.endheaders()
            if data is not None:
                connection.send(data)
            answer = connection.getresponse()
            return Reply(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
        finally:
            connection.close()

    def status(self) -> Any:
        return self.ask("GET", "/api/v1/status").document

    def until(self, condition: Any, what: str, seconds: float = 25.0) -> None:
        """Wait until something holds; not being reachable yet counts as not yet."""
        ends = time.monotonic() + seconds
        pause = threading.Event()
        while time.monotonic() < ends:
            try:
                if condition():
                    return
            except (OSError, http.client.HTTPException):
                pass
            assert self.process is not None
            if self.process.poll() is not None:
                raise AssertionError(f"it ended: {self.log.read_text()}")
            pause.wait(0.05)
        raise AssertionError(f"not within {seconds} s: {what}; now {self.status()}")
