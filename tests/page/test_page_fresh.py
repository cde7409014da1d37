"""How old a number is, and how the page comes back: silence, sleep, a daemon that is gone, no place free.

The browser's own clock is put forward where the page is to wait: it measures ages by that alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from threading import Event, Thread

import pytest
from conftest import Behind
from page_browser import faults_by_axe, faults_of_layout, keep_picture, pin_up, wait_shown
from page_scenes import SCENES, adding
from page_wire import Stream, until
from playwright.sync_api import Browser, Page, expect

from scaled.page.options import PageOptions
from scaled.page.server import PageServer

FRESH = "#sheet[data-fresh='yes']"
OLD = "#sheet[data-fresh='no']"


@pytest.fixture
def page(browser: Browser, server: PageServer) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 800, "height": 480})
    opened = context.new_page()
    opened.clock.install()
    opened.goto(server.url)
    yield opened
    context.close()


def stop_clock(page: Page, after_s: float) -> None:
    """The page's time goes on by so much, and then no further: however long a busy machine takes to look at it."""
    page.clock.pause_at(page.evaluate("() => Date.now()") / 1000 + after_s)


def test_a_number_greys_within_twelve_seconds_and_comes_back(page: Page, behind: Behind) -> None:
    """The connection stands all the while: what is old is the number."""
    pin_up(behind, page, SCENES["adding"])
    stop_clock(page, after_s=5.0)
    page.clock.run_for(100)  # in which what is due is drawn
    expect(page.locator(FRESH)).to_be_attached()
    page.clock.run_for(6_900)
    expect(page.locator(OLD)).to_be_attached()
    expect(page.get_by_role("alert")).to_contain_text("No news from the bench")
    page.clock.resume()
    assert faults_of_layout(page) + faults_by_axe(page) == []
    keep_picture(page, "old-bench-light")
    expect(page.locator("#instruction")).to_have_text("No news")
    expect(page.locator("#scale")).to_have_text("bench: not known")
    colour = "element => getComputedStyle(element).color"
    grey = page.locator("#digits").evaluate(colour)
    pin_up(behind, page, SCENES["near"])
    expect(page.locator(FRESH)).to_be_attached()
    expect(page.get_by_role("alert")).to_be_empty()
    assert page.locator("#digits").evaluate(colour) != grey
    expect(page.locator("#instruction")).to_have_text("A little, then wait")


def test_a_lost_scale_greys_at_once(page: Page, behind: Behind) -> None:
    pin_up(behind, page, SCENES["lost"])
    assert page.locator(OLD).count() == 1
    expect(page.get_by_role("alert")).to_contain_text("The scale is silent")


def test_it_comes_back_when_the_daemon_does(page: Page, behind: Behind, server: PageServer) -> None:
    pin_up(behind, page, SCENES["adding"])
    server.stop()
    page.clock.fast_forward(12_000)
    expect(page.locator(OLD)).to_be_attached()
    again = PageServer(behind.app(PageOptions(viewers=5)), "127.0.0.1", server.port)
    again.start()
    try:
        page.clock.fast_forward(12_000)
        pin_up(behind, page, SCENES["near"])
        expect(page.locator(FRESH)).to_be_attached()
    finally:
        again.stop()


def hide(page: Page, *, is_hidden: bool) -> None:
    """What a browser does when the screen goes dark, and when it is lit again."""
    page.evaluate(
        "hidden => { Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });"
        " document.dispatchEvent(new Event('visibilitychange')); }",
        is_hidden,
    )


def test_asleep_it_gives_its_place_back_and_awake_it_takes_one(page: Page, behind: Behind, server: PageServer) -> None:
    viewers = behind_viewers(server)
    pin_up(behind, page, SCENES["adding"])
    until(lambda: viewers() == 1)
    hide(page, is_hidden=True)
    until(lambda: viewers() == 0)
    seq = behind.board.latest().seq + 1
    behind.board.publish(replace(SCENES["near"], seq=seq))
    hide(page, is_hidden=False)
    wait_shown(page, seq)
    until(lambda: viewers() == 1)


def test_eight_tabs_of_which_one_is_looked_at(browser: Browser, behind: Behind, server: PageServer) -> None:
    """A browser opens six connections to a host at most (HTTP/1.1): tabs that are not seen must give theirs back."""
    context = browser.new_context()
    for _ in range(8):
        page = context.new_page()
        page.goto(server.url)
        pin_up(behind, page, SCENES["adding"])
        hide(page, is_hidden=True)
    context.close()


def behind_viewers(server: PageServer) -> Callable[[], int]:
    return lambda: server._page.viewers.present


def test_a_stream_that_looks_open_and_is_dead_is_opened_anew(browser: Browser, behind: Behind) -> None:
    """The first stream hangs for ever after its first event; the page notices and opens another."""
    app = behind.app(PageOptions(viewers=5))
    inner, opened, release = app.wsgi_app, [0], Event()

    def hanging(environ: dict[str, object], start_response: object) -> object:
        answer = inner(environ, start_response)  # type: ignore[arg-type]
        if environ["PATH_INFO"] != "/api/v1/events":
            return answer
        opened[0] += 1
        return _one_then_hang(iter(answer), release) if opened[0] == 1 else answer

    app.wsgi_app = hanging  # type: ignore[assignment, method-assign]
    server = PageServer(app, "127.0.0.1", 0)
    server.start()
    stop = Event()
    seq = [behind.board.latest().seq]

    def publish() -> None:
        while not stop.wait(0.2):
            seq[0] += 1
            behind.board.publish(replace(SCENES["adding"], seq=seq[0]))

    publisher = Thread(target=publish)
    publisher.start()
    context = browser.new_context()
    try:
        page = context.new_page()
        page.clock.install()
        page.goto(server.url)
        expect(page.locator("#sheet[data-view='weighing'], #sheet[data-view='plain']")).to_be_attached()
        hung_at = page.locator("#sheet").get_attribute("data-seq")
        page.clock.fast_forward(12_000)
        expect(page.locator(f"#sheet[data-seq='{hung_at}']")).not_to_be_attached()
        expect(page.locator(FRESH)).to_be_attached()
        assert opened[0] == 2
    finally:
        stop.set()
        release.set()
        publisher.join()
        context.close()
        server.stop()


def _one_then_hang(chunks: Iterator[bytes], release: Event) -> Iterator[bytes]:
    yield next(chunks)
    release.wait(60)


def test_without_a_place_it_still_looks_now_and_then(
    browser: Browser, behind: Behind, server: PageServer, view: Callable[[int], Stream]
) -> None:
    streams = [view(server.port) for _ in range(5)]
    assert {stream.status for stream in streams} == {200}
    context = browser.new_context()
    page = context.new_page()
    page.clock.install()
    page.goto(server.url)
    for net in (100, 101):
        seq = behind.board.latest().seq + 1
        behind.board.publish(replace(SCENES["adding"], seq=seq, addition=adding("oat flour", 240, net, "adding")))
        page.clock.fast_forward(5_000)
        wait_shown(page, seq)
        expect(page.locator(FRESH)).to_be_attached()
    for stream in streams:
        stream.close()
    until(lambda: server._page.viewers.present == 1)
    context.close()


def test_a_device_from_afar_is_told_that_it_looks_only(browser: Browser, behind: Behind) -> None:
    app = behind.app()
    inner = app.wsgi_app

    def from_afar(environ: dict[str, object], start_response: object) -> object:
        return inner(environ | {"REMOTE_ADDR": "192.0.2.20"}, start_response)  # type: ignore[arg-type]

    app.wsgi_app = from_afar  # type: ignore[assignment, method-assign]
    server = PageServer(app, "127.0.0.1", 0)
    server.start()
    context = browser.new_context(viewport={"width": 390, "height": 844})
    try:
        page = context.new_page()
        page.goto(server.url)
        pin_up(behind, page, SCENES["offers"])
        expect(page.locator("#actions")).to_contain_text("This device looks only.")
        assert page.locator("#actions button, #offers button").count() == 0
        expect(page.get_by_text("Make 12 % more")).to_be_visible()
    finally:
        context.close()
        server.stop()


def test_nothing_is_asked_of_another_host(browser: Browser, behind: Behind, server: PageServer) -> None:
    context = browser.new_context()
    page = context.new_page()
    hosts = set()
    page.on("request", lambda request: hosts.add(request.url.split("/")[2]))
    page.goto(server.url)
    pin_up(behind, page, SCENES["adding"])
    context.close()
    assert hosts == {f"127.0.0.1:{server.port}"}
