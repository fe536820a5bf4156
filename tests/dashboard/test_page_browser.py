"""The component page in a real browser: clean console, nothing off the host, figures drawn."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from analytics.store import Store
from dashboard.figures.look import DARK_PAGE, DARK_PALETTE, LIGHT_PAGE, PALETTE
from dashboard.pages.registry import PAGES
from tests.dashboard.visitor import SIZES, Visitor, served

pytestmark = [
    pytest.mark.browser,
    pytest.mark.usefixtures("made_up_answers"),
    # 2026-11: flask-compress 1.25 leaves files that it sends to be closed by the interpreter.
    pytest.mark.filterwarnings("ignore:unclosed file:ResourceWarning"),
]
COMPONENT = PAGES["component"].sections


@pytest.fixture
def visitor(browser: Browser, empty_store: Store) -> Iterator[Visitor]:
    with served(empty_store) as address:
        one = Visitor(browser, address)
        yield one
        one.leave()


def drawn(page: Page) -> Page:
    """Wait until every part of the page has come and the curves are drawn."""
    expect(page.locator("#survival-graph .scatterlayer .js-line").first).to_be_visible()
    expect(page.locator(".waiting")).to_have_count(0)
    return page


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_component_page_is_drawn_clean_and_within_the_screen(
    visitor: Visitor, size: str, theme: str
) -> None:
    page = drawn(visitor.open("/component/injector", size=size, theme=theme))
    expect(page).to_have_title("Fuel injector – shedbook")
    expect(page.locator(".section h2")).to_have_count(len(COMPONENT))
    expect(page.locator(".section .js-plotly-plot")).to_have_count(7)  # those made up, but a list
    assert page.evaluate("document.documentElement.scrollWidth") == SIZES[size][0]
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert background == as_rgb(DARK_PAGE if theme == "dark" else LIGHT_PAGE)


def test_figure_text_follows_the_look(visitor: Visitor) -> None:
    page = drawn(visitor.open("/component/injector"))
    tick = page.locator("#survival-graph .xtick text").first
    before = tick.evaluate("node => getComputedStyle(node).fill")
    page.get_by_role("button", name="Light or dark").click()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")
    assert tick.evaluate("node => getComputedStyle(node).fill") != before
    page.reload()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")


def test_series_follow_the_look(visitor: Visitor) -> None:
    page = drawn(visitor.open("/component/injector", theme="dark"))
    painted = {
        "#survival-graph .scatterlayer .js-line": ("stroke", DARK_PALETTE[1]),
        "#mtbf-graph .textpoint text": ("fill", DARK_PALETTE[2]),
        "#mtbf-graph .xerror": ("stroke", DARK_PALETTE[2]),
        "#month-graph .barlayer .point path": ("fill", DARK_PALETTE[0]),
    }
    for selector, (kind, colour) in painted.items():
        mark = page.locator(selector).last  # edges of bands come first, and are not painted
        assert mark.evaluate(f"node => getComputedStyle(node).{kind}") == as_rgb(colour)
    page.emulate_media(media="print")
    line = page.locator("#survival-graph .scatterlayer .js-line").last
    assert line.evaluate("node => getComputedStyle(node).stroke") == as_rgb(PALETTE[1])


def test_choice_writes_the_address_and_back_undoes_it(visitor: Visitor) -> None:
    page = drawn(visitor.open("/component/injector"))
    page.locator(".choices > summary").click()
    clock = page.get_by_role("textbox", name="Measured in")
    clock.click()
    page.get_by_role("option", name="calendar days").click()
    expect(page).to_have_url(f"{visitor.address}/component/injector?clock=days")
    expect(page.locator("#mtbf-title ~ .basis")).to_contain_text("calendar days")
    page.go_back()
    expect(page).to_have_url(f"{visitor.address}/component/injector")
    expect(page.locator("#mtbf-title ~ .basis")).to_contain_text("engine hours")
    expect(clock).to_have_value("engine hours")


def test_table_opens_by_keyboard_alone(visitor: Visitor) -> None:
    page = drawn(visitor.open("/component/injector"))
    page.locator("#survival-graph").scroll_into_view_if_needed()
    summary = page.locator("section", has_text="How long does one last?").locator("summary").first
    summary.focus()
    page.keyboard.press("Enter")
    table = page.get_by_role("table", name="How long does one last?")
    expect(table).to_be_visible()
    expect(table).to_contain_text("Share still running")


def test_first_key_leads_past_the_header(visitor: Visitor) -> None:
    page = drawn(visitor.open("/component/injector"))
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()


def test_link_from_the_list_leads_to_a_component(visitor: Visitor) -> None:
    page = visitor.open("/components", size="phone")
    page.get_by_role("link", name="Fuel injector").click()
    expect(drawn(page).locator("h1")).to_have_text("Fuel injector")


def as_rgb(colour: str) -> str:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgb({red}, {green}, {blue})"
