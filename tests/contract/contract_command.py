"""The commands as a user calls them, and many calls in one process where a thousand are wanted."""

from __future__ import annotations

import contextlib
import io
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PROGRAM = Path(sys.executable).with_name("scaled")


@dataclass(frozen=True)
class Answer:
    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """The one document on standard output; anything beside it is an error."""
        return json.loads(self.out)

    @property
    def errors(self) -> list[str]:
        return self.err.splitlines()


def scaled(*arguments: object, env: dict[str, str] | None = None, cwd: Path | None = None) -> Answer:
    """Run the installed program."""
    done = subprocess.run(
        [str(PROGRAM), *map(str, arguments)], capture_output=True, timeout=120, env=env, cwd=cwd, check=False
    )
    return Answer(done.returncode, done.stdout.decode(), done.stderr.decode())


def called(*arguments: object) -> Answer:
    """The same through the program's entry point in this process: for a thousand calls."""
    from scaled.cli import main

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(argument) for argument in arguments])
    return Answer(code, out.getvalue(), err.getvalue())
