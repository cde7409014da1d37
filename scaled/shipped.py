"""Where the folders are that ship with the program but are no code: `recipes` and `systemd`.

They lie at the top of the repository, where a person looks for them, and inside the package in a wheel.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

PACKAGE = Path(__file__).parent


def shipped(folder: Literal["recipes", "systemd"]) -> Path:
    """The installed folder of that name; FileNotFoundError where the installation is broken."""
    for place in (PACKAGE / folder, PACKAGE.parent / folder):
        if place.is_dir():
            return place
    raise FileNotFoundError(f"the folder {folder!r} is missing from this installation of scaled: install it again")
