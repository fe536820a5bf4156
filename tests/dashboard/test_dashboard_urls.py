from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from hypothesis import given
from hypothesis import strategies as st

from analytics.scope import CLOCKS, COUNTING_RULES, Scope
from dashboard.urls import HOME, LISTS, SUBJECTS, Place, page_url, parse_path

NAMES = st.text(min_size=1, max_size=30).filter(lambda name: name == name.strip())
SCOPES = st.builds(
    Scope,
    clock=st.sampled_from([None, *CLOCKS]),
    counting=st.sampled_from(COUNTING_RULES),
    since=st.none() | st.datetimes(datetime(2000, 1, 1), datetime(2020, 1, 1)),
    until=st.none() | st.datetimes(datetime(2020, 1, 2), datetime(2040, 1, 1)),
    classes=st.lists(NAMES.filter(bool), max_size=3, unique=True).map(tuple),
    depots=st.lists(NAMES.filter(bool), max_size=3, unique=True).map(tuple),
    level=st.floats(0.5, 0.999),
)


@given(page=st.sampled_from(list(SUBJECTS)), name=NAMES, scope=SCOPES)
def test_address_of_one_thing_reads_back_to_name_and_scope(
    page: str, name: str, scope: Scope
) -> None:
    scope = replace(scope, locomotives=()) if page == "locomotive" else scope
    path, _, query = page_url(page, name, scope).partition("?")
    assert parse_path(path) == Place(page, name)
    assert Scope.from_query(query) == (scope, ())
    assert path.isascii()
    assert path.count("/") == 2


@given(path=st.none() | st.text() | st.text().map(lambda rest: f"/component/{rest}"))
def test_every_path_leads_somewhere(path: str | None) -> None:
    assert parse_path(path).page in (*LISTS, *SUBJECTS, "nowhere")


@given(query=st.text())
def test_every_query_gives_a_scope(query: str) -> None:
    scope, _ = Scope.from_query(query)
    assert scope.counting in COUNTING_RULES


def test_home_and_unknown_paths() -> None:
    assert parse_path(HOME) == parse_path(None) == Place("today")
    assert parse_path("/component/") == Place("nowhere", "/component/")
    assert parse_path("/elsewhere") == Place("nowhere", "/elsewhere")


def test_component_in_scope_is_not_repeated_in_the_query() -> None:
    scope = Scope(clock="km", components=("fuel-injector",))
    assert page_url("component", "fuel-injector", scope) == "/component/fuel-injector?clock=km"
