"""A batch taken back on the Records page: asked for, done in the background, seen by all pages."""

from __future__ import annotations

import json
import re
import time
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect

from analytics.handin import ingest
from analytics.store import Store
from analytics.store.jobs import Jobs
from dashboard.app import create_app
from dashboard.components import work
from dashboard.serving import page_call
from dashboard.settings import Settings
from tests.dashboard.conftest import CATALOGUE
from tests.dashboard.drawn import find, post, texts
from tests.dashboard.visitor import Visitor, served, settled

REGISTER = "locomotive,class,depot\nB-1,Birch,North\n"
FINDINGS = (
    "locomotive,found_at,component,defect,severity,action\nB-1,{day},injector,worn,rectify,{a}\n"
)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store.create(tmp_path / "store", {"small.toml": CATALOGUE})
    (tmp_path / "locomotives.csv").write_text(REGISTER)
    for number, day in enumerate(("2026-01-05", "2026-02-05"), 1):
        handed_in = tmp_path / f"findings-{number}.csv"
        handed_in.write_text(FINDINGS.format(day=day, a="replaced"))
        ingest(made, [handed_in, tmp_path / "locomotives.csv"][: 3 - number])
    return made


@pytest.fixture
def client(store: Store) -> FlaskClient:
    made: FlaskClient = create_app(store, Settings()).server.test_client()
    return made


def call(batch: str | None, *, sure: bool, part: str = work.START) -> dict[str, Any]:
    """What a browser posts when the button is pressed, or when the watch ticks."""

    def given(kind: str, prop: str, value: Any) -> dict[str, Any]:
        return {"id": {"name": "withdraw", "type": kind}, "property": prop, "value": value}

    panel = {"name": "withdraw", "type": work.PANEL}
    prop = "n_clicks" if part == work.START else "n_intervals"
    changed = json.dumps({"name": "withdraw", "type": part}, separators=(",", ":"))
    return {
        "output": f'{{"name":["MATCH"],"type":"{work.PANEL}"}}.children',
        "outputs": {"id": panel, "property": "children"},
        "inputs": [given(work.START, "n_clicks", 1), given(work.WATCH, "n_intervals", 1)],
        "state": [given(work.BATCH, "value", batch), given(work.SURE, "checked", sure)],
        "changedPropIds": [f"{changed}.{prop}"],
    }


def wait_until_over(store: Store) -> str:
    for _ in range(200):
        (job,) = Jobs(store.root).latest()
        if job.is_over:
            return job.state
        time.sleep(0.1)
    return "never over"


def test_batch_is_taken_back_and_told(client: FlaskClient, store: Store) -> None:
    before = " ".join(texts(post(client, page_call("/records"))))
    assert "Take a batch back" in before
    post(client, call("2", sure=True))
    assert wait_until_over(store) == "done"
    told = " ".join(texts(post(client, call(None, sure=False, part=work.WATCH))))
    assert "Batch 2 was taken back" in told
    assert "1 row counts no longer" in told
    with store.read() as reader:
        left = reader.cursor.execute("SELECT count(*) FROM history.episode").fetchall()
    assert left == [(1,)]


@pytest.mark.browser
@pytest.mark.filterwarnings("ignore:unclosed file:ResourceWarning")  # 2026-11: flask-compress 1.25
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_records_keeper_takes_a_batch_back_in_the_browser(
    browser: Browser, store: Store, size: str
) -> None:
    with served(store) as address:
        visitor = Visitor(browser, address)
        page = settled(visitor.open("/records", size=size), "Records")
        button = page.get_by_role("button", name="Take it back")
        said = page.get_by_text("Nothing was asked: choose the batch and tick the box.")
        expect(said).to_have_count(0)
        button.click()  # neither chosen nor sure
        expect(said).to_be_visible()  # the form is drawn anew with it: a list opened before closes
        page.get_by_role("textbox", name="Batch").click()
        page.get_by_role("option", name=re.compile("^2: ")).click()
        page.get_by_label("Yes, its rows shall count no longer").check()
        button.click()
        expect(page.get_by_text("Batch 2 was taken back")).to_be_visible()
        page.reload()
        settled(page, "Records")
        expect(page.locator("#batches-title ~ .reading")).to_contain_text("1 of them withdrawn")
        visitor.leave()
    assert [job.detail for job in Jobs(store.root).latest()] == ["2"]


@pytest.mark.parametrize(
    ("batch", "sure"), [("2", False), (None, True), ("99", True), ("2; DROP", True)]
)
def test_nothing_is_done_unless_a_batch_is_named_and_sure(
    client: FlaskClient, store: Store, batch: str | None, sure: bool
) -> None:
    said = " ".join(texts(post(client, call(batch, sure=sure))))
    assert "Nothing was asked" in said
    assert Jobs(store.root).latest() == []


def test_what_was_chosen_stays_where_the_tick_was_missing(client: FlaskClient) -> None:
    (chosen,) = find(post(client, call("2", sure=False)), "Select")
    assert chosen["props"]["value"] == "2"


def test_watching_asks_for_nothing(client: FlaskClient, store: Store) -> None:
    post(client, call("2", sure=True, part=work.WATCH))
    assert Jobs(store.root).latest() == []


def test_another_site_cannot_ask(client: FlaskClient, store: Store) -> None:
    answer = client.post(
        "/_dash-update-component",
        json=call("2", sure=True),
        headers={"Origin": "http://elsewhere.example"},
    )
    assert answer.status_code == 403
    assert Jobs(store.root).latest() == []
