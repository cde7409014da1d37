"""A machine that has no time: busy processes, more than it has cores."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def busy_machine(more: int = 1) -> Iterator[None]:
    """A busy process for each core, and `more` besides; they end themselves with whoever began them."""
    spin = "import os\nbegan = os.getppid()\nwhile os.getppid() == began: sum(range(10_000))"
    hogs = [subprocess.Popen([sys.executable, "-c", spin]) for _ in range((os.cpu_count() or 1) + more)]
    try:
        yield
    finally:
        for hog in hogs:
            hog.kill()
            hog.wait()
