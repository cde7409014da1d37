"""What would stop this bench from working: each thing looked at, how it is, and what to do about it.

Only looks: nothing is opened that a running daemon uses or that a scale would notice, nothing is written. What it says
of permissions holds for the user who asks, so it is best asked as the user of the service.
"""

from __future__ import annotations

import errno
import getpass
import http.client
import importlib.util
import json
import os
import shutil
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from scaled.catalogue import FolderCatalogue
from scaled.clock import Clock
from scaled.config import ScaleSettings, Settings, load_settings
from scaled.cues.pins import FACTORIES
from scaled.cues.settings import CueSettings
from scaled.cues.speech import Speech
from scaled.errors import Invalid, RecordsUnusable, WrongSettings
from scaled.instruments.find import DEV, SYSFS, adapters, find_port, is_unsteady
from scaled.page.options import PageOptions
from scaled.records.database import RecordsDamaged
from scaled.records.examination import files_set_aside
from scaled.records.reader import RecordsReader

State = Literal["fine", "note", "trouble"]

LEAST_FREE = 100_000_000  # bytes: some 25,000 events, and a copy of as many (measured: 4 kB an event)
FIRST_YEAR = 2026  # the program is not older
ANSWER_S = 2.0
SYNCHRONIZED = Path("/run/systemd/timesync/synchronized")  # systemd-timesyncd.service(8)
WILDCARDS = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # noqa: S104 - where to ask a page that listens everywhere


@dataclass(frozen=True)
class Finding:
    """`what` was looked at, its `state`, what there is to say, and what to `do` (empty where nothing is)."""

    what: str
    state: State
    says: str
    do: str = ""


def examined(config: str | None, clock: Clock, *, sysfs: Path = SYSFS, dev: Path = DEV) -> tuple[Finding, ...]:
    """Everything that can be looked at; without settings that is little, and their absence is a finding."""
    return tuple(_findings(config, clock, sysfs, dev))


def _findings(config: str | None, clock: Clock, sysfs: Path, dev: Path) -> Iterator[Finding]:
    settings = None
    try:
        settings = load_settings(config)
    except WrongSettings as error:
        for mistake in error.each():
            yield Finding("settings", "trouble", str(mistake), "put that right first: the daemon does not start so")
    if settings is not None:
        yield Finding("settings", "fine", f"{settings.file}: {len(settings.scales)} scale(s)")
        health = _daemon(settings.page)
        yield from _formulas(settings)
        yield from _records(settings.records)
        for scale in settings.scales:
            yield _scale(scale, health, sysfs, dev)
        yield _page(settings.page, health)
        yield _pins(settings.cues, dev)
        yield _voice(settings.cues)
    yield _ports(sysfs, dev)
    yield _time(clock)


def _formulas(settings: Settings) -> Iterator[Finding]:
    folder = settings.formulas
    if not folder.is_dir():
        yield Finding("formulas", "trouble", f"{folder}: there is no such folder", "make it, or name another")
        return
    if not os.access(folder, os.R_OK | os.X_OK):
        yield Finding("formulas", "trouble", f"{folder}: may not be looked into", "check its permissions")
        return
    catalogue = FolderCatalogue(folder, allergens=settings.allergens)
    sound = 0
    for stem in catalogue.stems():
        try:
            catalogue.formula(stem)
            sound += 1
        except Invalid as error:
            for mistake in error.each():
                yield Finding("formulas", "trouble", str(mistake), f"{stem} cannot be weighed until that is put right")
        except (OSError, KeyError) as error:
            yield Finding("formulas", "trouble", f"{stem}: cannot be read ({error})", "check its permissions")
    if sound:
        yield Finding("formulas", "fine", f"{folder}: {sound} can be weighed")
    else:
        yield Finding("formulas", "trouble", f"{folder}: holds none that can be weighed", "put formula files there")


def _records(path: Path) -> Iterator[Finding]:
    folder = path.parent
    if not folder.is_dir():
        yield Finding("records", "trouble", f"{folder}: there is no such folder", "make it, or name another file")
        return
    yield _records_read(path)
    for place in (folder, path):
        if place.exists() and not os.access(place, os.W_OK):
            yield Finding("records", "trouble", f"{place}: {_user()} may not write there", "give it to that user")
    free = shutil.disk_usage(folder).free
    if free < LEAST_FREE:
        yield Finding("disk", "trouble", f"{folder}: {free / 1e6:.0f} MB are free", "make room before it is full")
    else:
        yield Finding("disk", "fine", f"{folder}: {free / 1e9:.1f} GB are free")
    for damaged in files_set_aside(path):
        yield Finding("records", "note", f"{damaged}: was damaged and set aside", "keep it, and move it elsewhere")


def _records_read(path: Path) -> Finding:
    if not path.exists():
        return Finding("records", "fine", f"{path}: not there yet, the daemon begins them")
    try:
        return Finding("records", "fine", f"{path}: {RecordsReader(path).count()} batches")
    except RecordsDamaged as error:
        return Finding("records", "trouble", str(error), "keep the file; the daemon sets a damaged one aside")
    except RecordsUnusable as error:
        return Finding("records", "trouble", str(error), "put that right: until then nothing is recorded")
    except WrongSettings as error:
        return Finding("records", "trouble", str(error), "the daemon does not start on them")


def _scale(scale: ScaleSettings, health: dict[str, Any] | None, sysfs: Path, dev: Path) -> Finding:
    what = f"scale {scale.name}"
    path = find_port(scale.port, sysfs=sysfs, dev=dev)
    if health is not None and health.get("scale") == "ready":
        return Finding(what, "fine", f"{scale.port}: the daemon reads it")
    if path is None:
        return Finding(what, "trouble", f"{scale.port}: is not there", "plug the scale in, or see the serial ports")
    if "://" in path:
        return Finding(what, "note", f"{path}: is reached through other software, and was not tried")
    if not os.access(path, os.R_OK | os.W_OK):
        do = f"adduser {_user()} dialout, and log in again"
        return Finding(what, "trouble", f"{path}: {_user()} may not use it", do)
    if health is not None:
        do = "switch it on and check baud rate and line ('scaled scale listen' while the daemon is stopped)"
        return Finding(what, "trouble", f"{path}: is there, but the daemon says '{health.get('scale')}'", do)
    if is_unsteady(scale.port):
        do = "name it as /dev/serial/by-id/... or by vendor and product"
        return Finding(what, "note", f"{path}: is there, and may be another device after a restart", do)
    return Finding(what, "fine", f"{path}: is there ('scaled scale listen {path}' shows what it says)")


def _daemon(page: PageOptions) -> dict[str, Any] | None:
    """What a daemon that serves this page says of itself; None where none does."""
    host = WILDCARDS.get(page.address, page.address)
    connection = http.client.HTTPConnection(host.strip("[]"), page.port, timeout=ANSWER_S)
    try:
        connection.request("GET", "/healthz")
        found = json.loads(connection.getresponse().read(65_536))
    except (OSError, http.client.HTTPException, ValueError):
        return None
    finally:
        connection.close()
    return found if isinstance(found, dict) and {"scale", "records", "loops"} <= found.keys() else None


def _page(page: PageOptions, health: dict[str, Any] | None) -> Finding:
    where = f"{page.address} port {page.port}"
    if health is not None:
        if health.get("ok"):
            return Finding("page", "fine", f"{where}: a daemon serves it and is well")
        return Finding("page", "trouble", f"{where}: the daemon says {_words(health)}", "see its log")
    try:
        for family, kind, protocol, _, address in socket.getaddrinfo(
            page.address.strip("[]"), page.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        ):
            with socket.socket(family, kind, protocol) as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                probe.bind(address)
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            return Finding("page", "trouble", f"{where}: another program has it", "set another `page: port`")
        return Finding("page", "trouble", f"{where}: {error.strerror or error}", "set `page: address` and `port`")
    return Finding("page", "fine", f"{where}: is free")


def _words(health: dict[str, Any]) -> str:
    return ", ".join(f"{name} {health[name]}" for name in ("records", "loops", "scale") if name in health)


def _pins(cues: CueSettings, dev: Path) -> Finding:
    if cues.pins is None:
        return Finding("pins", "fine", "none in the settings")
    if cues.pins == "mock":
        return Finding("pins", "note", "mock: no real pin is driven", "set `cues: pins` to lgpio on a Pi")
    library = FACTORIES[cues.pins][2]
    for module in ("gpiozero", library):
        if module and not _is_installed(module):
            return Finding("pins", "trouble", f"{cues.pins}: the library {module} is not installed", "install it")
    chips = sorted(dev.glob("gpiochip*"))
    if not chips:
        return Finding("pins", "trouble", f"{cues.pins}: this machine has no GPIO", "leave `cues: pins` out")
    if not any(os.access(chip, os.R_OK | os.W_OK) for chip in chips):
        do = f"adduser {_user()} gpio, and log in again"
        return Finding("pins", "trouble", f"{chips[0]}: {_user()} may not use it", do)
    return Finding("pins", "fine", f"{cues.pins}: {len(cues.wired())} pins in the settings")


def _is_installed(module: str) -> bool:
    try:
        return importlib.util.find_spec(module) is not None
    except ImportError:  # the package around it is missing
        return False


def _voice(cues: CueSettings) -> Finding:
    if cues.voice is None:
        return Finding("voice", "fine", "none in the settings")
    if not Speech().is_there():
        return Finding("voice", "trouble", "espeak-ng is not installed", "apt install espeak-ng alsa-utils")
    return Finding("voice", "fine", f"{cues.voice}: espeak-ng is there")


def _ports(sysfs: Path, dev: Path) -> Finding:
    """What a scale could hang on, by the name that stays."""
    names = [f"{dev / a.tty} ({dev / 'serial/by-id' / a.by_id})" for a in adapters(sysfs)]
    if not names:
        return Finding("serial ports", "note", "no serial adapter on USB is plugged in")
    return Finding("serial ports", "fine", ", ".join(names))


def _time(clock: Clock) -> Finding:
    now = clock.wall()
    if now.year < FIRST_YEAR:
        return Finding("clock", "trouble", f"this machine believes that it is {now:%Y-%m-%d}", "set it: timedatectl")
    if not SYNCHRONIZED.exists():
        return Finding("clock", "note", f"{now:%Y-%m-%d %H:%M}, not known to be set by the network", "compare it")
    return Finding("clock", "fine", f"{now:%Y-%m-%d %H:%M}, set by the network")


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"
