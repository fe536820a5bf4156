"""Pages on real records: an empty store, and a small railway of the demo, with the true answers."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from analytics.answers import ask_reader
from analytics.scope import Scope
from analytics.store import Store
from dashboard.app import create_app
from dashboard.pages.component import SECTIONS_IN_ORDER
from dashboard.pages.parts import FACTS
from dashboard.record import count_findings, read_record
from dashboard.sections.registry import SECTIONS
from dashboard.serving import page_call, part_call
from dashboard.settings import Settings
from data_demo.build import build
from tests.dashboard.drawn import find, page, part, post

EVERY_PART = (FACTS, *SECTIONS_IN_ORDER)


@pytest.fixture(scope="module")
def demo_store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return build(tmp_path_factory.mktemp("small") / "railway", locomotives=6, years=1)


@pytest.fixture(scope="module")
def demo(demo_store: Store) -> FlaskClient:
    client: FlaskClient = create_app(demo_store, Settings()).server.test_client()
    return client


@pytest.mark.parametrize("name", EVERY_PART)
@pytest.mark.parametrize("query", ["", "?clock=days&counting=any"])
def test_empty_store_renders_sentences(empty_store: Store, name: str, query: str) -> None:
    client = create_app(empty_store, Settings()).server.test_client()
    shown = part(client, name, "/component/injector", query)
    assert shown
    assert "Something went wrong" not in shown
    assert f"{name}-graph" not in str(post(client, part_call(name, "/component/injector", query)))


@pytest.mark.parametrize("name", EVERY_PART)
@pytest.mark.parametrize(
    "query", ["", "?clock=km", "?clock=days&counting=in-service&level=0.95", "?since=2035-01-01"]
)
@pytest.mark.parametrize(
    "component", ["fuel-injector", "brake-block", "fixed-extinguishing-system"]
)
def test_every_part_renders_on_the_demo(
    demo: FlaskClient, component: str, query: str, name: str
) -> None:
    shown = part(demo, name, f"/component/{component}", query)
    assert shown
    assert "Something went wrong" not in shown


def test_home_lists_counts_of_the_record(demo: FlaskClient, demo_store: Store) -> None:
    with demo_store.read() as reader:
        found = reader.cursor.execute(
            "SELECT sum(findings) FROM history.episode WHERE component = 'fuel-injector'"
        ).fetchall()
        failures = ask_reader(reader, "mtbf", Scope(components=("fuel-injector",))).basis.events
    shown = page(demo, "/")
    assert "6 locomotives on the register" in shown
    counts = re.search(r"Fuel injector (\d+) (\d+)", shown)
    assert counts is not None
    assert [int(count) for count in counts.groups()] == [int(found[0][0]), failures]


def test_home_counts_the_failures_that_every_component_page_rests_on(demo_store: Store) -> None:
    with demo_store.read() as reader:
        counts = count_findings(reader)
        for name in list(counts)[::4]:
            basis = ask_reader(reader, "mtbf", Scope(components=(name,))).basis
            assert counts[name][1] == basis.events, name


@pytest.mark.parametrize(
    ("chosen", "said"), [(1, "· locomotive "), (3, "· locomotives "), (4, "· 4 locomotives ·")]
)
def test_few_chosen_locomotives_are_named(
    demo: FlaskClient, demo_store: Store, chosen: int, said: str
) -> None:
    with demo_store.read() as reader:
        names = read_record(reader).locomotives[:chosen]
    query = "?" + "&".join(f"locomotive={name}" for name in names)
    shown = part(demo, FACTS, "/component/fuel-injector", query)
    assert said in shown
    assert (", ".join(names) in shown) == (chosen <= 3)


@pytest.mark.parametrize("name", SECTIONS_IN_ORDER)
def test_table_on_the_page_is_the_answer_of_the_command(
    demo: FlaskClient, demo_store: Store, name: str
) -> None:
    kind = SECTIONS[name]
    scope = Scope(clock="hours", components=("fuel-injector",))
    with demo_store.read() as reader:
        answer = ask_reader(reader, kind.question, scope, **kind.options)
    drawn = post(demo, part_call(name, "/component/fuel-injector"))
    rows = find(drawn, "Tbody")[0]["props"]["children"]
    assert len(rows) == min(len(answer.table), 60)
    assert re.search(rf"Rests on {answer.basis.events} failures?,", str(drawn))


def test_part_on_one_clock_differs_from_another(demo: FlaskClient) -> None:
    hours = part(demo, "mtbf", "/component/fuel-injector", "?clock=hours")
    days = part(demo, "mtbf", "/component/fuel-injector", "?clock=days")
    assert "engine hours" in hours
    assert "calendar days" in days
    assert hours != days


def test_page_of_every_component_is_drawn(demo: FlaskClient, demo_store: Store) -> None:
    with demo_store.read() as reader:
        names = list(reader.catalogue.components)
    for name in names:
        assert len(post(demo, page_call(f"/component/{name}"))) >= 6
