"""Real input through the whole way: the metro incident file (City of Toronto open data).

Oracle: README.md beside this file, computed with pandas and statsmodels apart from this project.
"""

from __future__ import annotations

import pytest

from analytics.answers.recurrence import recurrence
from analytics.handin import ingest
from analytics.scope import Scope
from analytics.store import Store
from tests.metro.convert import CATALOGUE, convert

PUBLISHED = {
    "DOOR PROBLEMS - FAULTY EQUIPMENT": (3471, 531, 0.1530, 0.1531),
    "SPEED CONTROL EQUIPMENT": (3285, 1529, 0.4654, 0.4662),
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    folder = tmp_path_factory.mktemp("metro")
    catalogue = {CATALOGUE.name: CATALOGUE.read_text(encoding="utf-8")}
    store = Store.create(folder / "store", catalogue)
    report = ingest(store, convert(folder))
    by_table = {file.table: file for file in report.files}
    assert by_table["locomotives"].accepted == 665
    found = by_table["findings"]
    assert found.rows == 16292
    assert found.accepted + found.updated + found.duplicate + found.set_aside == found.rows
    # the two rows without a component are set aside, nothing else
    assert (found.set_aside, found.updated, found.duplicate) == (2, 0, 0)
    return store


@pytest.mark.parametrize("component", PUBLISHED)
def test_recurrence_of_the_metro_file_is_what_others_computed(store: Store, component: str) -> None:
    findings, repeats, share, rate = PUBLISHED[component]
    with store.read() as reader:
        answer = recurrence(reader, Scope.of(component=component), by=("component",), window="30d")
    row = answer.table.iloc[0]
    assert (row["findings"], row["repeats"]) == (findings, repeats)
    assert row["repeat_share"] == pytest.approx(share, abs=5e-5)
    # the table prints four digits; 1e-4 covers their rounding
    assert row["rate"] == pytest.approx(rate, abs=1e-4)
    assert row["rate_lower"] < row["rate"] < row["rate_upper"]


def test_same_day_repeats_of_speed_control(store: Store) -> None:
    # 813 of 1,529 were counted on the calendar day of the closing, computed apart from this project
    scope = Scope.of(component="SPEED CONTROL EQUIPMENT")
    with store.read() as reader:
        row = recurrence(reader, scope, window="30d").table.iloc[0]
    assert (row["repeats"], row["same_day"]) == (1529, 813)
