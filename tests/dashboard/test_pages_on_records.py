"""Pages on real records: an empty store, and a small railway of the demo, with the true answers."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from analytics.answers import ask_reader
from analytics.scope import Scope
from analytics.store import Store
from dashboard.app import create_app
from dashboard.pages.parts import FACTS
from dashboard.pages.registry import PAGES
from dashboard.record import count_findings, read_record
from dashboard.serving import page_call, part_call
from dashboard.settings import Settings
from tests.dashboard.drawn import find, page, part, post, texts

COMPONENT = PAGES["component"].sections
EVERY_PART = (FACTS, *COMPONENT)


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


def test_list_of_components_has_the_counts_of_the_record(
    demo: FlaskClient, demo_store: Store
) -> None:
    with demo_store.read() as reader:
        found = reader.cursor.execute(
            "SELECT sum(findings) FROM history.episode WHERE component = 'fuel-injector'"
        ).fetchall()
        failures = ask_reader(reader, "mtbf", Scope(components=("fuel-injector",))).basis.events
    counts = re.search(r"Fuel injector (\d+) (\d+)", page(demo, "/components"))
    assert counts is not None
    assert [int(count) for count in counts.groups()] == [int(found[0][0]), failures]


def test_list_counts_the_failures_that_every_component_page_rests_on(demo_store: Store) -> None:
    with demo_store.read() as reader:
        counts = count_findings(reader)
        for name in list(counts)[::4]:
            basis = ask_reader(reader, "mtbf", Scope(components=(name,))).basis
            assert counts[name][1] == basis.events, name


def test_facts_say_how_far_the_record_goes_and_what_is_counted(
    demo: FlaskClient, demo_store: Store
) -> None:
    with demo_store.read() as reader:
        known_to = read_record(reader).known_to
    assert known_to is not None
    shown = part(demo, FACTS, "/component/fuel-injector", "?clock=days&since=2025-02-01")
    assert f"Known to {known_to:%Y-%m-%d %H:%M}" in shown
    assert "calendar days" in shown
    assert "from 2025-02-01" in shown


def test_clock_of_the_component_is_used_unless_the_address_names_one(demo: FlaskClient) -> None:
    path = "/component/brake-block"
    assert "kilometres" in part(demo, FACTS, path)
    assert "engine hours" in part(demo, FACTS, path, "?clock=hours")


@pytest.mark.parametrize("chosen", [0, 1, 4])
def test_what_is_in_is_counted_and_each_choice_can_be_taken_out(
    demo: FlaskClient, demo_store: Store, chosen: int
) -> None:
    with demo_store.read() as reader:
        names = read_record(reader).locomotives[:chosen]
        # Counted here from the facts' history, apart from the page's own query.
        rows = reader.cursor.execute(
            "SELECT locomotive, component, sum(findings) FROM history.episode GROUP BY ALL"
        ).fetchall()
    mine = sum(n for loco, what, n in rows if what == "fuel-injector" and loco in names)
    every = sum(n for _, what, n in rows if what == "fuel-injector")
    query = "?depot=&" + "&".join(f"locomotive={name}" for name in names)
    drawn = post(demo, part_call(FACTS, "/component/fuel-injector", query))
    shown = " ".join(texts(drawn)).replace("\u202f", "")
    found = mine if chosen else every
    assert f"In: {chosen or 6} of 6 locomotives, {found} of {sum(n for *_, n in rows)} f" in shown
    if not chosen:
        assert "take out" not in shown
        return
    noun = f"locomotive {', '.join(names)} (take out)"
    (link,) = find(drawn, "A")
    assert texts(link) == [noun]
    assert link["props"]["href"] == "?"


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
