"""What waitress does on the wire, where its own way would not do.

- What waitress refuses by itself (a broken request line, too many headers, far too large a body) is told as a problem
  document like every other error, with the same security headers.
- A stream is written to by the crier's thread while the task's own waits: each task lends its wire for that.
- A connection is watched while its stream goes on: one that the browser has closed is `connected` no more.
- A body above the limit is read to its end, and thrown away, before the application refuses it: a client that is cut
  off in the middle of sending never sees the answer. Nothing of it is kept, so that it costs no memory and no disk.
"""

from __future__ import annotations

import io
import json
from functools import lru_cache
from typing import Any

from waitress.channel import ClientDisconnected, HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.task import ErrorTask, WSGITask

from scaled.page.body import LARGEST_BODY
from scaled.page.guard import HEADERS
from scaled.page.problem import PROBLEM_TYPE, problem_document
from scaled.page.stream import WIRE

LARGEST_DRAINED = 8 * 1024 * 1024


class CappedBuffer:
    """A body of any length of which only the first `LARGEST_BODY` bytes are kept."""

    def __init__(self) -> None:
        self._kept = io.BytesIO()
        self._length = 0

    def __len__(self) -> int:
        return self._length

    def append(self, data: bytes) -> None:
        self._kept.seek(0, io.SEEK_END)
        self._kept.write(data[: max(0, LARGEST_BODY - self._length)])
        self._length += len(data)
        self._kept.seek(0)

    def getfile(self) -> io.BytesIO:
        return self._kept

    def close(self) -> None:
        self._kept.close()


class Parser(HTTPRequestParser):
    """A request whose body lies in a `CappedBuffer`."""

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        if self.body_rcv is not None:
            self.body_rcv.buf = CappedBuffer()  # type: ignore[assignment]  # all that a receiver asks of its buffer


class Refusal(ErrorTask):
    """What waitress refuses by itself, as a problem document."""

    def execute(self) -> None:
        error: Any = self.request.error  # type: ignore[attr-defined]  # the parser's, not the error's
        body = json.dumps(problem_document(error.code, f"The request cannot be read: {error.body}.")).encode()
        self.status = f"{error.code} {error.reason}"
        self.response_headers = [("Content-Type", PROBLEM_TYPE), *HEADERS]
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


class TaskWire:
    """The way to the client of one task: what is pushed goes out as a chunk of its response.

    It goes straight to the socket where nothing waits before it: waitress's own way through its buffers costs three
    times as much, and the fiftieth viewer waits for the other forty-nine. What the socket does not take at once goes
    that way.
    """

    def __init__(self, task: WSGITask) -> None:
        self._task = task

    def is_gone(self) -> bool:
        return not self._task.channel.connected

    def is_behind(self) -> bool:
        return self._task.channel.total_outbufs_len > 0

    def push(self, data: bytes) -> bool:
        task, channel = self._task, self._task.channel
        try:
            if not (task.wrote_header and task.chunked_response):
                task.write(data)
                return True
            left = _chunk(data)
            with channel.outbuf_lock:
                if channel.connected and not channel.total_outbufs_len:
                    left = left[channel.send(left, do_close=False) :]
            if left:
                channel.write_soon(left)
        except (ClientDisconnected, OSError):
            return False
        return True


@lru_cache(maxsize=2)
def _chunk(data: bytes) -> bytes:
    """A chunk of a response (RFC 9112, section 7.1); made once for all the viewers of an event."""
    return b"%X\r\n%b\r\n" % (len(data), data)


class Task(WSGITask):
    """A request's answer, with its wire lent to the application as `environ[WIRE]`."""

    def get_environment(self) -> dict[str, Any]:
        return super().get_environment() | {WIRE: TaskWire(self)}


class Channel(HTTPChannel):
    """One connection, read from while it is answered, so that a viewer who closes it is noticed at once."""

    parser_class = Parser
    task_class = Task
    error_task_class = Refusal

    def readable(self) -> bool:
        return self.connected and super().readable()  # after the end of a stream it would be readable for ever
