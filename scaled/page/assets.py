"""The page's own files, read once at the start: a name that a browser asks for is looked up here, never on the disk."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from importlib.resources import files

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


@dataclass(frozen=True)
class Asset:
    """A file as it is sent; `tag` changes with its bytes."""

    name: str
    media_type: str
    body: bytes
    tag: str


def load_assets() -> dict[str, Asset]:
    """The files of `scaled/page/assets` by name."""
    found = {}
    for file in files("scaled.page").joinpath("assets").iterdir():
        media_type = TYPES.get("." + file.name.rpartition(".")[2])
        if media_type is not None:
            body = file.read_bytes()
            found[file.name] = Asset(file.name, media_type, body, hashlib.sha256(body).hexdigest()[:16])
    return found
