"""Completeness of a record written by hand. Oracle: counted by hand."""

from __future__ import annotations

import pandas as pd

from analytics.answers.quality import COLUMNS
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World


def cells(world: World, **asked: object) -> pd.DataFrame:
    found = answer(reader_of(world), "quality", **asked)
    assert list(found.table) == list(COLUMNS)
    return found.table.set_index(["table", "column"])


def test_shares_are_of_rows_in_force() -> None:
    world = railway().finding(day(10), action="cleaned").finding(day(20), position=None)
    table = cells(world.finding(day(30), component="filter", position=None, action="cleaned"))
    share = table["filled_share"]
    # the filter has a single position, so it needs none written; one injector of two states it
    assert share["findings", "position"] == 2 / 3
    assert share["findings", "action"] == 2 / 3
    assert share["findings", "cost"] == 0
    assert share["locomotives", "depot"] == 1
    assert pd.isna(share["work", "cost"])
    assert table["note"]["work", "cost"] == "nothing handed in"


def test_days_without_inspection_are_days_in_use() -> None:
    # 5A: 101 days, inspected on 21; 6B: 51 days, inspected on 11
    table = cells(railway())
    assert table["days_without_inspection"]["inspections", "outcome"] == 80 + 40
    idle = railway().add(
        "out_of_use", locomotive="5A", from_at=day(11), to_at=day(14), reason="stored"
    )
    # days 11 to 14 drop out, none of them was an inspection day
    assert cells(idle)["days_without_inspection"]["inspections", "outcome"] == 80 + 40 - 4


def test_counter_that_stands_in_use_is_seen() -> None:
    world = railway()
    assert cells(world)["counters_still"]["usage", "engine_hours"] == 0
    for row in world.rows["usage"]:
        if row["locomotive"] == "5A":
            row["engine_hours"] = 1000
    assert cells(world)["counters_still"]["usage", "engine_hours"] == 1


def test_filters_and_period_narrow_the_rows() -> None:
    world = railway().finding(day(10), action="cleaned")
    world.finding(day(20), locomotive="6B")
    assert cells(world, locomotive="5A")["filled_share"]["findings", "action"] == 1
    assert cells(world, since=day(15))["filled_share"]["findings", "action"] == 0
    assert cells(world, depot="North")["filled_share"]["findings", "action"] == 0.5


def test_nothing_handed_in_is_said() -> None:
    found = answer(reader_of(railway()), "quality")
    assert found.reading.key == "quality.nothing"
