"""What bench_daemon.py measures: `scaled run` of the product on a pseudo-terminal, and a floor that does the least.

python daemon_run.py TEMPLATE PORT    the floor: lines of the terminal PORT to sockets, each as one event made from
                                      the text in TEMPLATE; prints the port that it listens on
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import subprocess
import sys
import time
import tty
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

VALUE = "GROSS_G"
LONGEST_S = 30
SETTINGS = """\
scales: [{{name: bench, port: {line}, line: header, capacity: 6 kg, division: 0.1 g}}]
formulas: {recipes}
records: {folder}/records.db
page: {{port: {page}, viewers: {viewers}}}
"""


class Line:
    """A pseudo-terminal that says what it is told; `path` is its near side."""

    def __init__(self) -> None:
        self._far, self._near = os.openpty()
        tty.setraw(self._near)
        self.path = os.ttyname(self._near)

    def say(self, grams: float) -> None:
        os.write(self._far, b"ST,GS,%+09.1f g\r\n" % grams)

    def close(self) -> None:
        os.close(self._far)
        os.close(self._near)


class Daemon:
    """A running daemon; a context manager that ends it as the service manager would."""

    def __init__(
        self, python: str, folder: Path, line: str, *, viewers: int = 8, wrapped_by: tuple[str, ...] = ()
    ) -> None:
        recipes = Path(__file__).parents[2] / "recipes"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        settings = folder / "scaled.yaml"
        settings.write_text(SETTINGS.format(line=line, recipes=recipes, folder=folder, page=self.port, viewers=viewers))
        self.records = folder / "records.db"
        call = [*wrapped_by, python, "-m", "scaled", "run", "--config", str(settings)]
        with (folder / "log").open("wb") as log:
            self.process = subprocess.Popen(call, cwd=folder, stderr=log)

    def __enter__(self) -> Daemon:
        self.until(lambda: self.ask("/healthz"), "the page")
        return self

    def __exit__(self, *_: object) -> None:
        self.process.terminate()
        ended = self.process.wait(timeout=LONGEST_S)
        if ended:
            raise RuntimeError(f"the daemon ended with {ended}")

    def ask(self, path: str, body: object = None) -> Any:
        """GET, or POST with a body; None where nobody answers yet."""
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{path}", data, {"Content-Type": "application/json"}
        )
        try:
            with urllib.request.urlopen(request, timeout=10) as answer:
                return json.load(answer)
        except urllib.error.HTTPError:
            raise
        except (urllib.error.URLError, ConnectionError):
            return None

    def until(self, ask: Any, what: str) -> Any:
        end_at = time.monotonic() + LONGEST_S
        while not (answer := ask()):
            if self.process.poll() is not None or time.monotonic() > end_at:
                raise RuntimeError(f"no {what}")
            time.sleep(0.02)
        return answer


@contextlib.contextmanager
def floor(folder: Path, template: str, line: str) -> Iterator[int]:
    """The floor's process; its port."""
    path = folder / "template"
    path.write_text(template)
    process = subprocess.Popen([sys.executable, __file__, path, line], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    try:
        yield int(process.stdout.readline())
    finally:
        process.terminate()
        process.wait()
        process.stdout.close()


async def write_on(template: str, line: str) -> None:
    """Each line that comes is one event to each socket, at once."""
    writers: list[asyncio.StreamWriter] = []
    near = os.open(line, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def heard() -> None:
        for said in os.read(near, 4096).splitlines():
            event = f"event: status\nid: 1\ndata: {template.replace(VALUE, str(float(said[6:15])))}\n\n".encode()
            for writer in writers:
                writer.write(event)

    async def come(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        writer.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        writer.write(b"HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\n\r\n")
        writers.append(writer)

    asyncio.get_running_loop().add_reader(near, heard)
    server = await asyncio.start_server(come, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(write_on(Path(sys.argv[1]).read_text(), sys.argv[2]))
