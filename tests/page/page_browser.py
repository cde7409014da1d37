"""Debian's Chromium before the page, and axe-core (MPL-2.0) to judge what it shows."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from conftest import Behind
from playwright.sync_api import Page, expect

from scaled.batch.snapshot import Snapshot

SIZES = {"bench": (800, 480), "phone": (390, 844)}
ROOT = Path(__file__).resolve().parents[2]
SEEN = ROOT / "tests" / ".seen"
LAYOUT = (Path(__file__).parent / "page_layout.js").read_text(encoding="utf-8")


def axe_source() -> str:
    """The text of axe-core, as the package axe-playwright-python brings it."""
    return files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


def pin_up(behind: Behind, page: Page, snapshot: Snapshot) -> int:
    """Publish a Snapshot and wait until the page shows it; its sequence number."""
    seq = behind.board.latest().seq + 1
    behind.board.publish(replace(snapshot, seq=seq))
    wait_shown(page, seq)
    return seq


def wait_shown(page: Page, seq: int) -> None:
    expect(page.locator(f'#sheet[data-seq="{seq}"]')).to_be_attached()


def faults_of_layout(page: Page) -> list[str]:
    found: list[str] = page.evaluate(LAYOUT)
    return found


def faults_by_axe(page: Page) -> list[str]:
    """What axe-core objects to, with its enhanced contrast rule (7:1, WCAG 2.2, 1.4.6) switched on."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(axe_source())
    options = {"rules": {"color-contrast-enhanced": {"enabled": True}}, "resultTypes": ["violations"]}
    result: dict[str, Any] = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{violation['id']}: {node['target']} {node['failureSummary']}"
        for violation in result["violations"]
        for node in violation["nodes"]
    ]


def keep_picture(page: Page, name: str) -> None:
    """A screenshot in a folder that git ignores, to be looked at."""
    SEEN.mkdir(exist_ok=True)
    page.screenshot(path=SEEN / f"{name.replace(' ', '-')}.png")
