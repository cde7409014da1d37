"""The program's `demo` as processes, all cases at once."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from scaled.demo.cases import CASES

PROGRAM = Path(sys.executable).with_name("scaled")
SPEED = 20
DEADLINE_S = 240.0


@dataclass(frozen=True)
class Shown:
    code: int
    record: dict[str, Any]
    story: str

    def addition(self, ingredient: str) -> dict[str, Any]:
        return next(a for a in self.record["additions"] if a["ingredient"] == ingredient)


def all_played() -> dict[str, Shown]:
    """Each case's exit code, record and story; `json.loads` takes one document and nothing beside it."""
    playing = {
        name: subprocess.Popen(
            [str(PROGRAM), "demo", "--case", name, "--speed", str(SPEED), "--json"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for name in CASES
    }
    ended = {name: (process.communicate(timeout=DEADLINE_S), process.returncode) for name, process in playing.items()}
    assert all(out for (out, _), _ in ended.values()), [err for (out, err), _ in ended.values() if not out]
    return {name: Shown(code, json.loads(out), err) for name, ((out, err), code) in ended.items()}
