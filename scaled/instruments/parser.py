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
_new = tuple.__new__  # a named tuple made without its own constructor: a third of the time, for every line
_NOTHING = Telling(None, None, None, "ready", None)


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
        self._read = LineGrammar(line_format).read
        self._each_twice = each_twice
        self.reset()

    def reset(self) -> None:
        """Forget what was under way: the next line may be cut, and the scale may be another."""
        self._rest = b""
        self._is_cut = True  # the next line's beginning is not known
        self._is_too_long = False
        self._form: _Form | None = None
        self._other_form: _Form | None = None
        self._run = 0
        self._varies = False
        self._is_padded = False
        self._last = b""  # the line before, b"" where that did not count
        self._telling = _NOTHING  # what it said

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
            self._is_cut = self._is_too_long = True
        readings: list[Reading] = []
        reading: Reading | None = None
        counted = 0
        for line in lines:
            if line == self._last and line:  # the same result once more
                reading = reading or _new(Reading, (at, *self._telling))
            elif self._counts(line):
                reading = None if self._each_twice else _new(Reading, (at, *self._telling))
            else:
                continue
            counted += 1
            if reading is not None:
                readings.append(reading)
        self.counts.frames_ok += counted
        return readings

    def _counts(self, line: bytes) -> bool:
        """Whether a line is to be believed; then `_telling` is what it says. Else it is thrown away."""
        telling = None if self._is_cut else self._read(line)
        if telling is None:
            if line or self._is_too_long:  # else it is what lies between CR and LF
                self._throw_away(line, is_bad=not self._is_cut)
            return False
        value_mg, in_motion, is_net, _, division_mg = telling
        form = (len(line), division_mg, in_motion is None, is_net is None)
        if form == self._form:
            self._run = 0
            if not self._is_padded:
                self._is_padded = _PADDING.search(line) is not None
        elif value_mg is not None and not self._is_learned(form, line):  # one without a weight teaches nothing
            self._throw_away(line, is_bad=self._form is not None)
            return False
        self._last, self._telling = line, telling
        return True

    def _is_learned(self, form: _Form, line: bytes) -> bool:
        """Whether enough lines of another form than believed in have come to believe in that one."""
        self._run = self._run + 1 if form == self._other_form else 1
        self._other_form = form
        if self._run < self._lines_needed():
            return False
        self._varies = self._form is not None and self._is_padded
        self._form = form
        self._run = 0
        self._is_padded = _PADDING.search(line) is not None
        return True

    def _lines_needed(self) -> int:
        if self._form is None:
            return FIRST_LINES
        return LINES_TO_RELEARN if self._is_padded and not self._varies else LINES_WHERE_IT_VARIES

    def _throw_away(self, line: bytes, *, is_bad: bool) -> None:
        self.counts.frames_bad += is_bad
        self.counts.bytes_discarded += len(line)
        self._is_cut = self._is_too_long = False
        self._last = b""
