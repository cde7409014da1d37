"""What a scale speaks, told from some seconds of its bytes: frame, line format, and how sure that is.

Every known format is tried on every whole line (the first and the last may be cut and do not count), as received and,
where the eighth bits are a parity, without them. The best share of fitting lines wins; the confidence is Laplace's
rule of succession on that share, (fits + 1) / (lines + 2), so that three lines that fit do not look like a proof.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from scaled.instruments.line_format import LineFormat, LineGrammar, Telling

LEAST_CONFIDENCE = 0.6  # below this nothing is claimed
MOST_SAMPLES = 6
_EVEN = bytes(byte & 0x7F for byte in range(256))


@dataclass(frozen=True)
class Detected:
    """What was heard; `line_format` is None where no known format fits, `lines` and `fits` count whole lines."""

    frame: str
    line_format: LineFormat | None
    confidence: float
    lines: int
    fits: int
    samples: tuple[tuple[str, Telling], ...]
    first_line: str

    @property
    def not_told(self) -> tuple[str, ...]:
        """What these lines never say: the names of a sample's keys."""
        tellings = [telling for _, telling in self.samples]
        says_motion = any(telling.in_motion is not None for telling in tellings)
        says_net = any(telling.is_net is not None for telling in tellings)
        return tuple(name for name, is_told in (("in_motion", says_motion), ("net", says_net)) if not is_told)


def detect(data: bytes, formats: Mapping[str, LineFormat]) -> Detected:
    """Tell the format of a recording; with nothing in it the confidence is 0."""
    parity = _parity(data)
    views = [("8N1", data)] if parity is None else [(f"7{parity}1", data.translate(_EVEN)), ("8N1", data)]
    found = [_fitted(frame, view, line_format) for frame, view in views for line_format in formats.values()]
    best = max(found, key=lambda each: each.confidence)
    if best.confidence < LEAST_CONFIDENCE:
        return Detected(best.frame, None, best.confidence, best.lines, 0, (), best.first_line)
    return best


def whole_lines(data: bytes) -> list[bytes]:
    """The lines of a recording that are surely whole: without the first, which may be cut, and one with no end."""
    lines = [line for line in data.splitlines() if line]
    if lines and data[-1] not in b"\r\n":
        lines.pop()
    return lines[1:]


def _fitted(frame: str, data: bytes, line_format: LineFormat) -> Detected:
    grammar = LineGrammar(line_format)
    lines = whole_lines(data)
    told = [(line, telling) for line in lines if (telling := grammar.read(line)) is not None]
    return Detected(
        frame=frame,
        line_format=line_format,
        confidence=(len(told) + 1) / (len(lines) + 2) if told else 0.0,
        lines=len(lines),
        fits=len(told),
        samples=tuple(_chosen(told)),
        first_line=_shown(lines[0]) if lines else "",
    )


def _parity(data: bytes) -> str | None:
    """E or O where the eighth bits of all bytes are a parity bit, read by a port that was set to eight data bits."""
    if not data or max(data) < 0x80:
        return None
    is_odd = [byte.bit_count() % 2 for byte in data]
    share = sum(is_odd) / len(is_odd)
    return "O" if share > 0.98 else "E" if share < 0.02 else None


def _chosen(told: Iterable[tuple[bytes, Telling]]) -> Iterable[tuple[str, Telling]]:
    """A few lines that show what there is: each combination of flags and signs once, then other weights."""
    kinds: dict[object, tuple[bytes, Telling]] = {}
    weights: dict[int | None, tuple[bytes, Telling]] = {}
    for line, telling in told:
        kind = (telling.in_motion, telling.is_net, telling.state, (telling.value_mg or 0) < 0)
        if kind not in kinds:
            kinds[kind] = (line, telling)
        else:
            weights.setdefault(telling.value_mg, (line, telling))
    shown = {telling.value_mg for _, telling in kinds.values()}
    more = [pair for value_mg, pair in weights.items() if value_mg not in shown]
    chosen = [*kinds.values(), *more[:: max(1, len(more) // MOST_SAMPLES)]][:MOST_SAMPLES]
    return [(_shown(line), telling) for line, telling in chosen]


def _shown(line: bytes) -> str:
    return line.decode("ascii", errors="backslashreplace")
