"""The kitchen that a formula file is read in: its own folder, and what the settings say, where there are any."""

from __future__ import annotations

import os
from pathlib import Path

from scaled.catalogue import FolderCatalogue
from scaled.config import VARIABLE, Settings, load_settings, settings_file
from scaled.errors import WrongSettings


def settings_if_any(config: str | None) -> Settings | None:
    """The settings; None where none were named and there are none. Raises WrongSettings where they are wrong."""
    if not config and not os.environ.get(VARIABLE):
        try:
            settings_file(None, os.environ)
        except WrongSettings:
            return None
    return load_settings(config)


def catalogue_for(path: Path, settings: Settings | None) -> FolderCatalogue:
    """The formulas beside a file, then those of the settings, with the scales and allergen list of the settings."""
    if settings is None:
        return FolderCatalogue(path.parent)
    return FolderCatalogue(path.parent, settings.formulas, scales=settings.scale_facts, allergens=settings.allergens)
