"""What people come for, walked through in a real browser on a small railway of the demo."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import CDPSession, Page, expect

from analytics.store import Store
from dashboard.figures.look import DARK_PAGE
from tests.dashboard.visitor import (
    SIZES,
    Visitor,
    assert_within_screen,
    section,
    settled,
)

pytestmark = [
    pytest.mark.browser,
    # 2026-11: flask-compress 1.25 leaves files that it sends to be closed by the interpreter.
    pytest.mark.filterwarnings("ignore:unclosed file:ResourceWarning"),
]
FIRST_LOAD_BYTES = 1_100_000
BOTH = [("phone", "light"), ("desk", "dark")]


def query_of(page: Page) -> dict[str, list[str]]:
    return parse_qs(urlsplit(page.url).query)


@pytest.mark.parametrize(("size", "theme"), BOTH)
def test_depot_manager_reads_what_came_back_and_follows_a_locomotive(
    visitor: Visitor, size: str, theme: str
) -> None:
    page = settled(visitor.open("/", size=size, theme=theme), "Today")
    expect(page).to_have_title("Today – shedbook")
    expect(section(page, "back").locator(".reading")).to_be_visible()
    assert_within_screen(page)
    link = page.locator('main a[href^="/locomotive/"]').first
    name = link.inner_text()
    link.click()
    settled(page, name)
    assert urlsplit(page.url).path == f"/locomotive/{name}"
    assert_within_screen(page)
    page.go_back()
    settled(page, "Today")
    page.go_forward()
    settled(page, name)
    page.reload()
    settled(page, name)
    expect(page).to_have_title(f"{name} – shedbook")


@pytest.mark.parametrize(("size", "theme"), BOTH)
def test_depot_manager_filters_to_one_depot_and_shares_a_component(
    visitor: Visitor, size: str, theme: str
) -> None:
    page = settled(visitor.open("/", size=size, theme=theme), "Today")
    page.locator(".choices > summary").click()
    page.get_by_role("textbox", name="Depots").click()
    first = page.get_by_role("option").first
    depot = first.inner_text()
    first.click()
    facts = page.get_by_role("status")
    undo = facts.get_by_role("link", name=re.compile(rf"depot {depot} \(take out\)"))
    expect(undo).to_be_visible()
    assert query_of(page) == {"depot": [depot]}
    settled(page, "Today")
    # The sections are drawn anew one by one; their links then carry the choice on.
    component = page.locator('main a[href^="/component/"][href*="depot="]').first
    component.click()
    expect(page.locator("h1")).not_to_have_text("Today")
    settled(page)
    assert query_of(page) == {"depot": [depot]}
    expect(undo).to_be_visible()
    heading, told = page.locator("h1").inner_text(), facts.inner_text()
    other = settled(visitor.open(page.url.removeprefix(visitor.address), size=size), heading)
    expect(other.get_by_role("status")).to_have_text(told.replace("\n", ""), use_inner_text=False)
    readings = ".section > .reading"
    assert other.locator(readings).all_inner_texts() == page.locator(readings).all_inner_texts()
    undo.click()
    expect(undo).to_have_count(0)
    assert query_of(page) == {}
    page.go_back()
    expect(undo).to_be_visible()
    assert_within_screen(page)


@pytest.mark.parametrize(("size", "theme"), BOTH)
def test_table_is_sorted_and_turned_and_the_address_keeps_it(
    visitor: Visitor, size: str, theme: str
) -> None:
    page = settled(visitor.open("/repeats", size=size, theme=theme), "Repeats")
    chains = section(page, "chains")
    head = chains.get_by_role("columnheader", name="Down", exact=False).first
    head.get_by_role("link").click()
    expect(head).to_have_attribute("aria-sort", "descending")
    assert query_of(page) == {"sort.chains": ["-down_hours"]}
    top = chains.locator("tbody tr").first.inner_text()
    chains.get_by_role("link", name="next").click()
    expect(chains.locator(".turning")).to_contain_text("Page 2 of")
    expect(chains.locator("tbody tr").first).not_to_have_text(top)
    assert query_of(page) == {"sort.chains": ["-down_hours"], "page.chains": ["2"]}
    shared = settled(visitor.open(page.url.removeprefix(visitor.address), size=size), "Repeats")
    mine, theirs = (
        one.locator("tbody").first.inner_text() for one in (chains, section(shared, "chains"))
    )
    assert mine == theirs
    page.go_back()
    expect(chains.locator(".turning")).to_contain_text("Page 1 of")
    assert_within_screen(page)


@pytest.mark.parametrize("size", SIZES)
def test_everything_is_reached_by_keyboard_alone(
    visitor: Visitor, paths: dict[str, str], size: str
) -> None:
    page = settled(visitor.open(paths["component"], size=size))
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")  # past what leads into the page
    seen: list[str] = []
    table = section(page, "mtbf").get_by_role("table")
    for _ in range(60):
        seen.append(page.evaluate("document.activeElement.textContent"))
        in_section = page.evaluate(
            "document.activeElement.closest('section[aria-labelledby=\"mtbf-title\"]') !== null"
        )
        if in_section and seen[-1] == "Show as table":
            page.keyboard.press("Enter")
            break
        page.keyboard.press("Tab")
    assert "Choose what is in, the period and what counts" in seen
    expect(table).to_be_visible()
    page.keyboard.press("Tab")  # on to the table, which scrolls by keyboard
    assert page.evaluate("document.activeElement.className") == "scrolling"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"


def test_dark_look_is_kept_from_page_to_page(visitor: Visitor) -> None:
    page = settled(visitor.open("/"), "Today")
    page.get_by_role("button", name="Light or dark").click()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")
    page.get_by_role("link", name="Repeats", exact=True).click()
    settled(page, "Repeats")
    page.reload()
    settled(page, "Repeats")
    red, green, blue = (int(DARK_PAGE[at : at + 2], 16) for at in (1, 3, 5))
    expect(page.locator("body")).to_have_css("background-color", f"rgb({red}, {green}, {blue})")


@pytest.mark.parametrize(("size", "theme"), BOTH)
def test_records_keeper_sees_what_was_handed_in_and_takes_the_set_aside_rows_along(
    visitor: Visitor, demo_store: Store, tmp_path: Path, size: str, theme: str
) -> None:
    page = settled(visitor.open("/", size=size, theme=theme), "Today")
    page.get_by_role("link", name="Records", exact=True).click()
    settled(page, "Records")
    assert_within_screen(page)
    with demo_store.read() as reader:
        count = "SELECT (SELECT count(*) FROM batch_file), (SELECT count(*) FROM set_aside)"
        files, aside = reader.cursor.execute(count).fetchall()[0]
    expect(section(page, "batches").locator(".reading")).to_contain_text(f"{files} files")
    rows = section(page, "aside")
    expect(rows.locator(".reading")).to_contain_text(re.compile(r"\d+ rows? (is|are) set aside"))
    rows.get_by_text("Take along").click()
    with page.expect_download() as coming:
        rows.get_by_role("link", name="CSV").click()
    assert re.fullmatch(r"aside(-[0-9-]+)?\.csv", coming.value.suggested_filename)
    coming.value.save_as(tmp_path / "aside.csv")
    with (tmp_path / "aside.csv").open(encoding="utf-8", newline="") as file:
        taken = list(csv.DictReader(file))
    assert 0 < len(taken) <= aside
    assert all(row["reason"] for row in taken)


def test_picture_of_a_figure_is_a_png_of_its_own_size(
    visitor: Visitor, paths: dict[str, str], tmp_path: Path
) -> None:
    page = settled(visitor.open(paths["component"]))
    drawn = section(page, "mtbf")
    drawn.get_by_text("Show as table").click()
    box = drawn.locator(".js-plotly-plot").bounding_box()
    assert box is not None
    with page.expect_download() as coming:
        drawn.get_by_role("button", name="Picture (PNG)").click()
    assert coming.value.suggested_filename.endswith(".png")
    coming.value.save_as(tmp_path / "picture.png")
    content = (tmp_path / "picture.png").read_bytes()
    # PNG (ISO/IEC 15948): eight bytes of signature; width and height in the first chunk, IHDR.
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = (int.from_bytes(content[at : at + 4], "big") for at in (16, 20))
    assert width == pytest.approx(2 * box["width"], abs=4)
    assert height > 2 * box["height"]
    assert 5_000 < len(content) < 500_000


def test_first_load_is_small_on_the_wire(visitor: Visitor) -> None:
    page = visitor.window()
    wire = page.context.new_cdp_session(page)
    encodings, sizes = _listen(wire)
    page.goto(f"{visitor.address}/")
    settled(page, "Today")
    page.wait_for_load_state("networkidle")
    assert set(encodings.values()) <= {"gzip", ""}
    plotly = [coding for url, coding in encodings.items() if "plotly" in url]
    assert plotly
    assert set(plotly) == {"gzip"}
    assert len(sizes) >= 10
    assert sum(sizes) < FIRST_LOAD_BYTES


def _listen(wire: CDPSession) -> tuple[dict[str, str], list[float]]:
    """Ask for gzip, and keep how each answer was packed and how many bytes came."""
    encodings: dict[str, str] = {}
    sizes: list[float] = []

    def note(event: dict[str, object]) -> None:
        answer = event["response"]
        assert isinstance(answer, dict)
        heads = {name.lower(): text for name, text in answer["headers"].items()}
        encodings[answer["url"]] = heads.get("content-encoding", "")

    wire.on("Network.responseReceived", note)
    wire.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    wire.send("Network.enable")
    wire.send("Network.setExtraHTTPHeaders", {"headers": {"Accept-Encoding": "gzip"}})
    return encodings, sizes
