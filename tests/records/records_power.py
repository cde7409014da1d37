"""A disk whose power is cut: from the system calls of a run to what could be left of its files.

The calls are recorded by strace. A write is in the file's unsynced list until that file is synced; a name that was
made, moved or removed is unsynced until its folder is. At a cut each file independently keeps its unsynced writes not
at all, in part, in any order, or torn at 512 bytes (a sector); names keep a beginning of their list, as a journalling
file system does.
"""

import re
import subprocess
import sys
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

SECTOR = 512
CALLS = "openat,pwrite64,write,fdatasync,fsync,ftruncate,rename,unlink"

_FILE = re.compile(r"^\d+<([^>]*)>")
_QUOTED = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
_LINE = re.compile(r"^(?:\d+ +)?(\w+)\((.*)\)\s+= (-?\d+)")


@dataclass
class Disk:
    """Files by number, names by path; `synced` parts are what a cut surely leaves."""

    synced: dict = field(default_factory=dict)  # file -> bytearray
    unsynced: dict = field(default_factory=dict)  # file -> list of (offset, bytes) or (size, None) for a truncation
    names: dict = field(default_factory=dict)  # path -> file, as the running program sees it
    synced_names: dict = field(default_factory=dict)
    unsynced_names: list = field(default_factory=list)  # (path, file or None)

    def make(self, path):
        if path not in self.names:
            self.names[path] = len(self.synced)
            self.unsynced_names.append((path, len(self.synced)))
            self.synced[len(self.synced)] = bytearray()
            self.unsynced[self.names[path]] = []

    def write(self, path, offset, content):
        self.unsynced[self.names[path]].append((offset, content))

    def truncate(self, path, size):
        self.unsynced[self.names[path]].append((size, None))

    def sync(self, path):
        if path not in self.names:  # a folder
            for name, file in self.unsynced_names:
                _named(self.synced_names, name, file)
            self.unsynced_names = []
            return
        file = self.names[path]
        for change in self.unsynced[file]:
            _changed(self.synced[file], change)
        self.unsynced[file] = []

    def rename(self, old, new):
        file = self.names.pop(old)
        self.names[new] = file
        self.unsynced_names += [(new, file), (old, None)]

    def remove(self, path):
        del self.names[path]
        self.unsynced_names.append((path, None))

    def cut(self, chance):
        """What could be on the disk after a cut now: name -> bytes."""
        names = dict(self.synced_names)
        for name, file in self.unsynced_names[: chance.randrange(len(self.unsynced_names) + 1)]:
            _named(names, name, file)
        return {name: bytes(self._left(file, chance)) for name, file in names.items()}

    def _left(self, file, chance):
        content, changes = bytearray(self.synced[file]), self.unsynced[file]
        kind = chance.choice(("dropped", "a beginning", "some in any order", "torn"))
        if kind == "a beginning":
            changes = changes[: chance.randrange(len(changes) + 1)]
        elif kind == "some in any order":
            changes = chance.sample(changes, chance.randrange(len(changes) + 1))
        elif kind == "torn":
            changes = [piece for change in changes for piece in _sectors(change) if chance.random() < 0.6]
        for change in () if kind == "dropped" else changes:
            _changed(content, change)
        return content


def _named(names, name, file):
    if file is None:
        names.pop(name, None)
    else:
        names[name] = file


def _changed(content, change):
    offset, new = change
    if new is None:
        del content[offset:]
        content.extend(bytes(offset - len(content)))
        return
    content.extend(bytes(max(0, offset - len(content))))
    content[offset : offset + len(new)] = new


def _sectors(change):
    """The pieces of a write between multiples of a sector, as a disk writes them."""
    offset, new = change
    if new is None:
        return [change]
    cuts = [0, *range(SECTOR - offset % SECTOR, len(new), SECTOR), len(new)]
    return [(offset + a, new[a:b]) for a, b in pairwise(cuts)]


def recorded(program, *arguments, trace):
    """Run a program under strace and return its calls: (call, path, details...), and ("ack", sequence)."""
    strace = ["strace", "-f", "-qq", "-y", "-xx", "-s", "100000", "-e", f"trace={CALLS}", "-o", trace]
    subprocess.run(
        [*strace, sys.executable, program, *map(str, arguments)],
        check=True,
        stdout=subprocess.DEVNULL,
        timeout=120,
    )
    with Path(trace).open(encoding="ascii") as lines:
        return [call for call in map(_call, lines) if call]


def _call(line):
    parts = _LINE.match(line)
    if not parts or int(parts[3]) < 0:
        return None
    name, arguments, result = parts[1], parts[2], int(parts[3])
    texts = [bytes.fromhex(text.replace("\\x", "")) for text in _QUOTED.findall(arguments)]
    file = _FILE.match(arguments)
    path = _plain(file[1]) if file else None
    if name == "openat":
        return ("make", texts[0].decode()) if "O_CREAT" in arguments else None
    if name == "pwrite64":
        return ("write", path, int(arguments.rsplit(",", 1)[1]), texts[0][:result])
    if name == "write":
        return ("ack", int(texts[0])) if arguments.startswith("1<") and texts[0].strip().isdigit() else None
    if name == "ftruncate":
        return ("truncate", path, int(arguments.rsplit(",", 1)[1]))
    if name in ("fdatasync", "fsync"):
        return ("sync", path)
    return ("rename", *(t.decode() for t in texts)) if name == "rename" else ("remove", texts[0].decode())


def _plain(path):
    return bytes.fromhex(path.replace("\\x", "")).decode() if path.startswith("\\x") else path


def play(disk, call, folder):
    """Let a call happen on the disk; calls outside `folder` and on SQLite's shared memory are nobody's concern."""
    kind, *details = call
    inside = [d for d in details if isinstance(d, str)]
    if kind == "ack" or not all(d.startswith(str(folder)) for d in inside) or inside[0].endswith(("-shm", ".lock")):
        return
    getattr(disk, kind)(*details)
