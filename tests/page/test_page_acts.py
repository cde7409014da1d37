"""What a cook does on the page: the digits follow, each button sends the right request, a no is told in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest
from conftest import Behind
from page_bench import short_dough
from page_browser import pin_up
from page_scenes import BATCH, SCENES, adding, done, target
from page_wire import until
from playwright.sync_api import Browser, Page, expect

from scaled.batch.inputs import Intent, NameLot, StartBatch, TakeOffer, UseProduct, Wanted
from scaled.batch.protocols import Refused
from scaled.batch.table import TABLE
from scaled.page.server import PageServer
from scaled.page.status import takes


@pytest.fixture(scope="module")
def tab(browser: Browser) -> Iterator[Page]:
    """One tab for all tests: each opens the page of its own server in it, which is another origin each time."""
    context = browser.new_context(viewport={"width": 800, "height": 480}, reduced_motion="reduce")
    yield context.new_page()
    context.close()


@pytest.fixture
def page(tab: Page, server: PageServer) -> Iterator[Page]:
    complaints: list[str] = []

    def complain(error: object) -> None:
        complaints.append(str(error))

    tab.on("pageerror", complain)
    tab.goto(server.url)
    yield tab
    tab.remove_listener("pageerror", complain)
    assert complaints == []


def sent_within(behind: Behind, expected: list[object]) -> None:
    """The bench gets exactly these intents, in this order."""
    until(lambda: len(behind.sink.sent) >= len(expected))
    assert behind.sink.sent == expected


def test_the_digits_follow_the_weight(page: Page, behind: Behind) -> None:
    shown = page.locator("#digits .figure")
    for net, text in ((0, "240"), (116.2, "124"), (219.6, "20"), (229.3, "10.7"), (240, "0.0"), (243.04, "3.0")):
        pin_up(behind, page, replace(SCENES["adding"], addition=adding("oat flour", 240, net, "adding")))
        assert shown.text_content() == text


def test_the_index_nears_the_gap_and_its_shape_says_where_it_is(page: Page, behind: Behind) -> None:
    places = []
    for net in (0, 100, 200, 220, 230, 237, 240, 242, 244, 260, 400):
        pin_up(behind, page, replace(SCENES["adding"], addition=adding("oat flour", 240, net, "adding")))
        index = page.locator("#rule .index")
        where = page.locator("#rule svg").get_attribute("data-where")
        left, right = (page.locator("#rule .gap").evaluate(f"gap => gap.getBBox().{end}") for end in ("x", "width"))
        matrix = index.evaluate("index => new DOMMatrix(getComputedStyle(index).transform).e")
        assert where == ("under" if net < 237.6 else "in" if net <= 242.4 else "over")
        assert (left - 1 <= matrix <= left + right + 1) == (where == "in")
        places.append(matrix)
    assert places == sorted(places)
    assert places[-1] == places[-2]  # beyond its end it stays at the end


def test_the_last_stretch_is_drawn_ten_times_wider(page: Page) -> None:
    axis = page.evaluate(
        "async () => { const { axisFor } = await import('/assets/axis.js'); const axis = axisFor(240, 237.6, 242.4);"
        " return [axis.from, axis.at(0), axis.at(100), axis.at(200), axis.at(220), axis.at(230), axis.at(axis.end)]; }"
    )
    begins, zero, hundred, two_hundred, fine, finer, end = axis
    assert (begins, zero, end) == (216, 0, 1)
    assert (finer - fine) / 10 == pytest.approx(10 * (two_hundred - hundred) / 100)


@pytest.mark.parametrize("band", [(3, 2.7, 3.3), (0.5, 0.45, 0.55), (5000, 4950, 5050), (230, 200, 260), (1, 1, 1)])
def test_every_rule_has_its_gap_inside_and_few_enough_marks(page: Page, band: tuple[float, float, float]) -> None:
    low_at, high_at, end, marks = page.evaluate(
        "async ([target, low, high]) => { const { axisFor, graduations } = await import('/assets/axis.js');"
        " const axis = axisFor(target, low, high);"
        " return [axis.at(low), axis.at(high), axis.at(axis.end), graduations(axis, 740).length]; }",
        band,
    )
    assert 0 < low_at <= high_at < end
    assert end == pytest.approx(1)
    assert 5 < marks < 150


@pytest.mark.parametrize("index", range(4))
def test_an_offer_is_taken_by_a_click(page: Page, behind: Behind, index: int) -> None:
    seq = pin_up(behind, page, SCENES["offers"])
    page.locator("#offers button").nth(index).click()
    sent_within(behind, [TakeOffer(42.0, index, seq)])


def test_an_offers_seq_is_that_of_the_snapshot_it_was_first_seen_in(page: Page, behind: Behind) -> None:
    first = pin_up(behind, page, SCENES["offers"])
    pin_up(behind, page, SCENES["offers"])
    page.locator("#offers button").first.click()
    sent_within(behind, [TakeOffer(42.0, 0, first)])


def test_a_stale_offer_is_told_and_can_be_taken_again(page: Page, behind: Behind) -> None:
    first = pin_up(behind, page, SCENES["offers"])
    behind.sink.answers.append(Refused("conflict", "This question is an older one. Look again."))
    page.locator("#offers button").first.click()
    expect(page.get_by_role("alert")).to_contain_text("This question is an older one. Look again.")
    second = pin_up(behind, page, SCENES["offers"])
    page.locator("#offers button").first.click()
    sent_within(behind, [TakeOffer(42.0, 0, first), TakeOffer(42.0, 0, second)])


def test_an_offer_says_what_to_do_what_it_makes_and_what_it_costs(page: Page, behind: Behind) -> None:
    """The worked case: an egg of 57 g where 50 g was asked, 8 pieces; 19/17, 9/8, 57/50, 1."""
    pin_up(behind, page, SCENES["offers"])
    texts = [
        " ".join(part.strip() for part in card.locator("strong, .makes, .steps, .costs").all_text_contents())
        for card in page.locator(".offer").all()
    ]
    assert texts == [
        "Make 12 % more 8.9 pieces add 28 g oat flour, 0.4 g sea salt, 26 g butter +61 g · 3 weighings · costs 0.45",
        "Make 9 pieces instead of 8 add 30 g oat flour, 0.4 g sea salt, 28 g butter +65 g · 3 weighings · costs 0.45",
        "Make 14 % more 9.1 pieces add 34 g oat flour, 0.4 g sea salt, 31 g butter +72 g · 3 weighings · costs 0.45",
        "Leave it as it is 8 pieces noted as 14 % off +7 g",
    ]
    pin_up(behind, page, SCENES["two offers"])
    assert page.locator(".offer").first.locator("strong").text_content() == "Take 7 g out"
    assert page.locator("#asked-figure").text_content() == "7 g over"


BUTTONS = [
    ("vessel on", "It stands there", "next"),
    ("vessel on", "Do it later", "later"),
    ("waiting", "Do it later", "later"),
    ("waiting", "Hold", "hold"),
    ("adding", "That is all there is", "next"),
    ("under", "That is all there is", "next"),
    ("in band", "Next one", "next"),
    ("over", "Ways out", "next"),
    ("offers", "Hold", "hold"),
    ("doubt", "Yes, go on", "next"),
    ("held", "Go on", "resume"),
    ("start again", "Start the stage again", "start again"),
    ("empty vessel", "It is empty", "next"),
    ("empty vessel", "Not after all", "back"),
]
MORE = [
    ("waiting", "Back one", "back"),
    ("waiting", "Say it again", "repeat"),
    ("adding", "Close stage dry", "close stage"),
    ("vessel on", "Hold", "hold"),
    ("offers", "Say it again", "repeat"),
    ("empty vessel", "Do it later", "later"),
]


@pytest.mark.parametrize(("scene", "label", "wish"), BUTTONS)
def test_each_button_is_one_wish(page: Page, behind: Behind, scene: str, label: str, wish: str) -> None:
    pin_up(behind, page, SCENES[scene])
    page.locator("#actions").get_by_role("button", name=label, exact=True).click()
    sent_within(behind, [Wanted(42.0, wish)])  # type: ignore[arg-type]


@pytest.mark.parametrize(("scene", "label", "wish"), MORE)
def test_each_button_behind_more_is_one_wish(page: Page, behind: Behind, scene: str, label: str, wish: str) -> None:
    pin_up(behind, page, SCENES[scene])
    page.get_by_role("button", name="More", exact=True).click()
    page.get_by_role("dialog").get_by_role("button", name=label, exact=True).click()
    expect(page.get_by_role("dialog")).to_be_hidden()
    sent_within(behind, [Wanted(42.0, wish)])  # type: ignore[arg-type]


def test_no_button_is_offered_that_the_machine_refuses() -> None:
    """The buttons tried above are taken by the machine's own table in the phase that they are shown in."""
    from scaled.page.status import machine_phase

    for scene, _, wish in BUTTONS + MORE:
        assert TABLE[machine_phase(SCENES[scene])][wish] not in ("refuse", "ignore")  # type: ignore[index]


def test_a_stage_is_started_again_only_where_that_is_advised(page: Page, behind: Behind) -> None:
    """The table takes it with every question; the page shows it where the question's advice says so."""
    for scene, is_shown in (("offers", False), ("start again", True), ("empty vessel", False), ("over", False)):
        pin_up(behind, page, SCENES[scene])
        expect(page.locator("#actions").get_by_role("button", name="again")).to_have_count(1 if is_shown else 0)
        assert ("start again" in takes(SCENES[scene])) == is_shown


def test_giving_up_is_asked_once_more(page: Page, behind: Behind) -> None:
    pin_up(behind, page, SCENES["adding"])
    for answer in ("No, go on weighing", "Yes, give it up"):
        page.get_by_role("button", name="More", exact=True).click()
        page.get_by_role("button", name="Give the batch up").click()
        expect(page.get_by_role("dialog")).to_contain_text("Give this batch up?")
        assert behind.sink.sent == []
        page.get_by_role("button", name=answer).click()
    sent_within(behind, [Wanted(42.0, "abort")])


def test_a_lot_is_named_for_any_ingredient(page: Page, behind: Behind) -> None:
    pin_up(behind, page, SCENES["under"])
    page.get_by_role("button", name="More", exact=True).click()
    page.get_by_role("button", name="Name a lot").click()
    page.get_by_role("button", name="the one after").click()
    page.get_by_label("Lot, as it stands on the pack").fill("  OAT-17 ")
    page.keyboard.press("Enter")
    sent_within(behind, [NameLot(42.0, "oat flour", "OAT-17")])


def test_an_ingredient_of_two_stages_is_named_by_its_key(page: Page, behind: Behind) -> None:
    twice = replace(SCENES["under"], done=(done("sea salt", 3, 3, "creamed"),), upcoming=(target("butter", 220),))
    pin_up(behind, page, twice)
    page.get_by_role("button", name="More", exact=True).click()
    page.get_by_role("button", name="Name a lot").click()
    page.get_by_label("Lot, as it stands on the pack").fill("S-1")
    page.get_by_role("button", name="Note it").click()
    sent_within(behind, [NameLot(42.0, "sea salt (dry)", "S-1")])


def test_another_product_is_asked_about_before_it_is_taken(page: Page, behind: Behind) -> None:
    """The bench's own words, then one yes; a no leaves all as it was."""
    words = "margarine contains milk, which nothing else in this batch does: say yes to take it"
    pin_up(behind, page, SCENES["under"])
    asked = UseProduct(42.0, "butter", "margarine")
    sent: list[Intent] = []
    for answer in ("No, leave it", "Yes, take it"):
        behind.sink.answers.append(Refused("conflict", words))
        page.get_by_role("button", name="More", exact=True).click()
        page.get_by_role("button", name="Use another product").click()
        expect(page.locator("output")).to_have_text("sea salt")
        page.get_by_role("button", name="the one after").click()
        expect(page.locator("output")).to_have_text("butter")
        page.get_by_label("Product, as it stands on the pack").fill("margarine")
        page.get_by_role("button", name="Use it").click()
        expect(page.get_by_role("dialog")).to_contain_text(words)
        sent.append(asked)
        sent_within(behind, sent)
        page.get_by_role("button", name=answer).click()
    sent_within(behind, [*sent, replace(asked, is_yes=True)])


def test_a_refused_product_is_told_and_not_asked_about(page: Page, behind: Behind) -> None:
    pin_up(behind, page, SCENES["under"])
    behind.sink.answers.append(Refused("conflict", "butter is all in: nothing more of it is weighed"))
    page.get_by_role("button", name="More", exact=True).click()
    page.get_by_role("button", name="Use another product").click()
    page.get_by_label("Product, as it stands on the pack").fill("margarine")
    page.keyboard.press("Enter")
    expect(page.locator("#banners")).to_contain_text("butter is all in")
    expect(page.get_by_role("dialog")).not_to_be_visible()


def test_what_is_weighed_instead_stands_large(page: Page, behind: Behind) -> None:
    shown = SCENES["under"]
    assert shown.addition is not None
    pin_up(behind, page, replace(shown, addition=replace(shown.addition, product="spelt flour")))
    expect(page.locator("#ingredient")).to_have_text("spelt flour")


def test_a_batch_is_chosen_and_started(page: Page, behind: Behind) -> None:
    pin_up(behind, page, SCENES["plain"])
    page.get_by_role("button", name="Choose a formula").click()
    page.get_by_role("button", name="Oat and honey short dough").click()
    expect(page.locator("#makes")).to_contain_text("513 g")
    page.get_by_role("button", name="more", exact=True).click()
    expect(page.locator("#count")).to_have_value("9")
    expect(page.locator("#makes")).to_contain_text("577 g · 1.13 times the formula · contains eggs, milk")
    expect(page.locator("#planned")).to_contain_text("270 g")
    page.get_by_role("button", name="Weigh it").click()
    sent_within(behind, [StartBatch(42.0, "oat-short-dough", Fraction(9, 8))])
    pin_up(behind, page, SCENES["vessel on"])
    expect(page.locator("#instruction")).to_contain_text("Put the vessel on")


@pytest.mark.parametrize(
    ("typed", "factor"), [("3", Fraction(3, 8)), ("10,5", Fraction(21, 16)), ("7", Fraction(7, 8))]
)
def test_how_many_can_be_typed(page: Page, behind: Behind, typed: str, factor: Fraction) -> None:
    page.get_by_role("button", name="Choose a formula").click()
    page.get_by_role("button", name="Oat and honey short dough").click()
    page.locator("#count").fill(typed)
    page.get_by_role("button", name="Weigh it").click()
    sent_within(behind, [StartBatch(42.0, "oat-short-dough", factor)])


@pytest.mark.parametrize("typed", ["", "x", "0", "-3", "9999999", "1e9"])
def test_what_cannot_be_made_cannot_be_started(page: Page, typed: str) -> None:
    page.get_by_role("button", name="Choose a formula").click()
    page.get_by_role("button", name="Oat and honey short dough").click()
    expect(page.get_by_role("button", name="Weigh it")).to_be_enabled()
    page.locator("#count").fill(typed)
    expect(page.locator("#makes")).to_have_text("That is no number that can be made.")
    expect(page.get_by_role("button", name="Weigh it")).to_be_disabled()


def test_a_no_to_a_start_is_told_and_nothing_is_lost(page: Page, behind: Behind) -> None:
    page.get_by_role("button", name="Choose a formula").click()
    page.get_by_role("button", name="Oat and honey short dough").click()
    behind.sink.answers.append(Refused("conflict", "A batch is running. Finish it or give it up."))
    page.get_by_role("button", name="Weigh it").click()
    expect(page.get_by_role("alert")).to_contain_text("A batch is running. Finish it or give it up.")
    expect(page.locator("#count")).to_have_value("8")


def test_a_formula_with_a_mistake_says_so_and_cannot_be_picked(page: Page) -> None:
    page.get_by_role("button", name="Choose a formula").click()
    expect(page.get_by_text("cannot be used: misspelt.yaml:3:7")).to_be_visible()
    assert page.get_by_role("button", name="misspelt").count() == 0


def test_counting_from_a_mark_on_the_plain_scale(page: Page, behind: Behind) -> None:
    pin_up(behind, page, SCENES["plain"])
    assert page.locator("#reading .figure").text_content() == "812.4"
    page.get_by_role("button", name="Count from here").click()
    expect(page.locator("#reading .figure")).to_have_text("0.0")
    pin_up(behind, page, replace(SCENES["plain"], weight=replace(SCENES["plain"].weight, gross_mg=800000)))  # type: ignore[type-var]
    expect(page.locator("#reading .figure")).to_have_text("−12.4")
    page.get_by_role("button", name="Count all").click()
    expect(page.locator("#reading .figure")).to_have_text("800.0")


def test_what_a_new_factor_asks_more_of_is_not_called_wrong(page: Page, behind: Behind) -> None:
    short = tuple(replace(item, is_in_tolerance=False) for item in SCENES["top-up"].done)
    pin_up(behind, page, replace(SCENES["top-up"], done=short))
    lines = page.locator("#done li")
    assert lines.evaluate_all("lines => lines.map(line => line.className)") == ["off", "pending", "rest"]
    assert lines.nth(1).text_content() == "still to be topped upbutter219 g"


EVIL = "<img src=x onerror=\"document.title='broken'\">"


def test_markup_in_names_is_shown_as_text(page: Page, behind: Behind) -> None:
    title = page.title()
    behind.catalogue.formulas = {EVIL: short_dough(EVIL, EVIL), f"{EVIL}2": None}
    page.get_by_role("button", name="Choose a formula").click()
    page.get_by_role("button", name=EVIL).click()
    expect(page.locator("#how-many-title")).to_have_text(EVIL)
    evil = replace(
        SCENES["offers"],
        batch=replace(BATCH, title=EVIL, formula=EVIL),
        scale=EVIL,
        addition=replace(adding(EVIL, 50, 57, "asking"), stage=EVIL, told=(EVIL,)),
        upcoming=(target(EVIL, 3, EVIL),),
        done=(done(EVIL, 3, 3),),
        cautions=(EVIL,),
        offers=tuple(replace(offer, changes=((EVIL, 1, 2),)) for offer in SCENES["offers"].offers),
    )
    for scene in (evil, replace(evil, offers=(), addition=adding(EVIL, 50, 20, "adding"))):
        pin_up(behind, page, scene)
        assert page.locator("#title").text_content() == EVIL
        assert page.locator("img").count() == 0
    page.locator("#caution button").click()
    expect(page.get_by_role("dialog")).to_contain_text(EVIL)
    behind.sink.answers.append(Refused("conflict", EVIL))
    page.get_by_role("dialog").get_by_role("button", name="Close").click()
    page.get_by_role("button", name="Hold").click()
    expect(page.get_by_role("alert")).to_contain_text(EVIL)
    assert page.locator("img").count() == 0
    assert page.title() == title


def test_everything_can_be_done_with_the_keyboard_and_the_focus_is_seen(page: Page, behind: Behind) -> None:
    seq = pin_up(behind, page, SCENES["offers"])
    page.keyboard.press("Tab")
    first = page.locator("#offers button").first
    expect(first).to_be_focused()
    assert float(first.evaluate("button => parseFloat(getComputedStyle(button).outlineWidth)")) >= 3
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    sent_within(behind, [TakeOffer(42.0, 1, seq)])


def test_what_is_announced_is_what_to_do_and_not_the_running_figures(page: Page, behind: Behind) -> None:
    heard = page.locator("#announced")
    for net in (100, 110, 120):
        pin_up(behind, page, replace(SCENES["adding"], addition=adding("oat flour", 240, net, "adding")))
        assert heard.text_content() == "oat flour, to 240 g. Pour"
    pin_up(behind, page, SCENES["offers"])
    assert heard.text_content() == "whole egg: too much. 7 g over"
