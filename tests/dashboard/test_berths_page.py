"""The berth plan on its page: pinned, kept free, solved again, undone, refused, taken along."""

from __future__ import annotations

import io
import json
import shutil
import time
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from icalendar import Calendar
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader
from python_calamine import CalamineWorkbook

from analytics.handin import ingest
from analytics.planning.versions import Versions
from analytics.store import Store
from analytics.store.jobs import Jobs
from dashboard.app import create_app
from dashboard.components import replan
from dashboard.pages.berths import WHOLE
from dashboard.serving import page_call, part_call
from dashboard.settings import Settings
from tests.dashboard.conftest import CATALOGUE
from tests.dashboard.drawn import links, page, part, post, texts
from tests.dashboard.visitor import Visitor, assert_within_screen, section, served, settled

PAGE = "/berths"
REGISTER = "locomotive,class,depot\nB-1,Birch,North\nB-2,Birch,North\n"
FINDINGS = (
    "locomotive,found_at,component,defect,severity,action\n"
    "B-1,2026-01-05,injector,worn,rectify,replaced\n"
    "B-2,2026-01-06,injector,worn,rectify,replaced\n"
)
INSPECTIONS = "locomotive,inspected_at,kind,outcome,engine_hours\n" + "".join(
    f"{name},2026-01-0{day},daily,released,{100 + 8 * day}\n"
    for name in ("B-1", "B-2")
    for day in range(1, 7)
)
PLANNING = """
[plan]
weeks = 4
[costs]
day_out = 1000.0
[[berths]]
berth = "Pit 1"
open = ["Mon", "Tue", "Wed", "Thu", "Fri"]
[[labour]]
skill = "fitter"
hours = 16
[[visits]]
locomotive = "B-1"
visit = "boiler <test> \u0151\u0171"
earliest = 2026-01-07
latest = 2026-01-30
days = 2
hours = { fitter = 8.0 }
"""


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two locomotives, one berth, one visit due: a folder without a plan, one with its first."""
    folder = tmp_path_factory.mktemp("begun")
    made = Store.create(folder / "unplanned", {"small.toml": CATALOGUE})
    texts_of = {"locomotives": REGISTER, "findings": FINDINGS, "inspections": INSPECTIONS}
    for name, text in texts_of.items():
        (folder / f"{name}.csv").write_text(text)
    report = ingest(made, [folder / f"{name}.csv" for name in texts_of])
    assert sum(file.accepted for file in report.files) == 2 + 2 + 12
    (made.root / "planning.toml").write_text(PLANNING, encoding="utf-8")
    shutil.copytree(made.root, folder / "planned")
    planned = Store.open(folder / "planned")
    post(client_of(planned), call(replan.FIRST))
    assert wait_until_over(planned) == "done"
    return folder


@pytest.fixture
def store(begun: Path, tmp_path: Path) -> Store:
    """No plan is made yet."""
    return Store.open(shutil.copytree(begun / "unplanned", tmp_path / "store"))


@pytest.fixture
def planned(begun: Path, tmp_path: Path) -> Store:
    """The first plan is made, from the file in the store's folder."""
    return Store.open(shutil.copytree(begun / "planned", tmp_path / "planned"))


@pytest.fixture
def client(request: pytest.FixtureRequest) -> FlaskClient:
    """The pages of the store that a test has: with its first plan where it asks for that."""
    kind = "planned" if "planned" in request.fixturenames else "store"
    return client_of(request.getfixturevalue(kind))


def client_of(store: Store) -> FlaskClient:
    made: FlaskClient = create_app(store, Settings()).server.test_client()
    return made


def call(button: str, *, more: bool = False, clicks: int = 1, **given: Any) -> dict[str, Any]:
    """What a browser posts when a button is pressed; `button` empty: when the watch ticks."""

    def sent(kind: str, prop: str, value: Any, name: str = "") -> dict[str, Any]:
        return {"id": replan.replan_id(kind, name), "property": prop, "value": value}

    changed = replan.replan_id(replan.BUTTON if button else replan.WATCH, button)
    prop = "n_clicks" if button else "n_intervals"
    key = json.dumps(dict(sorted(changed.items())), separators=(",", ":"))
    buttons = [button] if button else [replan.AGAIN]
    return {
        "output": f'{{"name":["MATCH"],"type":"{replan.PANEL}"}}.children',
        "outputs": {"id": replan.replan_id(replan.PANEL), "property": "children"},
        "inputs": [
            [sent(replan.BUTTON, "n_clicks", clicks, name) for name in buttons],
            sent(replan.WATCH, "n_intervals", 1),
        ],
        "state": [
            [sent(replan.FIELD, "value", given.get(name), name) for name in replan.FIELDS],
            sent(replan.MORE, "checked", more),
            {"id": "address", "property": "search", "value": ""},
        ],
        "changedPropIds": [f"{key}.{prop}"],
    }


def wait_until_over(store: Store) -> str:
    for _ in range(600):
        job = Jobs(store.root).latest()[0]
        if job.is_over:
            return job.state
        time.sleep(0.05)
    return "never over"


def visits_of(store: Store) -> dict[str, str]:
    versions = Versions(store.root)
    plan = versions.get(versions.latest() or 0).plan
    return {visit.locomotive: visit.first.isoformat() for visit in plan.visits}


def told(client: FlaskClient) -> str:
    """What the panel says on the watch's next tick."""
    answer = client.post("/_dash-update-component", json=call(""))
    (changed,) = (
        one["children"] for one in answer.get_json()["response"].values() if "children" in one
    )
    return " ".join(texts(changed))


def test_first_plan_is_made_from_the_file_in_the_stores_folder(
    client: FlaskClient, store: Store
) -> None:
    assert "No plan was made yet" in part(client, "berth_plan", PAGE)
    assert "No plan was made yet" in part(client, "plan_here", "/locomotive/B-1")
    assert "Make the first plan" in page(client, PAGE)
    post(client, call(replan.FIRST))
    assert wait_until_over(store) == "done"
    assert list(visits_of(store)) == ["B-1"]
    assert "boiler <test> \u0151\u0171" in part(client, "berth_plan", PAGE)
    assert "B-1 is planned into berth Pit 1" in part(client, "plan_here", "/locomotive/B-1")
    assert "B-2 has no visit in the plan" in part(client, "plan_here", "/locomotive/B-2")


def test_without_a_planners_file_it_is_said_how_to_write_one(
    client: FlaskClient, store: Store
) -> None:
    (store.root / "planning.toml").unlink()
    said = page(client, PAGE)
    assert "shedbook plan --template planning.xlsx" in said
    assert "Make the first plan" not in said


def test_pin_and_free_day_are_kept_and_every_part_shows_the_new_version(
    client: FlaskClient, planned: Store
) -> None:
    assert "Version 1: 1 visit" in part(client, "berth_plan", PAGE)
    asked = {"pin_locomotive": "B-2", "pin_day": "2026-01-14", "free_day": "2026-01-15"}
    post(client, call(replan.AGAIN, **asked))
    assert wait_until_over(planned) == "done"
    assert visits_of(planned)["B-2"] == "2026-01-14"
    newest = Versions(planned.root).get(2)
    assert all(
        not one.first <= newest.plan.forbidden[0][1] <= one.last for one in newest.plan.visits
    )
    assert newest.who == "pages"
    # Nothing was asked of the cache but the question: the version in force is part of it.
    assert "Version 2: 2 visits" in part(client, "berth_plan", PAGE)
    assert "B-2" in part(client, "plan_compare", PAGE)
    assert "Version 1: 1 visit" in part(client, "berth_plan", PAGE, "?version=1")
    assert "It is not in force" in part(client, "facts", PAGE, "?version=1")
    assert "B-2 comes on 2026-01-14; nobody in any berth on 2026-01-15: version 2 was made" in told(
        client
    )


@pytest.mark.usefixtures("planned")
def test_page_turns_to_the_version_that_has_just_been_made(client: FlaskClient) -> None:
    answer = client.post("/_dash-update-component", json=call("")).get_json()
    assert answer["sideUpdate"] == {"address": {"search": "?version=1"}}


def test_pin_is_lifted_and_the_last_change_undone(client: FlaskClient, planned: Store) -> None:
    post(client, call(replan.AGAIN, pin_locomotive="B-2", pin_day="2026-01-14"))
    assert wait_until_over(planned) == "done"
    post(client, call(replan.AGAIN, lifted=["B-2|2026-01-14"]))
    assert wait_until_over(planned) == "done"
    assert list(visits_of(planned)) == ["B-1"]
    post(client, call(replan.UNDO))
    assert wait_until_over(planned) == "done"
    assert visits_of(planned)["B-2"] == "2026-01-14"
    assert Versions(planned.root).latest() == 4  # nothing is ever deleted
    assert "Undo the last change: version 4 was made" in told(client)


def test_what_cannot_be_kept_is_refused_in_words_and_changes_nothing(
    client: FlaskClient, planned: Store
) -> None:
    before = part(client, "berth_plan", PAGE)
    post(client, call(replan.AGAIN, pin_locomotive="B-1", pin_day="2026-01-17"))  # a Saturday
    assert wait_until_over(planned) == "refused"
    said = told(client)
    assert "B-1 comes on 2026-01-17: not done, the plan stays as it was." in said
    assert "B-1 pinned to 2026-01-17" in said
    assert Versions(planned.root).latest() == 1
    assert part(client, "berth_plan", PAGE) == before


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"pin_locomotive": "B-2"}, "choose both the locomotive"),
        ({"pin_day": "2026-01-14"}, "choose both the locomotive"),
        ({"free_locomotive": "B-2"}, "choose the day"),
        ({"pin_locomotive": "B-2", "pin_day": "soon"}, "a day reads"),
    ],
)
def test_half_a_wish_asks_for_nothing(
    client: FlaskClient, planned: Store, given: dict[str, str], sentence: str
) -> None:
    asked = len(Jobs(planned.root).latest())
    assert sentence in " ".join(texts(post(client, call(replan.AGAIN, **given))))
    assert len(Jobs(planned.root).latest()) == asked


def test_button_that_was_only_drawn_asks_for_nothing(client: FlaskClient, store: Store) -> None:
    post(client, call(replan.FIRST, clicks=0))
    assert Jobs(store.root).latest() == []


def test_one_more_of_everything_is_worked_out_when_it_is_asked_for(
    client: FlaskClient, planned: Store
) -> None:
    assert "this was not worked out" in part(client, "plan_worth", PAGE)
    post(client, call(replan.AGAIN, more=True))
    assert wait_until_over(planned) == "done"
    assert "One more of anything would bring nothing." in part(client, "plan_worth", PAGE)


@pytest.mark.usefixtures("planned")
def test_number_in_the_address_that_is_no_version_shows_the_one_in_force(
    client: FlaskClient,
) -> None:
    for query in ("?version=99", "?version=x", "?version=0"):
        assert "Version 1: 1 visit" in part(client, "berth_plan", PAGE, query)
        assert "Version 1 is in force" in part(client, "facts", PAGE, query)
    assert "there is no plan version 7" in part(client, "plan_compare", PAGE, "?other=7")
    assert "other cannot be" in part(client, "facts", PAGE, "?other=x")


@pytest.mark.usefixtures("planned")
def test_plan_is_taken_along_whole(client: FlaskClient) -> None:
    facts = post(client, part_call("facts", PAGE))
    hrefs = {href.split("?")[0].rsplit(".", 1)[1]: href for href in links(facts) if WHOLE in href}
    assert set(hrefs) == {"pdf", "xlsx", "ics"}
    files = {form: client.get(href).get_data() for form, href in hrefs.items()}
    assert (
        "boiler <test> \u0151\u0171" in PdfReader(io.BytesIO(files["pdf"])).pages[0].extract_text()
    )
    book = CalamineWorkbook.from_filelike(io.BytesIO(files["xlsx"]))
    assert {"visits", "jobs", "left-out", "limits", "days"} <= set(book.sheet_names)
    (event,) = Calendar.from_ical(files["ics"]).walk("VEVENT")
    assert event["SUMMARY"] == "B-1: boiler <test> \u0151\u0171"
    for wrong in ("exe?version=1", "pdf?version=x", "pdf?version=9", "pdf"):
        assert client.get(f"/data/{WHOLE}.{wrong}").status_code in (400, 404)


@pytest.mark.browser
@pytest.mark.filterwarnings("ignore:unclosed file:ResourceWarning")  # 2026-11: flask-compress 1.25
@pytest.mark.parametrize("size", ["phone", "desk"])
def test_planner_pins_solves_again_and_undoes_in_the_browser(
    browser: Browser, store: Store, size: str
) -> None:
    with served(store) as address:
        visitor = Visitor(browser, address)
        shown = settled(visitor.open(PAGE, size=size), "Berths")
        shown.get_by_role("button", name="Make the first plan").click()
        in_force(shown, 1)
        assert_within_screen(shown)
        shown.get_by_role("textbox", name="Locomotive that comes").click()
        shown.get_by_role("option", name="B-2").click()
        day = shown.get_by_role("textbox", name="First day of its visit")
        day.fill("2026-01-14")
        day.press("Enter")
        shown.get_by_role("button", name="Solve again").click()
        in_force(shown, 2)
        row = section(shown, "berth_plan").locator("tbody tr", has_text="B-2")
        expect(row).to_contain_text("2026-01-14")
        shown.get_by_role("button", name="Undo the last change").click()
        in_force(shown, 3)
        expect(row).to_have_count(0)
        assert_within_screen(shown)
        shown.wait_for_timeout(2_000)  # nothing goes on by itself
        visitor.leave()
    assert [job.kind for job in Jobs(store.root).latest()] == ["plan-undo", "plan", "plan"]


def in_force(shown: Page, version: int) -> None:
    """Wait until the page shows a version, without being loaded again."""
    expect(shown.get_by_text(f"version {version} was made at")).to_be_visible()
    expect(shown.get_by_text(f"Version {version} is in force: made")).to_be_visible()
    settled(shown, "Berths")


@pytest.mark.usefixtures("planned")
def test_frame_of_the_page_has_the_panel(client: FlaskClient) -> None:
    said = " ".join(texts(post(client, page_call(PAGE))))
    for words in ("A visit has to begin", "A day stays free", "Solve again"):
        assert words in said
