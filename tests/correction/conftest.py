"""Puts this folder on the path, so that its tests share the modules that are no tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
