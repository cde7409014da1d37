"""Which device is the scale: on a made-up sysfs tree, with and without the links that udev makes."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from scaled.instruments.backoff import FIRST_S, LONGEST_S, Backoff
from scaled.instruments.find import adapters, find_port, is_unsteady


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A machine with a serial port of its own, two adapters without serial numbers, and one with."""
    (tmp_path / "dev").mkdir()
    built_in = tmp_path / "sys/devices/platform/serial/tty/ttyAMA0"
    built_in.mkdir(parents=True)
    link(tmp_path, "ttyAMA0", built_in.parent.parent)
    adapter(tmp_path, "ttyUSB0", "1-1.2", "aa55", "7523", "", "", "Serial Thing")
    adapter(tmp_path, "ttyUSB1", "1-1.3", "aa55", "7523", "", "", "Serial Thing")
    adapter(tmp_path, "ttyACM0", "1-1.4", "BEEF", "6001", "A1 B2", "Bench Works", "Cell Converter / 2")
    return tmp_path


def link(root: Path, tty: str, device: Path) -> None:
    folder = root / "sys/class/tty" / tty
    folder.mkdir(parents=True)
    (folder / "device").symlink_to(device)
    (root / "dev" / tty).touch()


def adapter(root: Path, tty: str, at: str, vid: str, pid: str, number: str, vendor: str, product: str) -> None:
    device = root / "sys/devices/usb1" / at
    interface = device / f"{at}:1.0"
    (interface / tty).mkdir(parents=True)
    (device / "idVendor").write_text(f"{vid}\n")
    (device / "idProduct").write_text(f"{pid}\n")
    (device / "product").write_text(f"{product}\n")
    if vendor:
        (device / "manufacturer").write_text(f"{vendor}\n")
    if number:
        (device / "serial").write_text(f"{number}\n")
    (interface / "bInterfaceNumber").write_text("00\n")
    link(root, tty, interface / tty)


def found(bench: Path, port: str) -> str | None:
    path = find_port(port, sysfs=bench / "sys", dev=bench / "dev")
    return None if path is None else path.removeprefix(str(bench / "dev") + "/")


def test_the_adapters_are_listed_with_what_they_say_of_themselves(bench: Path) -> None:
    known = adapters(bench / "sys")
    assert [one.tty for one in known] == ["ttyACM0", "ttyUSB0", "ttyUSB1"], "the built-in port is no adapter"
    assert known[0].by_id == "usb-Bench_Works_Cell_Converter___2_A1_B2-if00"
    assert (known[0].vendor_id, known[0].bus_path) == ("beef", "1.4:1.0")


@pytest.mark.parametrize(
    ("port", "tty"),
    [
        ("beef:6001", "ttyACM0"),
        ("BEEF:6001:A1 B2", "ttyACM0"),
        ("beef:6001:other", None),
        ("aa55:7523", None),  # two of them: which one is not told
        ("dead:0001", None),
        ("ttyUSB1", "ttyUSB1"),
        ("ttyUSB9", None),
        ("/dev/serial/by-id/usb-Bench_Works_Cell_Converter___2_A1_B2-if00", "ttyACM0"),
        ("/dev/serial/by-id/usb-Bench_Works_Cell_Converter___2_A1_B2-if00-port0", "ttyACM0"),
        ("/dev/serial/by-id/usb-aa55_Serial_Thing-if00-port0", None),  # two share this name
        ("/dev/serial/by-path/platform-soc-usb-0:1.3:1.0-port0", "ttyUSB1"),
        ("/dev/serial/by-path/pci-0000:00:14.0-usb-0:1.2:1.0", "ttyUSB0"),
        ("/dev/serial/by-path/pci-0000:00:14.0-usb-0:1.9:1.0", None),
        ("/nowhere/at/all", None),
    ],
)
def test_a_port_is_found_without_udevs_links(bench: Path, port: str, tty: str | None) -> None:
    assert found(bench, port) == tty


def test_an_address_is_taken_as_it_is(bench: Path) -> None:
    assert found(bench, "socket://127.0.0.1:4001") == "socket://127.0.0.1:4001"


def test_a_link_that_exists_is_taken_and_one_that_dangles_is_not(bench: Path) -> None:
    name = bench / "scale"
    name.symlink_to(bench / "dev/ttyUSB0")
    assert find_port(str(name)) == str(name)
    (bench / "dev/ttyUSB0").unlink()
    assert find_port(str(name)) is None


def test_no_sysfs_is_no_adapter(tmp_path: Path) -> None:
    assert adapters(tmp_path) == ()
    assert find_port("beef:6001", sysfs=tmp_path) is None


@pytest.mark.parametrize(
    ("port", "unsteady"),
    [("/dev/ttyUSB0", True), ("ttyACM1", True), ("/dev/serial/by-id/x", False), ("/dev/ttyAMA0", False)],
)
def test_a_bare_number_may_mean_another_device_tomorrow(port: str, *, unsteady: bool) -> None:
    assert is_unsteady(port) is unsteady


def test_the_waits_grow_to_five_seconds_and_never_end() -> None:
    """A day away: each wait at most 5 s, the first short, no two ports in step."""
    backoff = Backoff(random.Random(1))
    waits = []
    while sum(waits) < 86_400:
        waits.append(backoff.next_s())
    assert waits[0] <= FIRST_S
    assert max(waits) <= LONGEST_S
    assert min(waits[10:]) >= LONGEST_S / 2
    assert len({round(wait, 6) for wait in waits}) > len(waits) * 0.9
    backoff.reset()
    assert backoff.next_s() <= FIRST_S


def test_doubling_until_the_limit() -> None:
    backoff = Backoff(random.Random(3))
    nominal = [0.25, 0.5, 1.0, 2.0, 4.0, 5.0, 5.0]
    for most_s in nominal:
        assert most_s / 2 <= backoff.next_s() <= most_s
