"""The settings file: what it may say, and how every mistake in it is told."""

from __future__ import annotations

import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from scaled.config import Settings, load_settings, settings_file, settings_from_text
from scaled.errors import Mistakes, WrongSettings
from scaled.shipped import shipped

SCALE = "scales: [{name: bench, port: /dev/scale0, line: header}]\n"
LEAST = SCALE + "formulas: /srv/recipes\nrecords: /srv/records.db\n"
WHOLE = """\
scales:
  - {name: bench, port: /dev/serial/by-id/usb-a, line: header, capacity: 6 kg, division: 0.1 g}
  - {name: fine,  port: "socket://127.0.0.1:4001", line: plain, capacity: 500 g, division: 0.01 g, baud: 2400,
     frame: 7E1, dtr: low, silence: 5 s, settle: 2 s, each_twice: yes, repeatability: 4.5 mg}
vessels: [{name: steel bowl 3, empty: 812 g, holds: 4 l}, {name: tub, empty: 95.5 g}]
formulas: /etc/scaled/recipes
records: /var/lib/scaled/records.db
page: {address: 0.0.0.0, port: 8081, hosts: [bench.local, scale.local], viewers: 20}
cues:
  {pins: lgpio, pedal: 17, lights: {under: 22, in: 23, over: 24}, buzzer: 18, buttons: {back: 5, next: 6}, voice: en,
   audio: "plughw:0"}
confirm_after: 1.5 s
guard: yes
leave_small: yes
allergens: us
"""


def read(text: str) -> Settings:
    return settings_from_text(text, Path("/etc/scaled/scaled.yaml"))


def mistakes(text: str) -> list[str]:
    with pytest.raises(Mistakes) as caught:
        settings_from_text(text, Path("s.yaml"))
    return str(caught.value).splitlines()


def test_three_keys_are_enough() -> None:
    settings = read(LEAST)
    (scale,) = settings.scales
    assert (scale.name, scale.port, scale.line.name) == ("bench", "/dev/scale0", "header")
    assert (scale.capacity_mg, scale.division_mg, scale.repeatability_mg) == (None, None, None)
    assert (scale.options.baud, scale.options.frame) == (9600, "8N1")
    assert (settings.formulas, settings.records) == (Path("/srv/recipes"), Path("/srv/records.db"))
    assert (settings.page.address, settings.page.port) == ("127.0.0.1", 8080)
    assert settings.cues.wired() == ()
    assert (settings.confirm_after_s, settings.is_guarded, settings.leaves_small) == (1.0, False, False)
    assert settings.allergens == "eu"


def test_everything_that_can_be_set_is_read() -> None:
    settings = read(WHOLE)
    bench, fine = settings.scales
    assert (bench.capacity_mg, bench.division_mg) == (6_000_000, 100)
    assert (fine.port, fine.line.name, fine.capacity_mg) == ("socket://127.0.0.1:4001", "plain", 500_000)
    assert (fine.division_mg, fine.repeatability_mg) == (10, 4.5)
    options = fine.options
    assert (options.baud, options.frame, options.dtr) == (2400, "7E1", "low")
    assert (options.silence_s, options.settle_s, options.each_twice) == (5.0, 2.0, True)
    assert [(v.name, v.empty_mg, v.holds_ml) for v in settings.vessels] == [
        ("steel bowl 3", 812_000, Fraction(4000)),
        ("tub", 95_500, None),
    ]
    assert (settings.page.address, settings.page.port, settings.page.viewers) == ("0.0.0.0", 8081, 20)
    assert settings.page.hosts == ("bench.local", "scale.local")
    cues = settings.cues
    assert (cues.pins, cues.voice, cues.audio) == ("lgpio", "en", "plughw:0")
    assert dict(cues.wired()) == {
        "pedal": 17, "light under": 22, "light in": 23, "light over": 24, "buzzer": 18, "button next": 6,
        "button back": 5
    }  # fmt: skip
    assert (settings.confirm_after_s, settings.is_guarded, settings.leaves_small) == (1.5, True, True)
    assert settings.allergens == "us"


def test_each_reading_gives_new_frozen_values() -> None:
    one, other = read(WHOLE), read(WHOLE)
    assert one == other
    assert one.scales is not other.scales
    with pytest.raises(AttributeError):
        one.page.port = 1  # type: ignore[misc]


def test_relative_folders_go_from_the_file() -> None:
    settings = read(SCALE + "formulas: recipes\nrecords: ../records.db\n")
    assert settings.formulas == Path("/etc/scaled/recipes")
    assert settings.records == Path("/etc/scaled/../records.db")


@pytest.mark.parametrize("port", ["/dev/ttyUSB0", "0403:6001", "0403:6001:A1", "socket://10.0.0.2:4001", "loop://"])
def test_a_port_is_a_path_a_url_or_vendor_and_product(port: str) -> None:
    assert read(LEAST.replace("/dev/scale0", f"'{port}'")).scales[0].port == port


def test_a_scale_may_bring_its_own_line_format() -> None:
    own = (
        "{says: weight alone, shape: plain, lines: ['{sign}{number}'], unit: g, "
        "samples: [{line: '12.5', weight: 12.5 g}]}"
    )
    settings = read(f"scales: [{{name: old, port: /dev/old, line: {own}}}]\nformulas: a\nrecords: b\n")
    assert settings.scales[0].line.lines == ("{sign}{number}",)
    wrong = f"scales: [{{name: old, port: /dev/old, line: {own.replace('weight: 12.5', 'weight: 13')}}}]\n"
    (line,) = mistakes(wrong + "formulas: a\nrecords: b\n")
    assert line.startswith("s.yaml:1:44: format 'old's own'")


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("port: /dev/scale0", "prot: /dev/scale0", "s.yaml:1:24: unknown key 'prot'"),
        ("records: ", "recrods: ", "s.yaml:3:1: unknown key 'recrods'"),
        ("line: header", "line: heador", "s.yaml:1:49: line: 'heador' is not known"),
        ("line: header", "line: header, baud: 9601", "s.yaml:1:63: baud: '9601' is not known"),
        ("line: header", "line: header, frame: 9X9", "s.yaml:1:64: frame: '9X9' is not known"),
        ("line: header", "line: header, capacity: 0 g", "s.yaml:1:67: capacity: '0 g' is out of bounds"),
        ("line: header", "line: header, capacity: 6", "s.yaml:1:67: capacity: '6' has no unit"),
        ("line: header", "line: header, division: 0.3 g", "s.yaml:1:67: division: '0.3 g' is no division"),
        ("line: header", "line: header, division: 1.5 mg", "s.yaml:1:67: division: '1.5 mg' is no whole number"),
        ("line: header", "line: header, capacity: 50 g, division: 1 g", "s.yaml:1:10: division: a scale"),
        ("line: header", "line: header, silence: 0.1 s", "s.yaml:1:66: silence: '0.1 s' is out of bounds"),
        ("line: header", "line: header, repeatability: 0 g", "s.yaml:1:72: repeatability: '0 g' is out"),
        ("port: /dev/scale0", "port: scale", "s.yaml:1:30: port: 'scale' does not fit"),
        ("name: bench", "name: " + "b" * 61, "s.yaml:1:17: name: 'bbbbbbbbbbbbbbbbbbbb...' is too long"),
        ("formulas: /srv/recipes\n", "", "s.yaml:1:1: 'formulas' is missing here"),
        ("records: /srv/records.db\n", "", "s.yaml:1:1: 'records' is missing here"),
        ("records: ", "records: a\nrecords: ", "s.yaml:4:1: "),
        (SCALE, "", "s.yaml:1:1: 'scales' is missing here"),
        ("scales: ", "scalez: ", "s.yaml:1:1: unknown key 'scalez'"),
        (SCALE, "scales: []\n", "s.yaml:1:9: 'scales' is empty: at least one is needed"),
        (SCALE, "scales: 3\n", "s.yaml:1:9: 'scales' must be a list"),
        (SCALE, SCALE + "page: {port: 99999}\n", "s.yaml:2:7: a port lies in 0 to 65535"),
        (SCALE, SCALE + "page: {port: http}\n", "s.yaml:2:14: port: 'http' is no whole number"),
        (SCALE, SCALE + "page: {viewers: 0}\n", "s.yaml:2:7: viewers lie in 1 to"),
        (SCALE, SCALE + "cues: {pins: lgpoi}\n", "s.yaml:2:14: pins: 'lgpoi' is not known"),
        (SCALE, SCALE + "cues: {pins: lgpoi, pedal: 17}\n", "s.yaml:2:14: pins: 'lgpoi' is not known"),
        (SCALE, SCALE + "cues: {pin: lgpio, pedal: 17}\n", "s.yaml:2:8: unknown key 'pin'"),
        ("name: bench", "name: ''", "s.yaml:1:17: 'name' has no value"),
        (SCALE, SCALE + "cues: {pedal: 17}\n", "s.yaml:2:7: 'pins' is missing"),
        (SCALE, SCALE + "cues: {pins: mock, pedal: 17, buzzer: 17}\n", "s.yaml:2:7: buzzer: pin 17 is taken by pedal"),
        (SCALE, SCALE + "cues: {pins: mock, buttons: {jump: 4}}\n", "s.yaml:2:30: unknown key 'jump'"),
        (SCALE, SCALE + "cues: {pins: mock, lights: {red: 4}}\n", "s.yaml:2:29: unknown key 'red'"),
        (SCALE, SCALE + "cues: {voice: xx}\n", "s.yaml:2:15: voice: 'xx' is not known"),
        (SCALE, SCALE + "vessels: [{name: bowl}]\n", "s.yaml:2:11: 'empty' is missing here"),
        (SCALE, SCALE + "vessels: [{name: bowl, empty: 4 l}]\n", "s.yaml:2:31: empty: '4 l' is a volume"),
        (SCALE, SCALE + "vessels: [{name: a, empty: 9 g, holds: 1 ml}]\n", "s.yaml:2:40: holds: '1 ml' is out"),
        (SCALE, SCALE + "vessels: [{name: a, empty: 9 g}, {name: A, empty: 8 g}]\n", "s.yaml:2:41: name: two of the"),
        (SCALE, SCALE + "leave_small: 1 g\n", "s.yaml:2:14: leave_small: '1 g' is neither yes nor no"),
        (SCALE, SCALE + "guard: true\n", "s.yaml:2:8: guard: 'true' is neither yes nor no"),
        (SCALE, SCALE + "allergens: mars\n", "s.yaml:2:12: allergens: 'mars' is not known"),
        (SCALE, SCALE + "confirm_after: 1 h\n", "s.yaml:2:16: confirm_after: '1 h' is out of bounds"),
        (SCALE, SCALE.replace("]", ", {name: b, port: /dev/scale0, line: plain}]"), "s.yaml:1:74: port: /dev"),
    ],
)  # fmt: skip
def test_a_mistake_is_one_line_with_its_place(before: str, after: str, said: str) -> None:
    assert before in LEAST
    (line,) = mistakes(LEAST.replace(before, after, 1))
    assert line.startswith(said)


def test_all_mistakes_are_told_at_once() -> None:
    told = mistakes("scales: [{name: a, port: x, line: heador}]\nformulas: [a, b]\nguard: maybe\n")
    assert [line.split(" ")[0] for line in told] == [
        "s.yaml:1:1:", "s.yaml:1:26:", "s.yaml:1:35:", "s.yaml:2:11:", "s.yaml:3:8:"
    ]  # fmt: skip


def test_the_example_that_ships_loads() -> None:
    example = shipped("systemd") / "scaled.yaml.example"
    settings = load_settings(str(example))
    assert settings.scales[0].line.name == "header"


def test_every_line_of_the_example_that_is_off_loads_when_it_is_on() -> None:
    text = (shipped("systemd") / "scaled.yaml.example").read_text()
    switched_on = "\n".join(
        line.replace("# ", "", 1) if line.lstrip().startswith("# ") and ":" in line.split("#")[1] else line
        for line in text.splitlines()
        if not line.startswith(("# The settings", "# and change")) and "A name that stays" not in line
    )
    settings = read(switched_on)
    assert settings.vessels
    assert dict(settings.cues.wired())["button hold"] == 6
    assert (settings.cues.voice, settings.scales[0].repeatability_mg) == ("en", 50.0)
    assert settings.page.hosts == ("bench.local",)


def test_the_file_that_is_named_wins_then_the_variable_then_the_usual_places(tmp_path: Path) -> None:
    system, home = tmp_path / "etc.yaml", tmp_path / "home"
    own = home / "scaled" / "scaled.yaml"
    own.parent.mkdir(parents=True)
    environment = {"XDG_CONFIG_HOME": str(home), "HOME": str(tmp_path)}
    with pytest.raises(WrongSettings) as none:
        settings_file(None, environment, system)
    assert "no settings: copy" in str(none.value)
    assert "scaled.yaml.example" in str(none.value)
    assert "\n" not in str(none.value)
    own.touch()
    assert settings_file(None, environment, system) == own
    system.touch()
    assert settings_file(None, environment, system) == system
    assert settings_file(None, environment | {"SCALED_CONFIG": "v.yaml"}, system) == Path("v.yaml")
    assert settings_file("o.yaml", environment | {"SCALED_CONFIG": "v.yaml"}, system) == Path("o.yaml")


def test_a_usual_place_that_cannot_be_looked_at_is_told(tmp_path: Path) -> None:
    with pytest.raises(
        WrongSettings, match=r"/scaled\.yaml: cannot be looked for \(File name too long\); name the file with --config"
    ):
        settings_file(None, {"HOME": f"/{'x' * 300}"}, tmp_path / "etc.yaml")


def test_without_xdg_config_home_the_folder_is_the_usual_one(tmp_path: Path) -> None:
    own = tmp_path / ".config" / "scaled" / "scaled.yaml"
    own.parent.mkdir(parents=True)
    own.touch()
    assert settings_file(None, {"HOME": str(tmp_path)}, tmp_path / "etc.yaml") == own


@pytest.mark.parametrize("text", [None, "scales: [", LEAST.replace("header", "heador"), "\xff"])
def test_a_command_ends_with_78_and_a_line_for_each_mistake(tmp_path: Path, text: str | None) -> None:
    path = tmp_path / "scaled.yaml"
    if text is not None:
        path.write_text(text, encoding="latin-1")
    done = subprocess.run(
        [sys.executable, "-m", "scaled", "batch", "list", "--config", str(path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=30,
        env=os.environ | {"SCALED_CONFIG": ""},
    )
    assert (done.returncode, done.stdout) == (78, "")
    assert done.stderr.count("\n") == 1
    assert str(path) in done.stderr
    assert "Traceback" not in done.stderr
