"""The pages are for everyone: no violation of WCAG 2.2, levels A and AA, that axe-core finds.

Oracle: axe-core's rules for WCAG 2.2 (W3C Recommendation, 12 December 2024), run in the page.
"""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from dashboard.pages.registry import PAGES
from tests.dashboard.visitor import Visitor, settled

pytestmark = [
    pytest.mark.browser,
    # 2026-11: flask-compress 1.25 leaves files that it sends to be closed by the interpreter.
    pytest.mark.filterwarnings("ignore:unclosed file:ResourceWarning"),
]
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
RULES: dict[str, Any] = {
    "runOnly": {"type": "tag", "values": LEVELS},
    "resultTypes": ["violations"],
}
LOOKS = ("light", "dark")
PICKED = [("records", "light"), ("component", "dark"), ("locomotive", "light")]
"""Pages whose pickers are opened one by one: between them they have every kind."""


def violations(page: Page, within: str | None = None) -> list[str]:
    found = Axe().run(page, context=within, options=RULES).response
    return [
        f"{rule['id']}: {node['target']} {node['failureSummary']}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]


def open_everything(page: Page) -> None:
    """Open the choices, the tables and what the figures rest on."""
    page.evaluate(
        "document.querySelectorAll('main details').forEach((one) => { one.open = true; })"
    )


def turn(page: Page, look: str) -> None:
    if page.locator("html").get_attribute("data-mantine-color-scheme") != look:
        page.get_by_role("button", name="Light or dark").click()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", look)
    page.wait_for_timeout(300)  # colours fade from one look to the other


@pytest.mark.parametrize("page_name", PAGES)
def test_page_with_everything_open_in_both_looks(
    visitor: Visitor, paths: dict[str, str], page_name: str
) -> None:
    page = settled(visitor.open(paths[page_name]))
    open_everything(page)
    for look in LOOKS:
        turn(page, look)
        assert violations(page) == [], look


@pytest.mark.parametrize("page_name", ["today", "locomotive", "records"])
def test_page_on_a_phone(visitor: Visitor, paths: dict[str, str], page_name: str) -> None:
    page = settled(visitor.open(paths[page_name], size="phone"))
    open_everything(page)
    for look in LOOKS:
        turn(page, look)
        assert violations(page) == [], look


@pytest.mark.parametrize(("page_name", "look"), PICKED)
def test_every_picker_opened(
    visitor: Visitor, paths: dict[str, str], page_name: str, look: str
) -> None:
    page = settled(visitor.open(paths[page_name], theme=look))
    open_everything(page)
    pickers = page.locator("main input[aria-haspopup], main button[aria-haspopup]")
    assert pickers.count() >= 5
    for at in range(pickers.count()):
        picker = pickers.nth(at)
        picker.click()
        assert violations(page, ".choices, .withdrawal") == [], picker.get_attribute("id")
        page.keyboard.press("Escape")
