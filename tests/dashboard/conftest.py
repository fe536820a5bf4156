"""A small catalogue, an empty store, made-up answers, and an app's client for the page tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from flask.testing import FlaskClient

import analytics.answer
from analytics import answers
from analytics.catalogue.load import load_text
from analytics.store import Store
from dashboard.app import create_app
from dashboard.settings import Settings
from dashboard.wording import Wording
from tests.browser import VARIABLE, find_chromium, must_have_browser
from tests.dashboard import made_up
from tests.dashboard.stores import make_store, paths_of
from tests.dashboard.visitor import Visitor, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CATALOGUE = """
[class.Alder]
positions = { injector = 16 }
[class.Birch]
[class.Rowan]
[component.injector]
system = "diesel engine"
clock = "hours"
positions = 12
defects = ["leaking", "worn"]
label = { en = "fuel injector" }
[component."Brake block / left, größer"]
system = "brakes"
clock = "km"
defects = ["worn"]
safety = true
[action.replaced]
effect = "renew"
label = { en = "replaced by a new one" }
[action.cleaned]
effect = "restore"
[action.tightened]
effect = "restore"
[action.nothing-found]
effect = "checked"
"""
ODD_NAME = "Brake block / left, größer"


@pytest.fixture
def wording() -> Wording:
    return Wording(load_text({"small.toml": CATALOGUE}))


@pytest.fixture
def empty_store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "store", {"small.toml": CATALOGUE})


@pytest.fixture(scope="session")
def demo_store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A small railway of the demo with two versions of a berth plan; read it only."""
    return make_store("demo", tmp_path_factory.mktemp("small"))


@pytest.fixture(scope="session")
def demo(demo_store: Store) -> FlaskClient:
    client: FlaskClient = create_app(demo_store, Settings()).server.test_client()
    return client


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A Chromium; where there is none, its tests are skipped with the reason."""
    found = find_chromium()
    if found is None:
        said = f"no Chromium found: install one, or name it in {VARIABLE}"
        pytest.fail(said) if must_have_browser() else pytest.skip(said)
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=30_000)  # a busy machine draws slowly
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def address(demo_store: Store) -> Iterator[str]:
    """Where the pages of the small demo railway are served."""
    with served(demo_store) as where:
        yield where


@pytest.fixture(scope="module")
def paths(demo_store: Store) -> dict[str, str]:
    """The path of each of its pages, by the page's name."""
    return paths_of(demo_store)


@pytest.fixture
def visitor(browser: Browser, address: str) -> Iterator[Visitor]:
    """Somebody at a browser in front of them."""
    one = Visitor(browser, address)
    yield one
    one.leave()


@pytest.fixture
def made_up_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Answer every question from `made_up`, with its words."""
    monkeypatch.setattr(answers, "QUESTIONS", made_up.QUESTIONS)
    monkeypatch.setattr(analytics.answer, "words", lambda _language="en": made_up.WORDS)


@pytest.fixture
def make_client(empty_store: Store) -> Callable[..., FlaskClient]:
    def make(store: Store = empty_store, **settings: Any) -> FlaskClient:
        app = create_app(store, Settings(**settings))
        client: FlaskClient = app.server.test_client()
        return client

    return make
