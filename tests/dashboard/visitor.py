"""A reader's window on the pages: everything the browser complains about is kept."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect
from werkzeug.serving import make_server

from analytics.store import Store
from dashboard.app import create_app
from dashboard.settings import Settings

SIZES = {"phone": (390, 844), "desk": (1440, 900)}


@contextmanager
def served(store: Store) -> Iterator[str]:
    """Serve the pages of a store on a free port; gives their address."""
    app = create_app(store, Settings())
    server = make_server("127.0.0.1", 0, app.server, threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@dataclass
class Visitor:
    """One reader, who may open several windows."""

    browser: Browser
    address: str
    troubles: list[str] = field(default_factory=list)
    contexts: list[BrowserContext] = field(default_factory=list)

    def open(self, path: str, *, size: str = "desk", theme: str = "light") -> Page:
        """Open an address in a window of its own, with nothing remembered."""
        page = self.window(size=size, theme=theme)
        page.goto(self.address + path)
        return page

    def window(self, *, size: str = "desk", theme: str = "light", **options: Any) -> Page:
        width, height = SIZES[size]
        context = self.browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="dark" if theme == "dark" else "light",
            **options,
        )
        self.contexts.append(context)
        context.route("**/*", self._stay_here)
        page = context.new_page()
        page.on("console", lambda said: self.troubles.append(f"console: {said.text}"))
        page.on("pageerror", lambda error: self.troubles.append(f"error: {error}"))
        return page

    def leave(self) -> None:
        """Close the windows; nothing may have gone wrong in any."""
        for context in self.contexts:
            context.close()
        assert self.troubles == []

    def _stay_here(self, route: Route) -> None:
        if route.request.url.startswith((f"{self.address}/", "data:", "blob:")):
            route.continue_()
        else:
            self.troubles.append(f"off the host: {route.request.url}")
            route.abort()


def settled(page: Page, heading: str | None = None) -> Page:
    """Wait until the page and every part of it has come, and its figures are drawn."""
    title = page.locator("h1")
    if heading is None:
        expect(title).to_be_visible()
    else:
        expect(title).to_have_text(heading)
    expect(page.locator(".waiting")).to_have_count(0)
    figures = page.locator("figure .dash-graph")
    expect(page.locator("figure .js-plotly-plot .main-svg:first-child")).to_have_count(
        figures.count()
    )
    return page


def section(page: Page, name: str) -> Locator:
    """Return one section of a page by its name."""
    return page.locator(f'section[aria-labelledby="{name}-title"]')


def assert_within_screen(page: Page) -> None:
    """No part of the page is wider than the window."""
    width = page.viewport_size["width"] if page.viewport_size else 0
    assert page.evaluate("document.documentElement.scrollWidth") == width
