"""Which device is the scale: by its path, by the names that udev gives, by vendor and product; found without udev too.

A port in the settings is one of
    socket://host:4001          any URL that pyserial knows: taken as it is,
    /dev/serial/by-id/...       a path: taken where it exists, else looked for by what udev makes such names of,
    /dev/serial/by-path/...     since whole releases of a distribution came without those links,
    1234:abcd or 1234:abcd:A1   vendor and product, and the serial number where two of a kind are in use.
A bare /dev/ttyUSB0 works, and may be another adapter after a restart. `sysfs` and `dev` are the roots to look under.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

SYSFS = Path("/sys")
DEV = Path("/dev")
_IDENTITY = re.compile(r"([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4})(?::(.+))?")
_LINK = re.compile(r"/dev/serial/(by-id|by-path)/(.+)")
_UNSAFE = re.compile(r"[^0-9A-Za-z#+\-.:=@_]")  # what udev turns into _ (systemd, device-nodes)


@dataclass(frozen=True)
class Adapter:
    """A serial adapter on USB, as sysfs describes it; texts that it does not have are empty."""

    tty: str
    vendor_id: str
    product_id: str
    serial: str
    vendor: str
    product: str
    interface: str
    bus_path: str

    @property
    def by_id(self) -> str:
        """The name that udev makes of vendor, product, serial number and interface."""
        parts = [self.vendor or self.vendor_id, self.product or self.product_id, self.serial]
        name = "_".join(_UNSAFE.sub("_", "_".join(part.split())) for part in parts if part)
        return f"usb-{name}-if{self.interface}"


def adapters(sysfs: Path = SYSFS) -> tuple[Adapter, ...]:
    """The USB serial adapters that the kernel knows, by name."""
    found = [_adapter(tty) for tty in sorted((sysfs / "class" / "tty").glob("tty*"))]
    return tuple(adapter for adapter in found if adapter is not None)


def find_port(port: str, *, sysfs: Path = SYSFS, dev: Path = DEV) -> str | None:
    """The path or URL to open now; None where the device is not there, or several answer to the name."""
    if "://" in port:
        return port
    if identity := _IDENTITY.fullmatch(port):
        return _only(_matching(identity, adapters(sysfs)), dev)
    path = Path(port) if port.startswith("/") else dev / port
    if path.exists():
        return str(path)
    if link := _LINK.fullmatch(port):
        return _only([adapter for adapter in adapters(sysfs) if _has_link(adapter, link[1], link[2])], dev)
    return None


def is_unsteady(port: str) -> bool:
    """Whether a name may mean another device after a restart: a bare ttyUSB0 or ttyACM0."""
    return re.fullmatch(r"(/dev/)?tty(USB|ACM)[0-9]+", port) is not None


def _matching(identity: re.Match[str], found: Sequence[Adapter]) -> list[Adapter]:
    vendor, product, number = identity[1].lower(), identity[2].lower(), identity[3]
    return [a for a in found if (a.vendor_id, a.product_id) == (vendor, product) and number in (None, a.serial)]


def _has_link(adapter: Adapter, kind: str, name: str) -> bool:
    """Whether udev would have given an adapter this name; of a path the part after the controller is compared."""
    if kind == "by-id":
        return re.fullmatch(re.escape(adapter.by_id) + r"(-port[0-9]+)?", name) is not None
    return re.search(r"usb-0:" + re.escape(adapter.bus_path) + r"(-port[0-9]+)?$", name) is not None


def _only(found: Sequence[Adapter], dev: Path) -> str | None:
    return str(dev / found[0].tty) if len(found) == 1 else None


def _adapter(tty: Path) -> Adapter | None:
    """What sysfs says of a tty: its USB interface is above it, and the USB device above that."""
    try:
        device_folder = (tty / "device").resolve(strict=True)
        places = [device_folder, *device_folder.parents]
        device = next((folder for folder in places if (folder / "idVendor").is_file()), None)
        interface = next((folder for folder in places if (folder / "bInterfaceNumber").is_file()), None)
    except OSError:
        return None
    if device is None:
        return None
    return Adapter(
        tty=tty.name,
        vendor_id=_text(device / "idVendor").lower(),
        product_id=_text(device / "idProduct").lower(),
        serial=_text(device / "serial"),
        vendor=_text(device / "manufacturer"),
        product=_text(device / "product"),
        interface=_text(interface / "bInterfaceNumber") if interface else "00",
        bus_path=_bus_path(interface.name) if interface else "",
    )


def _bus_path(interface: str) -> str:
    """`1-1.2:1.0` (bus 1, ports 1.2, configuration 1, interface 0) -> `1.2:1.0`, as in a by-path name."""
    return interface.partition("-")[2]


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""
