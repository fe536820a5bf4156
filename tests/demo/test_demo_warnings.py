"""The weak batch of injectors warns early. Oracle: the days on which its parts were fitted."""

from __future__ import annotations

from datetime import timedelta

import pandas as pd
import pytest

from analytics.answers import ask_reader
from analytics.catalogue.load import shipped_files
from analytics.catalogue.model import Catalogue
from analytics.handin import ingest
from analytics.scope import Scope
from analytics.store import Store
from data_demo.scenario import CLASSES, WEAK_BATCH, Scenario
from data_demo.simulate import simulate_blocks
from data_demo.write import write_files

pytestmark = pytest.mark.campaign  # it hands the whole demo in


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory, catalogue: Catalogue) -> Store:
    root = tmp_path_factory.mktemp("demo")
    made = Store.create(root / "store", shipped_files())
    ingest(made, write_files(simulate_blocks(Scenario(), catalogue), root / "files"))
    return made


def test_weak_batch_raises_an_alarm_in_both_classes_while_it_is_about(store: Store) -> None:
    """Not before its first part can be in, nor a year after its last: it lives a fifth as long."""
    scenario = Scenario()
    first, last = (
        pd.Timestamp(scenario.first_day) + timedelta(days=share * scenario.days)
        for share in WEAK_BATCH.fitted_between
    )
    scope = Scope.of(component=WEAK_BATCH.component)
    with store.read() as reader:
        weekly = ask_reader(reader, "warnings", scope, weekly=True).table
        alarms = weekly[weekly["alarm"]]
        begun = alarms.groupby("class")["week"].min()
        assert set(begun.index) == set(CLASSES)
        assert begun.between(first, last + timedelta(days=365)).all(), begun
        cut = Scope.of(component=WEAK_BATCH.component, until=begun.max() + timedelta(days=7))
        row = ask_reader(reader, "warnings", cut).table.iloc[-1]
    assert row["state"] == "alarm"
    assert row["since"] >= first
    assert row["ratio"] > 1.3
    assert row["locomotives"]


def test_alarms_on_the_whole_demo_are_told_in_order(store: Store) -> None:
    with store.read() as reader:
        found = ask_reader(reader, "warnings", Scope.of(), all_charts=True).table
    assert len(found) == len(found[["component", "class"]].drop_duplicates())
    states = found["state"].map({"alarm": 0, "quiet": 1, "no chart": 2})
    assert states.is_monotonic_increasing
    alarms = found[found["state"] == "alarm"]
    assert alarms["alarmed"].is_monotonic_decreasing  # the newest first
    assert (alarms["observed"] > alarms["expected"]).all()
