"""Start and memory of the daemon, from the product alone in an environment of its own.

A real pseudo-terminal says ten lines a second, `scaled run` reads them, and the page is asked until it shows the
weight. The floor is the same Python that only imports what the daemon needs. VmHWM is the peak of resident memory.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import socket
import subprocess
import tempfile
import threading
import time
import tty
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from statistics import median

from figures import Row, Size

ROOT = Path(__file__).parents[2]
PRODUCT = os.environ.get("SCALED_PRODUCT_PYTHON", str(ROOT / ".venv-product/bin/python"))
IMPORTS = "import serial, gpiozero, yaml, flask, waitress, sqlite3"
LINE = b"ST,GS,+00123.4 g\r\n"
LONGEST_S = 20
SETTINGS = """\
scales: [{{name: bench, port: {port}, line: header, capacity: 6 kg, division: 0.1 g}}]
formulas: {folder}
records: {folder}/records.db
page: {{port: {page}}}
"""


@contextlib.contextmanager
def speaking_scale() -> Iterator[str]:
    """The path of a pseudo-terminal that says a line every 0.1 s."""
    far, near = os.openpty()
    tty.setraw(near)
    done = threading.Event()

    def speak() -> None:
        while not done.wait(0.1):
            os.write(far, LINE)

    speaker = threading.Thread(target=speak)
    speaker.start()
    try:
        yield os.ttyname(near)
    finally:
        done.set()
        speaker.join()
        os.close(far)
        os.close(near)


def asked(port: int, path: str) -> bytes:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=5) as answer:
        return answer.read()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def peak_mb(pid: int | str) -> float:
    return int(re.search(r"VmHWM:\s*(\d+) kB", Path(f"/proc/{pid}/status").read_text())[1]) / 1024


def shows_weight(port: int) -> bool:
    """Whether the page shows the weight on the line by now."""
    try:
        weight = json.loads(asked(port, "/api/v1/status"))["weight"]
    except (urllib.error.URLError, ConnectionError):
        return False
    return weight is not None and weight["gross_g"] == 123.4


def daemon() -> tuple[float, float]:
    """Seconds from the start to the first weight on the page, and MB at the peak with the page up."""
    with tempfile.TemporaryDirectory() as folder, speaking_scale() as line:
        port, settings = free_port(), Path(folder) / "scaled.yaml"
        settings.write_text(SETTINGS.format(port=line, folder=folder, page=port))
        start = time.perf_counter()
        running = subprocess.Popen([PRODUCT, "-m", "scaled", "run", "--config", str(settings)], cwd=folder)
        try:
            while not shows_weight(port):
                if running.poll() is not None or time.perf_counter() - start > LONGEST_S:
                    raise RuntimeError(f"no weight on the page after {time.perf_counter() - start:.1f} s")
                time.sleep(0.005)
            taken = time.perf_counter() - start
            asked(port, "/")
            peak = peak_mb(running.pid)
        finally:
            running.terminate()
            ended = running.wait(timeout=LONGEST_S)
    if ended:
        raise RuntimeError(f"the daemon ended with {ended}")
    return taken, peak


def imports_alone() -> tuple[float, float]:
    script = f"{IMPORTS}; print([line for line in open('/proc/self/status') if 'VmHWM' in line][0].split()[1])"
    start = time.perf_counter()
    done = subprocess.run([PRODUCT, "-c", script], capture_output=True, text=True, check=True)
    return time.perf_counter() - start, int(done.stdout) / 1024


def rows(size: Size) -> Iterator[Row]:
    pairs = [(daemon(), imports_alone()) for _ in range(3 if size == "small" else 15)]
    started, peak = (median(daemon_s[i] for daemon_s, _ in pairs) for i in (0, 1))
    floor_s, floor_mb = (median(floor[i] for _, floor in pairs) for i in (0, 1))
    alone = {"floor_is": "its imports alone", "note": "product alone"}
    first = "start to the first weight on the page"
    yield Row(first, started, "s", floor_s, ratio_at_most=6.25, figure_at_most=1, **alone)
    yield Row("memory, page up (VmHWM)", peak, "MB", floor_mb, ratio_at_most=1.37, figure_at_most=48, **alone)
