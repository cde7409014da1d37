"""Where the settings file is, and reading it; every mistake in it is told with its place, all of them at once."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from scaled import marks
from scaled.config.sections import settings_from_text
from scaled.config.settings import Settings
from scaled.errors import MistakenSettings, Mistakes, WrongSettings, WrongUsage
from scaled.shipped import shipped

SYSTEM_FILE = Path("/etc/scaled/scaled.yaml")
VARIABLE = "SCALED_CONFIG"


def load_settings(config: str | None = None) -> Settings:
    """Read the settings that `--config`, SCALED_CONFIG or the usual places give; raises WrongSettings."""
    path = settings_file(config, os.environ)
    try:
        return settings_from_text(marks.read_file(path), path)
    except WrongUsage as error:
        raise WrongSettings(f"settings: {error.message}") from error
    except Mistakes as error:
        raise MistakenSettings(error.mistakes) from error


def settings_file(config: str | None, environment: Mapping[str, str], system: Path = SYSTEM_FILE) -> Path:
    """Where the settings are: the file that was named, else the first of the usual ones that exists.

    Raises:
        WrongSettings: no file was named and there is none, or one cannot be looked for; the message says what to do.
    """
    named = config or environment.get(VARIABLE)
    if named:
        return Path(named)
    home = environment.get("XDG_CONFIG_HOME") or str(Path(environment.get("HOME", "~")).expanduser() / ".config")
    own = Path(home) / "scaled" / "scaled.yaml"
    for path in (system, own):
        try:
            if path.exists():
                return path
        except OSError as error:
            raise WrongSettings(
                f"settings: {path}: cannot be looked for ({error.strerror}); name the file with --config"
            ) from error
    example = shipped("systemd") / "scaled.yaml.example"
    raise WrongSettings(
        f"no settings: copy {example} to {system} or {own} and put in your scale and folders (`scaled demo` needs none)"
    )
