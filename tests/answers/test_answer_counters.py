"""Counter readings of a railway written by hand. Oracle: by hand."""

from __future__ import annotations

import pandas as pd
import pytest

from analytics.answers.counters import COLUMNS
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World


def listed(world: World, **asked: object) -> pd.DataFrame:
    table = answer(reader_of(world), "counters", **asked).table
    assert list(table) == list(COLUMNS)
    return table


def test_values_are_in_hours_sorted_by_locomotive_and_day() -> None:
    table = listed(railway())
    assert table["locomotive"].tolist() == ["5A"] * 3 + ["6B"] * 3
    assert table["value"].tolist() == [1000, 1500, 2000, 1000, 1250, 1500]
    assert table["read_at"].iloc[1] == pd.Timestamp(day(50))
    assert table["reset"].tolist() == [False] * 6


def test_last_reading_of_a_day_is_kept() -> None:
    world = railway().add(
        "usage", locomotive="5A", read_at=f"{day(50)}T18:00", engine_hours=1507.5, km=20
    )
    table = listed(world, locomotive="5A", clock="hours")
    assert table["value"].tolist() == [1000, 1507.5, 2000]
    assert listed(world, locomotive="5A")["clock"].tolist() == ["hours"] * 3 + ["km"]


def test_new_counter_runs_on_and_is_told() -> None:
    world = railway()
    for number, shown in ((105, 30.0), (110, 80.0)):
        world.inspections(day(number), engine_hours=shown, depot="South")
    found = answer(reader_of(world), "counters", locomotive="5A")
    last = found.table.tail(2)
    # 2000 h on day 100, then a counter that showed 30 h and 80 h
    assert last["value"].tolist() == [2030, 2080]
    assert last["raw"].tolist() == [30, 80]
    assert last["reset"].tolist() == [True, False]
    assert [note.key for note in found.notes] == ["counters.resets"]


def test_latest_value_and_usual_use_of_one_locomotive() -> None:
    world = railway().add("usage", locomotive="5A", read_at=day(101), engine_hours=2024)
    found = answer(reader_of(world), "counters", locomotive="5A")
    # steps within 90 days of day 101: 10 h a day to day 50, 10 to day 100, 24 to day 101
    assert found.reading.key == "counters.one_use"
    assert found.reading.values["latest"] == ["2\u202f024 h"]
    assert found.reading.values["use"] == ["10 h"]


def test_one_reading_has_no_use() -> None:
    world = World().locomotive().daily(day(0), day(5))
    world.add("usage", locomotive="5A", read_at=day(3), km=123_456)
    reading = answer(reader_of(world), "counters").reading
    assert reading.key == "counters.one"
    assert reading.values["latest"] == ["123\u202f456 km"]


def test_period_and_depot_of_the_register_narrow() -> None:
    assert listed(railway(), since=day(25), until=day(100))["value"].tolist() == [1500, 1250, 1500]
    assert listed(railway(), locomotive="6B", depot="North")["value"].tolist() == [1000, 1250, 1500]
    assert listed(railway(), depot="South").empty  # 5A moved there, but is on the register of North


@pytest.mark.parametrize("world", [World(), World().locomotive()])
def test_no_reading_is_said(world: World) -> None:
    found = answer(reader_of(world), "counters")
    assert found.table.empty
    assert found.reading.key == "counters.none"
