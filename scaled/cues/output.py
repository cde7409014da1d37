"""What the bench tells the cook, made light, sound and speech, and what pedal and buttons ask for: the room's door.

`show` takes the newest cue and returns at once; nothing that a pin, a sound card or a child process does can hold the
bench up. It is to be called several times a second, since a cue that is not renewed goes dark after 3 s. The beep
never waits for the voice: they are two threads.
"""

from __future__ import annotations

from collections.abc import Callable

from scaled.batch.cue import Cue
from scaled.batch.inputs import Wanted
from scaled.clock import Clock
from scaled.cues.board import Board
from scaled.cues.settings import CueSettings
from scaled.cues.speech import Speech
from scaled.cues.voice import Voice


class CueOutput:
    """Lights, buzzer, voice, pedal and buttons of one bench.

    Args:
        settings: what there is; anything that is missing or does not work is a state in `health`.
        clock: the bench's.
        on_wish: what pedal and buttons ask for, `at` being when the foot came down; called on this room's thread,
            it must only enqueue.
        on_beat: called at least twice a second with the bench's time, as long as the pins' thread moves.
        speech: how texts become sound.
    """

    def __init__(
        self,
        settings: CueSettings,
        clock: Clock,
        on_wish: Callable[[Wanted], None],
        on_beat: Callable[[float], None] | None = None,
        speech: Speech | None = None,
    ) -> None:
        self.board = Board(settings, clock, on_wish, on_beat or _unheard)
        self.voice = Voice(settings.voice, speech or Speech(device=settings.audio))
        self._said: int | None = None

    def start(self) -> None:
        self.board.start()
        self.voice.start()

    def show(self, cue: Cue) -> None:
        """From now on this cue; what it says is said once."""
        self.board.show(cue)
        if cue.spoken is not None and cue.spoken.serial != self._said:
            self._said = cue.spoken.serial
            self.voice.say(cue.spoken)

    def close(self) -> None:
        """Everything off and silent; returns within some 4 s whatever hangs."""
        self.board.close()
        self.voice.close()

    def health(self) -> dict[str, str]:
        """The state of pins and voice, in words."""
        return {"gpio": self.board.state, "voice": self.voice.state}


def _unheard(_at: float) -> None:
    """Nobody counts the beats."""
