"""Bytes from a scale's line, as they come, to Readings.

The strategy: cut at CR or LF, hold back what has no end yet (at most `LONGEST_LINE` bytes: what is longer is thrown
away up to the next end), and let a line count only where its whole text fits the format *and* it has the form of this
scale's lines: their length, the mass of their last digit, the flags they carry. The form is what finds a line made of
two halves, or one with a digit lost: a scale that pads its numbers, as nearly all do, sends one length. It is learned
from the first lines, and learned anew when a run of lines agrees on another, so that a scale which does not pad, or
changes its unit, is followed a little later.

On a line without a check sum a digit that was turned into another digit cannot be seen in that line. `weighing` knows a
single wild value for what it is; and a scale that is known to send each result more than once can be held to that
(`each_twice`): then a line counts only when the one before it was the same, to the byte.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from scaled.instruments.line_format import LONGEST_LINE, LineFormat, LineGrammar, Telling
from scaled.weighing.values import Reading

FIRST_LINES = 3  # of one form, before the first is believed
LINES_TO_RELEARN = 8  # of another form, where numbers are padded
LINES_WHERE_IT_VARIES = 2  # of another form, where they are not
_Form = tuple[int, int | None, bool, bool]
_PADDING = re.compile(rb"   |(?<![0-9.])0[0-9]")  # where a longer number would have digits
_MOST_REMEMBERED = 512  # tellings; a scale at rest sends the same few lines


@dataclass(slots=True)
class LineCounts:
    """What a line has brought so far: lines that counted, lines that were wrong, and all bytes thrown away.

    Thrown away without being wrong are the first line after opening and those that only taught the form.
    """

    frames_ok: int = 0
    frames_bad: int = 0
    bytes_discarded: int = 0


class LineParser:
    """An incremental parser of one line; `reset` it whenever the port was opened anew."""

    def __init__(self, line_format: LineFormat, *, each_twice: bool = False) -> None:
        self.line_format = line_format
        self.counts = LineCounts()
        self._grammar = LineGrammar(line_format)
        self._each_twice = each_twice
        self._known: dict[bytes, Telling] = {}  # lines of the form believed in
        self.reset()

    def reset(self) -> None:
        """Forget what was under way: the next line may be cut, and the scale may be another."""
        self._rest = b""
        self._is_first = True
        self._is_too_long = False
        self._form: _Form | None = None
        self._other_form: _Form | None = None
        self._last = b""
        self._run = 0
        self._varies = False
        self._is_padded = False
        self._known.clear()

    def feed(self, data: bytes, at: float) -> list[Reading]:
        """Take the next bytes, in whatever pieces; returns the readings of the lines that ended in them.

        Args:
            data: bytes as read from the port.
            at: bench seconds at which they came; all their readings carry it.
        """
        if not data:
            return []
        lines = (self._rest + data).splitlines()
        self._rest = b"" if data[-1] in b"\r\n" else lines.pop()
        if len(self._rest) > LONGEST_LINE:
            self.counts.bytes_discarded += len(self._rest)
            self._rest = b""
            self._is_too_long = True
        readings = []
        known = self._known
        for line in lines:
            telling = known.get(line)
            if telling is None or self._run:
                telling = self._judge(line)
                if telling is None:
                    self._last = self._last if not line else b""
                    continue
            else:
                self.counts.frames_ok += 1
            if not self._each_twice or line == self._last:
                readings.append(Reading(at, *telling))
            self._last = line
        return readings

    def _judge(self, line: bytes) -> Telling | None:
        """What a line says if it is to be believed; else it is counted and dropped."""
        if not line and not self._is_too_long:
            return None  # between CR and LF
        if self._is_first or self._is_too_long:  # the end of something whose beginning is not known
            self._is_first = self._is_too_long = False
            self.counts.bytes_discarded += len(line)
            return None
        telling = self._grammar.read(line)
        if telling is None or not self._has_its_form(line, telling):
            is_bad = telling is None or self._form is not None  # the lines that teach the form are not bad
            self.counts.frames_bad += is_bad
            self.counts.bytes_discarded += len(line)
            return None
        self.counts.frames_ok += 1
        if len(self._known) >= _MOST_REMEMBERED:
            self._known.clear()
        self._known[line] = telling
        return telling

    def _has_its_form(self, line: bytes, telling: Telling) -> bool:
        """Whether a line that fits has the form of this scale's lines; learns what that is."""
        if telling.value_mg is None:  # no weight is shown: nothing that could be false
            return True
        form = (len(line), telling.shown_division_mg, telling.in_motion is None, telling.is_net is None)
        if form != self._form:
            self._run = self._run + 1 if form == self._other_form else 1
            self._other_form = form
            if self._run < self._lines_needed():
                return False
            self._varies = self._form is not None and self._is_padded
            self._form = form
            self._known.clear()
        self._run = 0
        self._is_padded = self._is_padded or _PADDING.search(line) is not None
        return True

    def _lines_needed(self) -> int:
        if self._form is None:
            return FIRST_LINES
        return LINES_TO_RELEARN if self._is_padded and not self._varies else LINES_WHERE_IT_VARIES
