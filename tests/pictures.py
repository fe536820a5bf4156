"""Make the pictures under dashboard/docs: every page of the demo as its reader sees it.

python -m tests.pictures                  of a demo made for it, with the seed that it always has
python -m tests.pictures --store FOLDER   of this store
"""

from __future__ import annotations

import argparse
import logging
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

from analytics.planning.again import Change, make_version, read_store_inputs
from analytics.store import Store
from dashboard.pages.registry import PAGES
from data_demo.build import build
from tests.browser import VARIABLE, find_chromium
from tests.dashboard.stores import paths_of
from tests.dashboard.visitor import served, settled

DOCS = Path(__file__).resolve().parent.parent / "dashboard" / "docs"
DESK, PHONE = (1280, 900), (390, 844)
MOST_HEIGHT = 2_200
COLOURS = 128
"""Colours of a picture: text and flat figures need no more, and a third of the bytes."""
ALSO = [
    (page, size, look)
    for page in ("today", "locomotive")
    for size, look in ((DESK, "dark"), (PHONE, "light"))
]


def main(arguments: list[str]) -> int:
    """Make all pictures; the exit status of the program."""
    parser = argparse.ArgumentParser(prog="python -m tests.pictures", description=__doc__)
    parser.add_argument("--store", type=Path, help="the store shown")
    parser.add_argument("--to", type=Path, default=DOCS, help="where the pictures go")
    given = parser.parse_args(arguments)
    logging.getLogger("werkzeug").setLevel(logging.WARNING)  # not a line for every request
    chromium = find_chromium()
    if chromium is None:
        print(f"no Chromium found: install one, or name it in {VARIABLE}", file=sys.stderr)
        return 1
    with TemporaryDirectory(prefix="shedbook-pictures-") as folder:
        store = Store.open(given.store) if given.store else _planned(Path(folder) / "demo")
        with served(store) as address, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            expect.set_options(timeout=120_000)
            given.to.mkdir(exist_ok=True)
            _take_all(browser, address, store, given.to)
            browser.close()
    return 0


def _planned(folder: Path) -> Store:
    """Make the demo with its berths planned."""
    store = build(folder)
    inputs = read_store_inputs(store, store.root / "planning.toml")
    make_version(store, Change(more=True), inputs=inputs, who="planner")
    return store


def _take_all(browser: Browser, address: str, store: Store, to: Path) -> None:
    paths = paths_of(store)
    for page, size, look in [*((page, DESK, "light") for page in PAGES), *ALSO]:
        marks = [page, *(["phone"] if size == PHONE else []), *(["dark"] if look == "dark" else [])]
        picture = to / f"{'-'.join(marks)}.png"
        _take(browser, f"{address}{paths[page]}", size, look, picture)
        print(f"{picture.name}: {picture.stat().st_size / 1e3:.0f} kB", flush=True)


def _take(browser: Browser, url: str, size: tuple[int, int], look: str, picture: Path) -> None:
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if look == "dark" else "light",
        reduced_motion="reduce",
    )
    page = context.new_page()
    page.goto(url)
    settled(page)
    page.wait_for_timeout(500)  # figures fit themselves to their places
    _save(page, size[0], picture)
    context.close()


def _save(page: Page, width: int, picture: Path) -> None:
    """Save the page from its top, cut below, in few colours."""
    height = min(page.evaluate("document.documentElement.scrollHeight"), MOST_HEIGHT)
    clip = {"x": 0, "y": 0, "width": width, "height": height}
    page.screenshot(path=picture, clip=clip, full_page=True)
    with Image.open(picture) as taken:
        few = taken.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(picture, optimize=True)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
