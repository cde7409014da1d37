"""The settings of a bench: which scales, which formulas, where the records go, what hangs on the pins.

`settings` are the values, `file` finds and reads the file that they stand in, `sections` makes them of its text, one
function a section, and `parsers` reads single values within the bounds that nothing else knows. Each reading gives new
frozen values, so that a daemon can read the file anew and keep the old ones where it has become wrong.
"""

from scaled.config.file import VARIABLE, load_settings, settings_file
from scaled.config.sections import settings_from_text
from scaled.config.settings import ScaleSettings, Settings, VesselSettings

__all__ = [
    "VARIABLE",
    "ScaleSettings",
    "Settings",
    "VesselSettings",
    "load_settings",
    "settings_file",
    "settings_from_text",
]
