"""Bytes from a scale's line to Readings, beside a bare loop of one regular expression over the same lines.

The floor is what no parser can be below: one match of the whole line, nothing cut, nothing converted, nothing kept.
Ours cuts chunks of 256 bytes into lines, checks their form, and makes the Readings. Two kinds of scale: one that sends
each result three times, as recordings of scales show, and a converter of which no two lines are the same. The second
makes an object or two more for each line; beside other work on the same processor that alone doubles its time, so its
ratio is printed (about 8 on a quiet machine) and not held to a budget.
"""

from __future__ import annotations

import os
import re
import tty
from collections.abc import Callable, Iterator

from figures import Row, Size, median_s

from scaled.instruments.formats import installed_formats
from scaled.instruments.options import PortOptions
from scaled.instruments.parser import LineParser
from scaled.instruments.wire import open_wire
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.scale import SimulatedScale

LINE = re.compile(rb"(ST|US|OL),(GS|NT),? *([+-]?) *([0-9]+(?:\.[0-9]+)?) *(kg|mg|g|oz|lb) *")
CHUNK = 256


def poured(seconds: float) -> list[bytes]:
    """What a scale sends while 25 g/s are poured, with a rest between: each result three times."""
    scale = SimulatedScale(ScaleParameters(lines_per_s=54.0, updates_per_s=18.0), seed=1)
    for start in range(1, int(seconds), 10):
        scale.pour(25.0, float(start), 5.0)
    return [line for _, line in scale.advance_to(seconds)]


def matched(lines: list[bytes]) -> int:
    match = LINE.match
    count = 0
    for line in lines:
        if match(line):
            count += 1
    return count


def parsed(data: bytes) -> int:
    parser = LineParser(installed_formats()["header"])
    return sum(len(parser.feed(data[at : at + CHUNK], 0.0)) for at in range(0, len(data), CHUNK))


def side_by_side(floor: Callable[[], object], ours: Callable[[], object], turns: int = 15) -> tuple[float, float]:
    """Seconds of each, taken in turns and very often, so that a busy minute strikes both; the least of each."""
    taken = [(median_s(floor, repeats=1), median_s(ours, repeats=1)) for _ in range(turns)]
    return min(first for first, _ in taken), min(second for _, second in taken)


def rows(size: Size) -> Iterator[Row]:
    count = 5_000 if size == "small" else 100_000
    three_times = poured(count / 54.0)
    all_different = [b"ST,GS,+%07.1f g\r\n" % (index / 10) for index in range(count)]
    kinds = (("each result three times", three_times, 6.0), ("no two lines the same", all_different, None))
    for kind, lines, ratio_at_most in kinds:
        data = b"".join(lines)
        assert matched(lines) == len(lines)
        assert parsed(data) == len(lines) - 3
        floor, ours = side_by_side(lambda lines=lines: matched(lines), lambda data=data: parsed(data))
        yield Row(
            f"bytes -> Reading, {kind}",
            figure=ours * 1e6 / len(lines),
            unit="us/line",
            floor=floor * 1e6 / len(lines),
            floor_is="a bare re.match loop",
            ratio_at_most=ratio_at_most,
        )
    yield _backlog()


def _backlog() -> Row:
    """A full buffer of the kernel (4,000 bytes) read through an open port, beside one read of the descriptor."""
    master, slave = os.openpty()
    tty.setraw(slave)
    wire = open_wire(os.ttyname(slave), PortOptions())
    data = b"ST,GS,+00123.4 g\r\n" * 222

    def through_port() -> None:
        os.write(master, data)
        got = 0
        while got < len(data):
            got += len(wire.read())

    def bare() -> None:
        os.write(master, data)
        got = 0
        while got < len(data):
            got += len(os.read(slave, 4096))

    floor, ours = side_by_side(bare, through_port, 51)
    wire.close()
    for end in (master, slave):
        os.close(end)
    return Row(
        "a full buffer of 222 lines through a port",
        figure=ours * 1e6,
        unit="us",
        floor=floor * 1e6,
        floor_is="the same bytes by os.write and os.read alone",
        note="by readline it is 103 us a line (measured)",
    )
