"""A whole batch as a cook sees it: begun on the page, the egg over, the way back taken by a click, to the end.

Everything is real but the hands: the daemon, its records, the serial line, the page and the browser. The pictures go
to a folder that git ignores; the README shows two of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from threading import Thread

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from scaled.demo.cases import CASES
from scaled.demo.stage import Played, Stage

PICTURES = Path(__file__).parents[1] / "output" / "bench"
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
SPEED = 6.0
INGREDIENTS = {"wheat flour", "oat flour", "icing sugar", "sea salt", "butter", "honey", "whole egg"}
DEADLINE_MS = 90_000
NOTE_DOWN = """() => {
  window.shown = [];
  const [ingredient, instruction] = ["ingredient", "instruction"].map((name) => document.getElementById(name));
  const note = () => window.shown.push([ingredient.textContent, instruction.textContent]);
  new MutationObserver(note).observe(document.getElementById("sheet"), { subtree: true, childList: true });
}"""


@pytest.fixture
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def stage() -> Iterator[Stage]:
    case = CASES["overpour"]
    quiet: Callable[[str], None] = [].append
    with Stage(
        replace(case, style=replace(case.style, says_yes_by="nothing")), speed=SPEED, seed=1, has_page=True, tell=quiet
    ) as made:
        made.clock.release()  # the batch begins on the page, not by the demonstration
        yield made


def begin_on_the_page(page: Page) -> str:
    """Choose the oat dough and begin; returns the batch's id."""
    page.get_by_role("button", name="Choose a formula").click()
    page.get_by_role("button", name="Oat and honey short dough").click()
    with page.expect_response(lambda response: response.url.endswith("/api/v1/batch")) as answered:
        page.get_by_role("button", name="Weigh it").click()
    assert answered.value.status == 201
    return str(answered.value.json()["batch"])


def shown(page: Page) -> set[tuple[str, str]]:
    """Each ingredient with each instruction that has stood there since `NOTE_DOWN`, however shortly."""
    return {(ingredient, instruction) for ingredient, instruction in page.evaluate("() => window.shown")}


def shot(page: Page, name: str) -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=PICTURES / f"{name}.png")


def test_a_batch_with_the_egg_on_the_page(stage: Stage, browser: Browser) -> None:
    page = browser.new_page(viewport={"width": 800, "height": 480})
    page.set_default_timeout(DEADLINE_MS)
    expect.set_options(timeout=DEADLINE_MS)
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda message: problems.append(message.text) if message.type == "error" else None)
    assert stage.url is not None
    page.goto(stage.url)
    page.evaluate(NOTE_DOWN)
    batch = begin_on_the_page(page)
    played: list[Played] = []
    cook = Thread(target=lambda: played.append(stage.cook_batch(batch)))
    cook.start()
    expect(page.locator("#sheet[data-state='adding']")).to_be_attached()
    digits = page.locator("#digits .figure")
    before = digits.inner_text()
    shot(page, "pouring")
    expect(digits).not_to_have_text(before)
    offers = page.locator("#offers button")
    expect(offers).to_have_count(3)
    expect(page.locator("#asked")).to_contain_text("whole egg")
    shot(page, "asking")
    assert ("wheat flour", "Pour") in shown(page)
    assert {ingredient for ingredient, _ in shown(page)} >= INGREDIENTS
    with page.expect_response(lambda response: response.url.endswith("/api/v1/offer")) as taken:
        page.locator("#offers button[data-offer='scale up, least']").click()
    assert taken.value.status == 202
    expect(page.locator("#sheet[data-view='weighing']")).to_be_attached()
    shot(page, "top-up")
    cook.join(DEADLINE_MS / 1000)
    assert not cook.is_alive()
    expect(page.locator("#over")).to_be_visible()
    assert ("wheat flour", "Top up") in shown(page)
    shot(page, "complete")
    record = played[0].record
    assert record.batch.state == "complete"
    assert next(c.offer for c in record.corrections) == "scale up, least"
    assert problems == []
