"""Lights, buzzer, pedal: everything that a cue goes out by and a wish comes in by, besides the page."""

from __future__ import annotations

from collections.abc import Callable

from scaled.batch.cue import Cue
from scaled.batch.inputs import Wanted
from scaled.clock import Clock
from scaled.cues.board import Board
from scaled.cues.settings import CueSettings


class Outputs:
    """What hangs on the bench, as the settings have it."""

    def __init__(self, settings: CueSettings, clock: Clock, on_wish: Callable[[Wanted], None]) -> None:
        self._board = Board(settings, clock, on_wish, lambda _at: None)

    @property
    def states(self) -> dict[str, str]:
        return {"gpio": self._board.state}

    def start(self) -> None:
        self._board.start()

    def show(self, cue: Cue) -> None:
        """Returns at once."""
        self._board.show(cue)

    def close(self) -> None:
        self._board.close()
