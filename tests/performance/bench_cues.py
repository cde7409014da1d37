"""How long the bench's thread is held up by a cue, and gpiozero's by an edge, while the voice hangs."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import SimpleQueue
from tempfile import TemporaryDirectory
from typing import Any

from figures import Row, Size

from scaled.batch.cue import Cue, Spoken
from scaled.clock import RealClock
from scaled.cues.output import CueOutput
from scaled.cues.settings import CueSettings, Lights
from scaled.cues.speech import Speech

SETTINGS = CueSettings(pins="mock", pedal=17, lights=Lights(22, 23, 24), buzzer=18, voice="en")


def rows(size: Size) -> Iterator[Row]:
    calls = 2_000 if size == "small" else 50_000
    with TemporaryDirectory() as folder:
        hangs = Path(folder) / "espeak-ng"
        hangs.write_text("#!/bin/sh\nexec sleep 1000\n")
        hangs.chmod(0o755)
        output = CueOutput(SETTINGS, RealClock(), lambda _: None, speech=Speech(str(hangs), player=None))
        output.start()
        while output.board.pins is None:
            time.sleep(0.001)
        pedal: Any = output.board.pins.factory.pin(17)
        queue: SimpleQueue[int] = SimpleQueue()
        floor = p99_s(queue.put, calls)
        shown = p99_s(lambda n: output.show(cue(n)), calls)
        heard = p99_s(lambda n: pedal.drive_low() if n % 2 == 0 else pedal.drive_high(), calls)
        output.close()
    yield row("a cue shown, p99, the voice hangs", shown, floor)
    yield row("an edge heard, p99, the voice hangs", heard, floor)


def cue(number: int) -> Cue:
    return Cue("pour", "under", 1 + number % 8, Spoken(number, "put a tub on", (("ingredient", "salt"),)))


def row(what: str, ours_s: float, floor_s: float) -> Row:
    return Row(what, ours_s * 1e6, "us", floor_s * 1e6, "a put into an empty queue, p99", figure_at_most=1000)


def p99_s(work: Callable[[int], object], calls: int) -> float:
    """Seconds that 99 of 100 calls stay below."""
    taken = []
    for number in range(calls):
        start = time.perf_counter()
        work(number)
        taken.append(time.perf_counter() - start)
    return sorted(taken)[calls * 99 // 100]
