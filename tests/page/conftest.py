"""The page in front of a bench in memory, as an application, as a client and as a server on a real port."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

sys.path.insert(0, str(Path(__file__).parent))

from page_bench import ListedHistory, ReportedHealth, ScriptedSink, ShelfCatalogue, example_record, short_dough
from page_flags import CHROMIUM, DEADLINE_MS, FLAGS
from page_scenes import PLAIN
from page_wire import Stream
from playwright.sync_api import Browser, expect, sync_playwright

from scaled.board import SnapshotBoard
from scaled.page.app import create_app
from scaled.page.options import PageOptions
from scaled.page.server import PageServer


@dataclass
class Behind:
    """All that the page is handed."""

    board: SnapshotBoard = field(default_factory=lambda: SnapshotBoard(PLAIN))
    sink: ScriptedSink = field(default_factory=ScriptedSink)
    catalogue: ShelfCatalogue = field(
        default_factory=lambda: ShelfCatalogue(
            {
                "oat-short-dough": short_dough("oat-short-dough", "Oat and honey short dough"),
                "lemon-curd": short_dough("lemon-curd", "Lemon curd", pieces=None),
                "misspelt": None,
            }
        )
    )
    history: ListedHistory = field(default_factory=ListedHistory)
    health: ReportedHealth = field(default_factory=ReportedHealth)

    def app(self, options: PageOptions | None = None) -> Flask:
        return create_app(self.board, self.sink, self.catalogue, self.history, self.health, options=options)


@pytest.fixture
def behind() -> Behind:
    made = Behind()
    made.history.records["20261124-1"] = example_record("20261124-1")
    return made


@pytest.fixture
def app(behind: Behind) -> Flask:
    return behind.app()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def view() -> Iterator[Callable[[int], Stream]]:
    """Opens a stream at a port; all of them are closed at the end."""
    with ExitStack() as opened:

        def open_stream(port: int) -> Stream:
            stream = Stream(port)
            opened.callback(stream.close)
            return stream

        yield open_stream


@pytest.fixture
def server(behind: Behind) -> Iterator[PageServer]:
    """The page on a real port, with places for five viewers."""
    made = PageServer(behind.app(PageOptions(viewers=5)), "127.0.0.1", 0)
    made.start()
    yield made
    made.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, headless."""
    expect.set_options(timeout=DEADLINE_MS)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()
