"""One text made sound by espeak-ng, in child processes that can be killed.

espeak-ng writes the sound to a pipe and aplay plays it: straight to ALSA it stutters on small machines. Both sit in
one process group of their own, so that one signal ends both. What they print is thrown away, since a full pipe would
hang them. The text goes in by standard input, never as an argument.
"""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import signal
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

log = logging.getLogger(__name__)

WORDS_PER_MINUTE = 160
MOST_BYTES = 4096  # of a text: far less than a pipe holds, so that writing it never waits
REAP_S = 1.0


@dataclass(frozen=True)
class Speech:
    """How a text becomes sound.

    `program` is espeak-ng, `player` aplay (None or not installed: espeak-ng plays by itself), `device` the ALSA
    device; with `wav` the sound goes into that file instead, the last text only.
    """

    program: str = "espeak-ng"
    player: str | None = "aplay"
    device: str | None = None
    wav: Path | None = None

    def is_there(self) -> bool:
        return shutil.which(self.program) is not None

    def commands(self, language: str) -> list[list[str]]:
        """The commands of the pipe, one or two; the text goes to the first one's standard input."""
        speak = [self.program, "-v", language, "-s", str(WORDS_PER_MINUTE), "--stdin"]
        if self.wav is not None:
            return [[*speak, "-w", str(self.wav)]]
        if self.player is None or shutil.which(self.player) is None:
            return [speak]
        device = ["-D", self.device] if self.device else []
        return [[*speak, "--stdout"], [self.player, "-q", *device, "-"]]


class Utterance:
    """One text being spoken; raises OSError where a program can not be started, and then none is left running.

    Call `end` in every case. `is_whole` then tells whether it came to its own end, `failure` in words which program
    failed, if one did.
    """

    def __init__(self, speech: Speech, language: str, text: str) -> None:
        commands = speech.commands(language)
        self.name = Path(commands[-1][0]).name
        self.is_whole = False
        self.failure: str | None = None
        self._children: list[subprocess.Popen[bytes]] = []
        try:
            for command in commands:
                self._children.append(_child(command, self._children, is_last=command is commands[-1]))
        except OSError:
            self.end()
            raise
        for child in self._children[:-1]:
            if child.stdout is not None:
                child.stdout.close()  # only the player shall hold it, so that espeak-ng notices when it is gone
        self._tell(text)

    def is_going_on(self) -> bool:
        return any(child.poll() is None for child in self._children)

    def end(self) -> None:
        """Every child gone and reaped, its pipes closed; one that not even a kill ends is left behind, and said."""
        self.is_whole = not self.is_going_on()
        if not self.is_whole:
            with contextlib.suppress(ProcessLookupError):  # it may end by itself just now
                os.killpg(self._children[0].pid, signal.SIGKILL)
        for child in self._children:
            for pipe in (child.stdin, child.stdout):
                if pipe is not None:
                    with contextlib.suppress(BrokenPipeError):  # the text of a child that is gone
                        pipe.close()
            try:
                child.wait(REAP_S)
            except subprocess.TimeoutExpired:
                log.warning("voice: %s (process %d) can not be ended", child.args, child.pid)
        if self.is_whole:
            self.failure = next((words for words in map(_failure, self._children) if words), None)

    def _tell(self, text: str) -> None:
        pipe = self._children[0].stdin
        if pipe is not None:
            with contextlib.suppress(BrokenPipeError):  # a child that ends early says why by its exit code
                pipe.write(text.encode()[:MOST_BYTES])
                pipe.close()


def _child(
    command: Sequence[str], before: Sequence[subprocess.Popen[bytes]], *, is_last: bool
) -> subprocess.Popen[bytes]:
    return subprocess.Popen(  # noqa: S603 - the programs are ours, the text is not among the arguments
        command,
        stdin=before[-1].stdout if before else subprocess.PIPE,
        stdout=subprocess.DEVNULL if is_last else subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        process_group=before[0].pid if before else 0,
        env={name: value for name, value in os.environ.items() if name != "NOTIFY_SOCKET"},
    )


def _failure(child: subprocess.Popen[bytes]) -> str | None:
    """In words, what went wrong; a program whose listener went away did nothing wrong."""
    if child.returncode in (0, None, -signal.SIGPIPE, 128 + signal.SIGPIPE):  # the last from a shell around it
        return None
    name = Path(str(child.args[0])).name if isinstance(child.args, list) else str(child.args)
    return f"{name} ended with {child.returncode}"
