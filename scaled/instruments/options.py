"""How a port is to be opened and watched; values that check themselves, for the settings file to fill in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

Dtr = Literal["keep", "low", "high"]

DTR: tuple[Dtr, ...] = get_args(Dtr)
BAUDS = (9600, 4800, 2400, 19200, 38400, 57600, 115200, 1200, 600, 300, 230400)  # the likely first
FRAMES = ("8N1", "7E1", "7O1", "8E1", "8O1", "8N2", "7N2", "7E2")
_FRAME = re.compile(r"([78])([NEO])([12])")


@dataclass(frozen=True, kw_only=True)
class PortOptions:
    """The options of one port.

    `dtr` says what the line DTR does at opening: many a board restarts when it changes, some converters are fed by it.
    For `settle_s` after opening nothing is believed; after `silence_s` with no good line the port is opened anew.
    `each_twice`: the scale sends each result at least twice, and one that came once is no result.
    """

    baud: int = 9600
    frame: str = "8N1"
    dtr: Dtr = "keep"
    settle_s: float = 0.0
    silence_s: float = 3.0
    each_twice: bool = False

    def __post_init__(self) -> None:
        if not 50 <= self.baud <= 4_000_000:
            raise ValueError(f"{self.baud} is no baud rate: it is 50 to 4000000, mostly 9600")
        if not _FRAME.fullmatch(self.frame):
            raise ValueError(f"'{self.frame}' is no frame: write data bits, parity and stop bits like 8N1 or 7E1")
        if self.dtr not in DTR:
            raise ValueError(f"'{self.dtr}' is not what DTR can do: {', '.join(DTR)}")
        if not 0 <= self.settle_s <= 60:
            raise ValueError(f"settle_s is 0 to 60 s, not {self.settle_s}")
        if not 0.5 <= self.silence_s <= 3600:
            raise ValueError(f"silence_s is 0.5 to 3600 s, not {self.silence_s}")

    @property
    def data_bits(self) -> int:
        return int(self.frame[0])

    @property
    def parity(self) -> str:
        return self.frame[1]

    @property
    def stop_bits(self) -> int:
        return int(self.frame[2])
