"""`scaled scale listen`: what a scale speaks, from a recording and from a port."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from scaled import cli
from scaled.clock import RealClock
from scaled.instruments.detect import detect, whole_lines
from scaled.instruments.formats import installed_formats
from scaled.simulator.parameters import LineShape, ScaleParameters
from scaled.simulator.pseudo_terminal import PtyScale
from scaled.simulator.scale import SimulatedScale

KEYS = ["baud", "frame", "shape", "confidence", "format", "samples", "not_told"]
PLATFORM = (
    b"\x00\x00\x7f\x7f" + b"     0.0 kg    G\r\n" * 20 + b"     2.4 kg   ?G\r\n" * 3 + b"    20.0 kg    G\r\n" * 9
)
CUT = b"     0."


def recording(shape: LineShape, seed: int = 1, seconds: float = 8.0) -> bytes:
    scale = SimulatedScale(ScaleParameters(shape=shape), seed, load_g=20.0)
    scale.tare_key(1.0)
    scale.set_load(0.0, 2.0)
    scale.put(300.0, 4.0)
    return b"".join(line for _, line in scale.advance_to(seconds))


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = cli.main(["scale", "listen", *arguments])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize(
    ("shape", "name", "not_told"),
    [
        ("header", "header", ["baud"]),
        ("header blank", "header", ["baud"]),
        ("plain", "plain", ["baud", "in_motion", "net"]),
        ("plain flags", "plain", ["baud"]),
    ],
)
def test_a_recording_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], shape: LineShape, name: str, not_told: list[str]
) -> None:
    file = tmp_path / "recorded.bin"
    file.write_bytes(recording(shape)[5:-4])
    code, out, err = run(capsys, str(file), "--json")
    told = json.loads(out)
    assert (code, err) == (0, "")
    assert list(told) == KEYS
    assert (told["baud"], told["frame"], told["shape"]) == (None, "8N1", name)
    assert told["confidence"] > 0.99
    assert told["not_told"] == not_told
    assert any(sample["grams"] < 0 for sample in told["samples"])
    assert told["format"]["lines"]


def test_binary_junk_and_cut_lines_do_not_lower_the_confidence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "platform.bin"
    file.write_bytes(PLATFORM + CUT)
    _, out, _ = run(capsys, str(file), "--json")
    told = json.loads(out)
    assert told["confidence"] == round(32 / 33, 3)
    assert told["samples"][:2] == [
        {"line": "     0.0 kg    G", "grams": 0.0, "in_motion": False, "net": False},
        {"line": "     2.4 kg   ?G", "grams": 2400.0, "in_motion": True, "net": False},
    ]


def test_seven_bits_with_even_parity_read_as_eight_are_told() -> None:
    """What 7E1 looks like to a port that was left at 8N1: the parity stands in the eighth bit."""
    seven = bytes(byte | (byte.bit_count() % 2) << 7 for byte in recording("header"))
    told = detect(seven, installed_formats())
    assert told.frame == "7E1"
    assert told.line_format is installed_formats()["header"]
    odd = bytes(byte ^ 0x80 for byte in seven)
    assert detect(odd, installed_formats()).frame == "7O1"


def test_three_lines_are_no_proof() -> None:
    few = detect(b"\r\n" + b"ST,GS,+00123.4 g\r\n" * 3, installed_formats())
    many = detect(b"\r\n" + b"ST,GS,+00123.4 g\r\n" * 300, installed_formats())
    assert (few.fits, few.lines) == (2, 2)
    assert few.confidence == pytest.approx(3 / 4)  # Laplace: (2 + 1) / (2 + 2)
    assert many.confidence > 0.99


def test_lines_that_are_half_garbage_are_less_sure() -> None:
    mixed = b"\r\n" + (b"ST,GS,+00123.4 g\r\n" * 3 + b"@@@\r\n") * 20
    told = detect(mixed, installed_formats())
    assert told.confidence == pytest.approx((told.fits + 1) / (told.lines + 2))
    assert 0.7 < told.confidence < 0.8


def test_whole_lines_leave_out_what_may_be_cut() -> None:
    assert whole_lines(b"23.4 g\r\nA\r\nB\r\nC") == [b"A", b"B"]
    assert whole_lines(b"") == []


@pytest.mark.parametrize("data", [b"", b"\xff" * 5_000, b"hello\nworld\nhow\nare\nyou\n"])
def test_what_no_format_fits_ends_with_1_and_says_what_came(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], data: bytes
) -> None:
    file = tmp_path / "noise.bin"
    file.write_bytes(data)
    code, out, err = run(capsys, str(file), "--json")
    assert code == 1
    assert json.loads(out)["shape"] is None
    assert err.count("\n") == 1
    assert f"no known format fits ({', '.join(installed_formats())})" in err


def test_what_a_stranger_sends_does_not_steer_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "steering.bin"
    file.write_bytes(b"\r\n" + b"\x1b]0;mine\x07\r\n" * 9)
    code, out, err = run(capsys, str(file))
    assert (code, out) == (1, "")
    assert "'?]0;mine?'" in err


@pytest.mark.parametrize(
    ("port", "code", "says"),
    [
        ("/no/such/port", 69, "plugged in"),
        ("socket://127.0.0.1:1", 69, "refused"),
        ("loop://", 69, "nothing came"),
        ("socket://bench", 69, "(name host and port: socket://HOST:PORT)"),
        ("socket://bench:port", 69, "(name host and port: socket://HOST:PORT)"),
        ("", 2, "PORT is empty"),
        (".", 2, "folder"),
        ("/dev/scaled\nnot", 69, "no such port"),
    ],
)
def test_a_port_that_tells_nothing_is_one_line(
    capsys: pytest.CaptureFixture[str], port: str, code: int, says: str
) -> None:
    got, out, err = run(capsys, port)
    assert got == code
    assert out == ""
    assert err.count("\n") == 1
    assert says in err


def test_a_scale_on_a_pseudo_terminal_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scale = SimulatedScale(ScaleParameters(shape="plain flags", unit="kg", division_mg=5_000), load_g=360.0)
    with PtyScale(scale, RealClock(), tmp_path) as pty:
        code, out, _ = run(capsys, str(pty.path))
        assert code == 0
        assert "plain" in out
        assert "360 g, settled, gross" in out
        code, out, _ = run(capsys, str(pty.path), "--json")
        assert "baud" in json.loads(out)["not_told"], "a pseudo-terminal has no baud rate"


def test_a_port_in_use_is_busy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from scaled.instruments.options import PortOptions
    from scaled.instruments.wire import open_wire

    with PtyScale(SimulatedScale(), RealClock(), tmp_path) as pty:
        wire = open_wire(str(pty.path), PortOptions())
        code, out, err = run(capsys, str(pty.path))
        wire.close()
    assert (code, out) == (75, "")
    assert "another program has this port" in err


def test_a_scale_that_goes_while_it_is_heard_is_judged_by_what_came(
    capsys: pytest.CaptureFixture[str], failing: Callable[..., str]
) -> None:
    """Unplugged after the second handful of lines, before there are as many as one would like to hear."""
    code, out, _ = run(capsys, failing(("soon", OSError(5, "gone"))), "--json")
    assert code == 0
    assert 0.6 <= json.loads(out)["confidence"] < 0.95
