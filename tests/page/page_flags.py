"""Where Debian's Chromium is, how it starts as root on a closed network, and how long it is waited for."""

from __future__ import annotations

CHROMIUM = "/usr/bin/chromium"
DEADLINE_MS = 20_000  # of a machine that is busy with something else
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
