"""A real bench: daemon, page, pseudo-terminal, simulated scale and cook; and Debian's Chromium before it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
