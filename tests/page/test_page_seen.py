"""Each state at both sizes: nothing scrolls, nothing lies over another, axe-core has nothing to object to."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from conftest import Behind
from page_bench import short_dough
from page_browser import (
    SIZES,
    faults_by_axe,
    faults_of_layout,
    keep_picture,
    pin_up,
)
from page_scenes import LONG, SCENES
from playwright.sync_api import Browser, Page, expect

from scaled.page.server import PageServer


@pytest.fixture(params=["bench-light", "phone-light", "bench-dark"])
def look(request: pytest.FixtureRequest) -> str:
    """The size and the colours; what is small for the phone does not depend on them."""
    return str(request.param)


@pytest.fixture
def shown(browser: Browser, server: PageServer, look: str) -> Iterator[Page]:
    size, _, scheme = look.partition("-")
    width, height = SIZES[size]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if scheme == "dark" else "light",
        reduced_motion="reduce",
    )
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(server.url)
    yield page
    context.close()
    assert complaints == []


def test_every_state(shown: Page, behind: Behind, look: str) -> None:
    faults = []
    for name, scene in SCENES.items():
        pin_up(behind, shown, scene)
        keep_picture(shown, f"{name}-{look}")
        faults += [f"{name}: {fault}" for fault in faults_of_layout(shown) + faults_by_axe(shown)]
    assert not faults, "\n".join(faults[:12])


def test_choosing_and_dialogs(shown: Page, behind: Behind, look: str) -> None:
    behind.catalogue.formulas |= {f"more-{n}": short_dough(f"more-{n}", f"{LONG} {n}", pieces=n) for n in range(1, 24)}
    faults = []

    def judge(name: str) -> None:
        keep_picture(shown, f"{name}-{look}")
        faults.extend(f"{name}: {fault}" for fault in faults_of_layout(shown) + faults_by_axe(shown))

    pin_up(behind, shown, SCENES["plain"])
    shown.get_by_role("button", name="Choose a formula").click()
    expect(shown.get_by_text("Lemon curd")).to_be_visible()
    judge("choose")
    shown.get_by_role("button", name="after ›").click()
    judge("choose the second sheet")
    shown.get_by_role("button", name="‹ before").click()
    shown.get_by_text("Oat and honey short dough").click()
    expect(shown.locator("#makes")).to_contain_text("513 g")
    judge("how many")
    pin_up(behind, shown, SCENES["long names"])
    shown.get_by_role("button", name="More").click()
    judge("more")
    shown.get_by_role("button", name="Name a lot").click()
    judge("lot")
    shown.get_by_role("dialog").get_by_role("button", name="Close").click()
    shown.locator("#caution button").click()
    shown.get_by_role("button", name="The next one").click()
    shown.get_by_role("button", name="The next one").click()
    judge("cautions")
    shown.get_by_role("dialog").get_by_role("button", name="Close").click()
    shown.get_by_role("button", name="More").click()
    shown.get_by_role("button", name="Give the batch up").click()
    judge("give up")
    assert not faults, "\n".join(faults[:12])


@pytest.mark.parametrize("look", ["bench-light"], indirect=True)
@pytest.mark.parametrize(
    ("plant", "told"),
    [
        ("#instruction { position: fixed; top: 10px; left: 20px }", "lies over"),
        ("#ingredient { transform: translateX(-300px) }", "lies outside"),
        ("#sheet { height: 120vh } body { height: auto; overflow: visible }", "scrolls"),
        ("#lists #upcoming { overflow: auto; max-height: 10px }", "scrolls"),
        (".missing { overflow: hidden; width: 90px }", "cuts off"),
        ("#actions button { width: 20px; flex: none }", "too small"),
        ("#target { color: #d0c8b8 }", "color-contrast"),
    ],
)
def test_the_checks_catch_a_planted_fault(shown: Page, behind: Behind, plant: str, told: str) -> None:
    pin_up(behind, shown, SCENES["adding"])
    assert faults_of_layout(shown) + faults_by_axe(shown) == []
    shown.evaluate(
        "text => { const sheet = new CSSStyleSheet(); sheet.replaceSync(text);"
        " document.adoptedStyleSheets = [sheet]; }",
        plant,
    )
    assert any(told in fault for fault in faults_of_layout(shown) + faults_by_axe(shown))
