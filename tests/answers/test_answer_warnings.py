"""Early warnings of a railway written by hand. Oracle: counts by hand (METHODS section 7)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from analytics.answer import Answer, say
from analytics.answers.warnings import COLUMNS, WEEKLY
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, reader_of
from tests.history.world import World

LAST = 7 * 130  # 1 January 2024, day 0, is a Monday


def watched(last: int = LAST) -> World:
    """Two locomotives inspected every 10 days; a leak on 5A in each fourth week."""
    world = World()
    for name in ("5A", "6B"):
        world.locomotive(name, depot="North")
        for number in [*range(0, last, 10), last]:
            world.inspections(day(number), locomotive=name, depot="North")
    for number in range(3, min(last, 7 * 110), 28):
        leak(world, number, position=str(1 + number // 28 % 2))
    return world


def leak(world: World, number: int, locomotive: str = "5A", position: str = "1") -> None:
    world.finding(
        day(number), locomotive=locomotive, position=position, severity="rectify", action="cleaned"
    )


def burst() -> World:
    """From week 112 on a leak in every ninth day, each place untouched for 36 days."""
    world = watched()
    places = [("6B", "1"), ("6B", "2"), ("5A", "1"), ("5A", "2")]
    for count, number in enumerate(range(7 * 112 + 1, LAST, 9)):
        leak(world, number, *places[count % 4])
    return world


def injectors(found: Answer) -> Any:
    return found.table.set_index("component").loc["injector"]


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(burst())


@pytest.fixture(scope="module")
def told(reader: Reader) -> Answer:
    return answer(reader, "warnings", all_charts=True)


@pytest.fixture(scope="module")
def weekly(reader: Reader) -> pd.DataFrame:
    table = answer(reader, "warnings", weekly=True).table
    return table[table["component"] == "injector"].set_index("week")


def test_weeks_are_counted_monday_to_sunday_by_their_first_findings() -> None:
    world = watched(7 * 40 + 3)
    leak(world, 7 * 30 - 1, "6B")  # a Sunday
    leak(world, 7 * 30, "6B", "2")  # the Monday after
    leak(world, 7 * 31, "6B", "2")  # comes back within 30 days: not counted again
    found = answer(reader_of(world), "warnings", weekly=True, all_charts=True).table
    assert list(found) == list(WEEKLY)
    mine = found[found["component"] == "injector"].set_index("week")["count"]
    assert len(mine) == 40  # the 41st is not over
    assert mine.index[0] == pd.Timestamp("2024-01-01")
    assert (pd.DatetimeIndex(mine.index).dayofweek == 0).all()
    expected = [int(week % 4 == 0) + (week in (29, 30)) for week in range(40)]
    assert mine.tolist() == expected


def test_week_is_complete_once_its_sunday_is_known() -> None:
    def weeks(last: int) -> int:
        found = answer(reader_of(watched(last)), "warnings", weekly=True, all_charts=True).table
        return int(found["week"].nunique())

    assert weeks(7 * 30 - 2) == 29  # known to a Saturday, at midnight
    assert weeks(7 * 30) == 30  # known to the Monday after, at midnight


def test_expected_is_the_rate_of_the_baseline_times_the_week(
    told: Answer, weekly: pd.DataFrame
) -> None:
    # S is at zero: the 104 weeks that end with week 101 have one finding in four weeks
    at = weekly.loc[pd.Timestamp(day(7 * 110))]
    assert at["expected"] == pytest.approx(26 / 104, rel=1e-6)
    assert injectors(told)["h"] == pytest.approx(weekly["h"].iloc[-1])


def test_alarm_tells_since_when_how_much_and_on_which(told: Answer, weekly: pd.DataFrame) -> None:
    assert list(told.table) == list(COLUMNS)
    row = injectors(told)
    since = weekly[weekly.index > weekly.index[weekly["s"] == 0][-1]]
    assert row["state"] == "alarm"
    assert row["since"] == since.index[0]
    assert row["alarmed"] == since.index[since["s"] >= since["h"]][0]
    assert (row["weeks"], row["observed"]) == (len(since), since["count"].sum())
    assert row["expected"] == pytest.approx(since["expected"].sum())
    assert row["ratio"] == pytest.approx(row["observed"] / row["expected"])
    names = [part.split(" ") for part in row["locomotives"].split(", ")]
    counts = [int(count.strip("()")) for _, count in names]
    assert sum(counts) == row["observed"]
    assert counts == sorted(counts, reverse=True)
    assert {name for name, _ in names} == {"5A", "6B"}


def test_reading_names_the_alarm_and_what_cannot_run(told: Answer) -> None:
    said = say(told.reading)
    assert "1 of 1 chart in alarm" in said
    alarmed = injectors(told)["alarmed"].date()
    assert f"The newest is injector of Alder, in the week of {alarmed}: " in said
    idle = told.table[told.table["state"] == "no chart"]
    assert len(idle) >= 1
    assert said.endswith(f"for {len(idle)} more: too few findings to compare with.")
    assert "26 weeks" not in said  # only the reason there is
    assert idle["h"].isna().all()
    assert set(idle["note"]) == {"under 5 findings to compare with"}
    assert told.basis.method.startswith("Poisson CUSUM")
    assert told.basis.clock == "days"


def two_alarms() -> World:
    """The injectors burst from week 112 on; filters are found in weeks 123 and 125, then none."""
    world = burst()
    for count, number in enumerate([*range(3, 7 * 110, 56), 7 * 123 + 1, 7 * 125 + 1]):
        world.finding(
            day(number),
            locomotive=("5A", "6B")[count % 2],
            component="filter",
            severity="rectify",
            action="cleaned",
        )
    return world


def test_newest_alarm_comes_first_and_says_that_it_is_below_its_limit_again() -> None:
    found = answer(reader_of(two_alarms()), "warnings")
    table = found.table
    assert table["component"].tolist() == ["filter", "injector"]
    assert table["state"].tolist() == ["alarm", "alarm"]
    assert table["alarmed"].iloc[0] == pd.Timestamp(day(7 * 125)) > table["alarmed"].iloc[1]
    # by s / h, how full a chart is, the older alarm would come first
    assert (table["s"] < table["h"]).tolist() == [True, False]
    assert ["below its limit again" in note for note in table["note"]] == [True, False]
    said = say(found.reading)
    assert (
        f"2 of 2 charts in alarm. The newest is filter of Alder, in the week of {day(875)}" in said
    )
    # the last four complete weeks are 126 to 129; the alarms began in weeks 125 and before
    assert said.endswith("0 of 2 began within the last four weeks.")
    early = answer(reader_of(two_alarms()), "warnings", until=day(7 * 126))
    assert say(early.reading).endswith("1 of 2 began within the last four weeks.")


def test_only_alarms_unless_asked_and_alarms_first(reader: Reader, told: Answer) -> None:
    assert told.table["state"].iloc[0] == "alarm"
    assert answer(reader, "warnings").table["state"].tolist() == ["alarm"]
    quiet = answer(reader, "warnings", until=day(7 * 112))
    assert quiet.table.empty
    assert quiet.reading.key == "warnings.quiet_but"


def test_filters_choose_what_is_shown_and_change_no_chart(reader: Reader, told: Answer) -> None:
    alone = answer(reader, "warnings", component="injector", class_="Alder")
    pd.testing.assert_series_equal(injectors(alone), injectors(told))
    assert alone.reading.key == "warnings.alarms"
    other = answer(reader, "warnings", component="filter", all_charts=True)
    assert other.reading.key == "warnings.none_runs"


def test_period_and_setting(reader: Reader) -> None:
    before = answer(reader, "warnings", until=day(7 * 112), all_charts=True)
    assert injectors(before)["state"] == "quiet"
    rare = answer(reader, "warnings", false_alarms=0.02, all_charts=True)
    often = answer(reader, "warnings", false_alarms=0.1, all_charts=True)
    assert injectors(rare)["h"] > injectors(often)["h"]
    assert injectors(often)["false_alarm_weeks"] == pytest.approx(365.25 / 84 / 0.1, rel=1e-3)
    with pytest.raises(ScopeError, match="false_alarms must be above 0"):
        answer(reader, "warnings", false_alarms=0.0)


def test_running_hours_weigh_the_weeks() -> None:
    world = watched()
    for name in ("5A", "6B"):
        for number in range(0, LAST + 1, 30):
            world.add(
                "usage", locomotive=name, read_at=day(number), engine_hours=1000 + 10 * number
            )
    reader = reader_of(world)
    found = answer(reader, "warnings", clock="hours", all_charts=True)
    days = answer(reader, "warnings", all_charts=True)
    # ten hours on every day: the same chart
    assert injectors(found)["h"] == pytest.approx(injectors(days)["h"], rel=1e-6)
    assert found.basis.exposure == pytest.approx(10 * days.basis.exposure, rel=0.01)


@pytest.mark.parametrize(
    ("last", "key"),
    [(3, "no_week"), (8, "none_runs"), (7 * 30, "none_runs")],
    ids=["no week", "one week", "short"],
)
def test_too_little_gives_a_sentence(last: int, key: str) -> None:
    reader = reader_of(watched(last))
    asked: list[dict[str, Any]] = [{}, {"all_charts": True}, {"weekly": True}]
    for options in asked:
        found = answer(reader, "warnings", **options)
        assert found.reading.key == f"warnings.{key}"
        assert not np.isinf(found.table.select_dtypes("number").to_numpy(dtype=float)).any()


def test_empty_store_gives_a_sentence() -> None:
    found = answer(reader_of(World()), "warnings", all_charts=True)
    assert found.table.empty
    assert found.reading.key == "basis.not_in_use"


def test_never_a_finding_gives_a_sentence() -> None:
    world = World().locomotive("5A", depot="North")
    for number in range(0, 400, 10):
        world.inspections(day(number), locomotive="5A", depot="North")
    found = answer(reader_of(world), "warnings", all_charts=True)
    assert found.reading.key == "warnings.none_runs"
    assert (found.table["state"] == "no chart").all()
