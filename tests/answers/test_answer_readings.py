"""Measured values of a railway written by hand. Oracle: by hand (METHODS section 8)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analytics.answer import Answer, say
from analytics.answers.readings import COLUMNS, POINT_COLUMNS
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, reader_of
from tests.history.world import CATALOGUE, World

MEASURED = (
    CATALOGUE
    + """
[parameter.feed-pressure]
unit = "bar"
component = "filter"
reset_by = ["cleaned", "replaced"]
attend = { idle = { above = 1.0 }, rated = { above = 1.5 } }
withhold = { idle = { above = 1.3 } }
[parameter.brush-length]
unit = "mm"
component = "injector"
reset_by = ["replaced"]
attend = { any = { below = 25 } }
withhold = { any = { below = 20 } }
[parameter.draught]
unit = "mmH2O"
"""
)


def railway(**locomotive: Any) -> World:
    world = World(catalogue=MEASURED).locomotive("5A", depot="North", **locomotive)
    world.locomotive("6B", depot="South", **locomotive)
    for name in ("5A", "6B"):
        world.inspections(*(day(number) for number in (0, 60, 115)), locomotive=name)
    return world


def read(world: World, at: str, value: float, **cells: Any) -> World:
    row = {"locomotive": "5A", "parameter": "feed-pressure", "running_state": "idle"} | cells
    row = {"value_in_unit": value, "unit": None} | row
    return world.add("readings", read_at=at, value=value, **row)


def rising(world: World, first: int, last: int, *, start: float = 0.5, **cells: Any) -> World:
    """Read every day, 0.01 more each, from `start` on the first day."""
    for number in range(first, last + 1):
        read(world, day(number), round(start + 0.01 * (number - first), 9), **cells)
    return world


def ask(world: World | Reader, **asked: Any) -> Answer:
    reader = reader_of(world) if isinstance(world, World) else world
    return answer(reader, "readings", **asked)


def only(world: World | Reader, **asked: Any) -> Any:
    table = ask(world, **asked).table
    assert len(table) == 1
    return table.iloc[0]


def test_drift_to_the_limit() -> None:
    found = ask(rising(railway(), 0, 29))
    assert list(found.table) == list(COLUMNS)
    row = found.table.iloc[0]
    assert (row["locomotive"], row["class"], row["parameter"]) == ("5A", "Alder", "feed-pressure")
    assert (row["running_state"], row["unit"], row["last"]) == ("idle", "bar", 0.79)
    assert (row["attend_above"], row["withhold_above"]) == (1.0, 1.3)
    assert np.isnan(row["attend_below"])
    assert (row["beyond"], row["readings"]) == ("", 30)
    assert (row["since"], row["last_at"]) == (pd.Timestamp(day(0)), pd.Timestamp(day(29)))
    assert [row["slope_per_day"], row["slope_lower"]] == pytest.approx([0.01, 0.01])
    assert row["mk_p"] == row["q"] < 1e-6
    # 0.5 + 0.01 d reaches 1.0 on day 50; twice the segment is day 58
    for name in ("crossing", "crossing_earliest", "crossing_latest"):
        assert row[name] == pd.Timestamp(day(50))
    assert found.reading.key == "readings.between"
    assert say(found.reading).startswith("None of 1 value is beyond a limit. First heading for")
    assert found.basis.events == 30
    # a date is told with what it supposes, and how seldom its bounds hold where that is not so
    assert [note.key for note in found.notes] == [
        "readings.pace",
        "readings.first_reading",
        "readings.take_after",
        "readings.by_chance",
    ]


def test_falling_to_a_lower_limit() -> None:
    world = railway()
    for number in range(30):
        read(world, day(number), 40 - 0.3 * number, parameter="brush-length", running_state=None)
    row = only(world)
    assert (row["running_state"], row["attend_below"], row["withhold_below"]) == ("", 25, 20)
    assert row["crossing"] == pd.Timestamp(day(50))  # 40 - 0.3 d reaches 25


def test_not_beyond_twice_the_segment() -> None:
    row = only(rising(railway(), 0, 20))  # day 50, but told to day 40 only
    assert row["q"] < 0.001
    assert row[["crossing", "crossing_earliest", "crossing_latest"]].isna().all()


def test_not_before_alone_where_the_rest_lies_too_far() -> None:
    world = railway()
    random = np.random.default_rng(2)
    for number in range(30):  # about 0.5 + 0.0085 d: day 59, told to day 58
        read(world, day(number), 0.5 + 0.0085 * number + random.normal(0, 0.01))
    found = ask(world)
    row = found.table.iloc[0]
    assert pd.isna(row["crossing"])
    assert pd.isna(row["crossing_latest"])
    assert pd.Timestamp(day(50)) < row["crossing_earliest"] <= pd.Timestamp(day(58))
    assert found.reading.key == "readings.not_before"


def test_reset_begins_a_segment() -> None:
    world = rising(railway(), 0, 29)
    world.work(day(15), "cleaned", component="filter")
    reader = reader_of(world)
    row = only(reader)
    assert row["since"] == pd.Timestamp(day(15))
    assert row["readings"] == 14  # the day of a reset without a time belongs to what was before
    table = ask(reader, points=True).table
    assert list(table) == list(POINT_COLUMNS)
    assert table["segment"].tolist() == [1] * 16 + [2] * 14


def test_reset_with_a_time_parts_its_day() -> None:
    world = railway()
    for hour, value in (("06:00", 1.1), ("08:00", 1.2), ("12:00", 0.6)):
        read(world, f"{day(10)}T{hour}", value)
    world.finding(f"{day(10)}T06:00", component="filter", position=None, action="cleaned",
                  closed_at=f"{day(10)}T08:00")  # fmt: skip
    reader = reader_of(world)
    assert ask(reader, points=True).table["segment"].tolist() == [1, 1, 2]
    row = only(reader)
    assert (row["since"], row["last"], row["readings"]) == (
        pd.Timestamp(f"{day(10)}T08:00"),
        0.6,
        1,
    )
    assert row["beyond"] == ""


def test_only_its_own_actions_on_its_own_component_reset() -> None:
    world = rising(railway(), 0, 29)
    world.work(day(15), "cleaned", component="injector")
    world.work(day(16), "looked-at", component="filter")
    world.work(day(17), "cleaned", component="filter", locomotive="6B")
    assert only(world)["readings"] == 30


def test_withdrawn_rows_and_later_corrections_are_the_current_ones() -> None:
    world = rising(railway(), 0, 29)
    connection = world.connect()
    connection.execute(
        "INSERT INTO batch (batch, received_at, withdrawn_at) VALUES (2, now()::TIMESTAMP, NULL),"
        " (3, now()::TIMESTAMP, now()::TIMESTAMP)"
    )
    for batch, value in ((2, 0.8), (3, 5.0)):
        connection.execute(
            "INSERT INTO facts.readings SELECT * REPLACE (? AS batch, ? AS value_in_unit)"
            " FROM facts.readings WHERE batch = 1 AND read_at = ?",
            [batch, value, pd.Timestamp(day(29))],
        )
    reader = Reader(connection, "store-1.duckdb", {"catalogue.toml": world.catalogue})
    row = answer(reader, "readings").table.iloc[0]
    assert (row["last"], row["readings"]) == (0.8, 30)


def test_reset_after_the_last_reading_leaves_nothing_to_judge() -> None:
    world = rising(railway(), 0, 29, start=1.2)
    world.work(f"{day(29)}T10:00", "cleaned", component="filter")
    reader = reader_of(world)
    found = ask(reader)
    row = found.table.iloc[0]
    assert (row["readings"], row["beyond"]) == (0, "")
    assert np.isnan(row["last"])
    assert pd.isna(row["last_at"])
    assert row["since"] == pd.Timestamp(f"{day(29)}T10:00")
    assert row["note"] == "reset, not read since"
    assert found.reading.key == "readings.not_read"
    assert ask(reader, until=day(29)).table["beyond"].tolist() == ["withhold"]


def test_limits_follow_the_running_state() -> None:
    cases = [
        ("idle", 1.0, ""),
        ("idle", 1.01, "attend"),
        ("idle", 1.3, "attend"),
        ("idle", 1.31, "withhold"),
        ("rated", 1.4, ""),
        ("rated", 1.6, "attend"),
        ("stopped", 9.0, ""),
        (None, 9.0, ""),
    ]
    world = World(catalogue=MEASURED)
    for place, (state, value, _) in enumerate(cases):
        name = f"L{place}"
        world.locomotive(name).inspections(day(1), day(5), locomotive=name)
        read(world, day(3), value, running_state=state, locomotive=name)
    table = ask(world).table.sort_values("locomotive")
    assert table["beyond"].tolist() == [beyond for _, _, beyond in cases]
    unlimited = table["note"].str.contains("no limit in this running state").tolist()
    assert unlimited == [state in (None, "stopped") for state, _, _ in cases]


def test_beyond_attend_heads_for_withhold() -> None:
    row = only(rising(railway(), 0, 39, start=0.7))  # 1.09 on day 39; 1.3 on day 60
    assert (row["beyond"], row["crossing"]) == ("attend", pd.Timestamp(day(60)))


def test_one_a_day_is_the_median() -> None:
    world = rising(railway(), 0, 29)
    for number in range(30):  # two slips of the pen on each day move no median
        read(world, f"{day(number)}T00:00:01", 99)
        read(world, f"{day(number)}T00:00:02", 0.0)
    row = only(world)
    assert row["readings"] == 90
    assert row["slope_per_day"] == pytest.approx(0.01, abs=1e-6)


def test_eight_readings_over_five_days() -> None:
    cases = {
        "idle": (0, 1, 2, 3, 4, 5, 6),
        "rated": (0, 0.1, 1, 1.1, 2, 2.1, 3, 3.1),
        "stopped": (0, 0.1, 1, 1.1, 2, 2.1, 3, 4),
        "": (0, 1, 2, 3, 4, 5, 6, 7),
    }
    world = railway()
    for state, days in cases.items():
        for place, number in enumerate(days):
            at = pd.Timestamp(day(0)) + pd.Timedelta(days=number)
            read(world, at.isoformat(), 0.5 + 0.01 * place, running_state=state or None)
    table = ask(world).table.set_index("running_state")
    slope = table["slope_per_day"]
    assert slope[["idle", "rated"]].isna().all()
    assert slope["stopped"] > 0
    assert slope[""] == pytest.approx(0.01)
    few = table["note"].str.contains("too few readings")
    assert few.to_dict() == {"idle": True, "rated": True, "stopped": False, "": False}


def test_equal_values_and_a_segment_of_no_length() -> None:
    world = railway()
    for number in range(20):
        read(world, day(number), 0.7)
        read(world, f"{day(0)}T00:00:{number:02}", 0.7, locomotive="6B")
    found = ask(world)
    assert found.table["slope_per_day"].tolist()[0] == 0
    assert found.table["mk_p"].tolist()[0] == 1
    assert np.isnan(found.table["slope_per_day"].tolist()[1])
    assert found.table["crossing"].isna().all()
    assert found.reading.key == "readings.calm"
    numbers = found.table.select_dtypes("number").to_numpy(dtype=float)
    assert not np.isinf(numbers).any()


def test_little_or_nothing_gives_a_sentence() -> None:
    empty = ask(World(catalogue=MEASURED))
    assert (empty.reading.key, len(empty.table)) == ("readings.nothing", 0)
    assert list(empty.table) == list(COLUMNS)
    assert ask(World(catalogue=MEASURED), points=True).reading.key == "readings.nothing"
    assert ask(railway()).reading.key == "readings.nothing"
    one = ask(read(railway(), day(100), 0.7))
    assert one.reading.key == "readings.calm"
    assert one.table["note"].tolist() == ["too few readings to tell a drift"]
    unlimited = ask(read(railway(), day(100), 7, parameter="draught"))
    assert unlimited.reading.key == "readings.no_limits"
    bare = World().locomotive("5A").inspections(day(1))  # a catalogue without parameters
    assert ask(bare).reading.key == "readings.nothing"


def test_order_and_what_is_told_first() -> None:
    world = railway()
    rising(world, 0, 29)
    rising(world, 0, 29, start=0.6, locomotive="6B")  # 1.0 on day 40
    read(world, day(2), 1.1, running_state="rated")
    read(world, day(2), 1.7, running_state="rated", locomotive="6B")
    read(world, day(2), 19, parameter="brush-length")
    found = ask(world)
    shown = found.table[["locomotive", "parameter", "running_state", "beyond"]].values.tolist()
    assert shown == [
        ["5A", "brush-length", "idle", "withhold"],
        ["6B", "feed-pressure", "rated", "attend"],
        ["6B", "feed-pressure", "idle", ""],
        ["5A", "feed-pressure", "idle", ""],
        ["5A", "feed-pressure", "rated", ""],
    ]
    assert found.reading.key == "readings.beyond_between"
    told = found.reading.values
    assert (told["beyond"], told["withhold"], told["rows"]) == (2, 1, 5)
    assert (told["locomotive"], told["at"]) == ("6B", pd.Timestamp(day(40)).date())
    assert "Beyond a limit: 2 of 5 values, 1 of them far enough to withhold." in say(found.reading)


def test_many_tests_are_allowed_for() -> None:
    world, random = railway(), np.random.default_rng(8)
    for locomotive in ("5A", "6B"):
        for state in ("idle", "rated", "stopped"):
            for number in range(12):
                value = round(0.5 + random.normal(0, 0.1) + 0.005 * number, 3)
                read(world, day(number), value, locomotive=locomotive, running_state=state)
    table = ask(world).table
    np.testing.assert_allclose(table["q"], stats.false_discovery_control(table["mk_p"]))
    assert (table["q"] > table["mk_p"]).any()
    assert table.loc[table["q"] > 0.10, "crossing_earliest"].isna().all()


def test_unit_as_entered_is_kept() -> None:
    world = read(railway(), day(3), 80, unit="kPa", value_in_unit=0.8)
    reader = reader_of(world)
    row = ask(reader, points=True).table.iloc[0]
    assert (row["value"], row["unit"]) == (0.8, "bar")
    assert (row["as_entered"], row["unit_as_entered"]) == (80, "kPa")
    assert (row["attend_above"], row["withhold_above"]) == (1.0, 1.3)
    assert only(reader)["last"] == 0.8


def test_filters() -> None:
    world = rising(rising(railway(), 0, 29), 0, 29, locomotive="6B")
    read(world, day(2), 30, parameter="brush-length")
    read(world, day(2), 7, parameter="draught")
    reader = reader_of(world)

    def kept(**asked: Any) -> list[list[str]]:
        return sorted(ask(reader, **asked).table[["locomotive", "parameter"]].values.tolist())

    assert len(kept()) == 4
    assert kept(parameter=("draught", "brush-length")) == [
        ["5A", "brush-length"],
        ["5A", "draught"],
    ]
    assert kept(locomotive="6B") == kept(depot="South") == [["6B", "feed-pressure"]]
    assert kept(component="injector") == [["5A", "brush-length"]]
    assert kept(class_="Alder") == kept()
    assert only(reader, since=day(10), until=day(20), locomotive="6B")["readings"] == 10
    with pytest.raises(ScopeError, match="parameter 'feed-presure'.*feed-pressure"):
        ask(reader, parameter=("feed-presure",))


def test_outside_the_record_and_out_of_service() -> None:
    world = rising(railway(), 0, 9)
    read(world, "2023-12-01", 5.0)  # before records begin
    reader = reader_of(world)
    assert ask(reader).basis.left_out == {"out_of_window": 1}
    assert len(ask(reader, points=True).table) == 10
    gone = railway().locomotive("7C", in_service_to=day(40))
    gone.inspections(day(1), day(39), locomotive="7C")
    rising(gone, 0, 9, locomotive="7C")
    reader = reader_of(read(gone, day(110), 0.5))
    found = ask(reader)
    assert found.table["locomotive"].tolist() == ["5A"]
    assert "readings.out_of_service" in [note.key for note in found.notes]
    assert len(ask(reader, points=True).table) == 11


def test_stale_and_later_than_the_record_are_told() -> None:
    stale = only(rising(railway(), 0, 9))  # inspected to day 115
    assert "not read for 106 days" in stale["note"]
    later = ask(rising(railway(), 120, 129))
    assert "readings.after_record" in [note.key for note in later.notes]
