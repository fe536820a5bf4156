"""Availability and down intervals, on a month of one locomotive worked out by hand.

5A is inspected every day at 06:00 from 1 to 31 January and released, but:

    3 Jan 06:00  withheld, a withhold finding closed at 18:00 the same day       12 h unplanned
   10 Jan 10:00  in-service finding, 5 down hours written, no closing time        5 h unplanned
   15 Jan 06:00  withheld without a finding, released on 16 Jan 06:00            24 h unplanned
   20 Jan 08:00  a job by plan of 3 labour hours ...
   20 Jan 10:00  ... and in it an in-service finding closed at 14:00      2 h planned, 4 h unplanned
   22 Jan 00:00  out of use to 25 Jan 00:00, not inspected                       3 d not in use
   30 Jan 06:00  withheld, a withhold finding put off; still withheld on 31 Jan 06:00, where the
                 record ends                                          24 h unplanned, still down

Record: 1 Jan 00:00 to 31 Jan 06:00 = 30.25 d, in use 27.25 d, down 69 h unplanned and 2 h planned.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import pandas as pd
import pytest

from analytics.answer import Answer, say
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, reader_of
from tests.history.world import World, at

IN_USE, UNPLANNED, PLANNED = 27.25, 69 / 24, 2 / 24


def month() -> World:
    world = World().locomotive("5A", depot="North", in_service_from="2023-01-01")
    for day in (*range(1, 22), *range(25, 32)):
        outcome = "withheld" if day in (3, 15, 30, 31) else "released"
        world.inspections(f"2024-01-{day:02} 06:00", outcome=outcome, depot="North")
    world.finding(
        "2024-01-03 06:00", severity="withhold", action="cleaned", closed_at="2024-01-03 18:00"
    )
    world.finding("2024-01-10 10:00", severity="in-service", action="replaced", down_hours=5.0)
    world.work("2024-01-20 08:00", component="filter", labour_hours=3.0)
    world.finding(
        "2024-01-20 10:00", "worn", severity="in-service", action="cleaned",
        closed_at="2024-01-20 14:00",
    )  # fmt: skip
    world.add(
        "out_of_use", locomotive="5A", from_at="2024-01-22", to_at="2024-01-25", reason="stored"
    )
    return world.finding("2024-01-30 06:00", position="2", severity="withhold", action="put-off")


@cache
def reader(made: Callable[[], World]) -> Reader:
    """Build one railway once: nothing that is asked changes it."""
    return reader_of(made())


def asked(world: World | Callable[[], World] = month, **how: Any) -> Answer:
    built = reader_of(world) if isinstance(world, World) else reader(world)
    return answer(built, "availability", **how)


def test_the_month_worked_out_by_hand() -> None:
    row = asked().table.loc[0]
    assert row["locomotives"] == 1
    assert row["days_in_use"] == pytest.approx(IN_USE)
    assert row["down_days"] == pytest.approx(UNPLANNED + PLANNED)
    assert row["unknown_share"] == 0
    up = IN_USE - UNPLANNED - PLANNED
    assert row["availability"] == pytest.approx(up / IN_USE)
    assert row["availability_inherent"] == pytest.approx(up / (IN_USE - PLANNED))
    # 12, 5, 24, 4 and 24 h unplanned; the job alone from 08:00 to 10:00
    assert (row["down_intervals"], row["still_down"]) == (6, 1)
    # four of them made good: a mean, and too few for bounds
    assert row["restoration_mean_hours"] > row["restoration_median_hours"] > 4
    assert row[["restoration_mean_lower", "restoration_mean_upper"]].isna().all()
    assert "no bounds" in row["note"]
    assert asked().reading.key == "availability.restored_few"


def test_the_list_names_each_interval_and_what_opened_it() -> None:
    found = asked(as_list=True)
    seen = found.table[["from", "opened_by", "component", "defect", "planned", "hours", "open"]]
    expected = [
        ("2024-01-30 06:00", "finding", "injector", "leaking", False, 24, True),
        ("2024-01-20 10:00", "finding", "injector", "worn", False, 4, False),
        ("2024-01-20 08:00", "work", "filter", None, True, 2, False),
        ("2024-01-15 06:00", "inspection", None, None, False, 24, False),
        ("2024-01-10 10:00", "finding", "injector", "leaking", False, 5, False),
        ("2024-01-03 06:00", "finding", "injector", "leaking", False, 12, False),
    ]
    rows = [
        (str(pd.Timestamp(row[0]))[:16], *(None if pd.isna(cell) else cell for cell in row[1:]))
        for row in seen.itertuples(index=False)
    ]
    assert rows == expected
    assert found.table["to"].isna().tolist() == [True, *[False] * 5]
    assert found.reading.key == "availability.down_now"
    assert found.reading.values["longest"] == "5A"


def three_months() -> World:
    """Two locomotives, one with a gap of 41 days without inspection, one changing its depot."""
    world = month().locomotive("6B", "2024-01-01", depot="South")
    for stamp in pd.date_range("2024-01-02 07:00", "2024-03-28 07:00", freq="D"):
        if stamp < pd.Timestamp("2024-01-10") or stamp > pd.Timestamp("2024-02-19"):
            depot = "North" if stamp.month == 3 else "South"
            world.inspections(
                f"{stamp:%Y-%m-%d %H:%M}", locomotive="6B", outcome="released", depot=depot
            )
    return world.inspections("2024-02-28 12:00", locomotive="6B", outcome="withheld", depot="South")


@pytest.mark.parametrize("by", ["month", "depot", "class", "locomotive"])
def test_groups_weighted_by_days_in_use_give_the_pooled_figure(by: str) -> None:
    whole, parts = asked(three_months).table.loc[0], asked(three_months, by=(by,)).table
    days = parts["days_in_use"]
    assert days.sum() == pytest.approx(whole["days_in_use"])
    assert parts["down_days"].sum() == pytest.approx(whole["down_days"])
    assert (parts["availability"] * days).sum() / days.sum() == pytest.approx(whole["availability"])
    for column in ("down_intervals", "still_down"):
        assert parts[column].sum() == whole[column]


def test_time_without_inspections_is_neither_up_nor_down() -> None:
    # 6B: 1 Jan 00:00 to 28 Mar 07:00 is 87.29 d; not seen from 9 Jan 07:00 to 19 Feb 07:00 = 41 d.
    row = asked(three_months, locomotive="6B").table.loc[0]
    all_days = 87 + 7 / 24
    assert row["unknown_share"] == pytest.approx(41 / all_days)
    assert row["days_in_use"] == pytest.approx(all_days - 41)
    assert row["down_days"] == pytest.approx(19 / 24)  # 28 Feb 12:00 to 29 Feb 07:00


def test_a_long_repair_without_inspections_is_known_to_be_down() -> None:
    world = World().locomotive("5A").daily("2024-01-01", "2024-01-10", outcome="released")
    world.finding(
        "2024-01-10 12:00", severity="withhold", action="replaced", closed_at="2024-02-20 12:00"
    )
    world.daily("2024-02-21", "2024-03-01", outcome="released")
    row = asked(world).table.loc[0]
    assert row["down_days"] == pytest.approx(41)
    # Only from 10 Jan 00:00 to 12:00 and from 20 Feb 12:00 to 21 Feb 00:00 nobody looked.
    assert row["unknown_share"] == pytest.approx(1 / 60)
    assert row["days_in_use"] == pytest.approx(59)


def test_out_of_use_in_a_down_interval_is_left_out_of_its_hours() -> None:
    world = World().locomotive("5A").daily("2024-01-01", "2024-01-10", outcome="released")
    world.daily("2024-01-30", "2024-02-20", outcome="released")
    world.finding(
        "2024-01-10 12:00", severity="withhold", action="replaced", closed_at="2024-01-29 12:00"
    )
    world.add("out_of_use", locomotive="5A", from_at="2024-01-12", to_at="2024-01-28")
    listed = asked(world, as_list=True).table
    assert len(listed) == 1
    assert listed.loc[0, "hours"] == pytest.approx(19 * 24 - 16 * 24)


def test_a_released_inspection_ends_what_was_put_off() -> None:
    world = World().locomotive("5A").daily("2024-01-01", "2024-01-20", outcome="released")
    world.finding("2024-01-05 06:00", severity="withhold", action="put-off")
    world.finding("2024-01-12", severity="in-service", action="replaced", closed_at="2024-01-12")
    found = asked(world, as_list=True)
    assert found.table["hours"].tolist() == [18]
    # The second has neither a time of day nor down hours: how long it took is not known.
    assert any(note.key == "availability.unmeasured" for note in found.notes)


def test_a_cut_leaves_down_what_was_not_yet_closed() -> None:
    row = asked(until=at("2024-01-15 18:00")).table.loc[0]
    assert (row["down_intervals"], row["still_down"]) == (3, 1)
    assert row["down_days"] == pytest.approx((12 + 5 + 12) / 24)
    assert row["days_in_use"] == pytest.approx(14.75)


def test_a_period_keeps_its_own_days_and_the_intervals_that_began_in_it() -> None:
    row = asked(since=at("2024-01-15 18:00"), until=at("2024-01-21")).table.loc[0]
    assert row["days_in_use"] == pytest.approx(5.25)
    assert row["down_days"] == pytest.approx((12 + 2 + 4) / 24)
    assert row["down_intervals"] == 2
    listed = asked(since=at("2024-01-15 18:00"), as_list=True).table
    assert str(listed["from"].iloc[-1]) == "2024-01-15 06:00:00"


def test_a_component_keeps_what_it_opened() -> None:
    found = asked(component="filter")
    row = found.table.loc[0]
    assert row["down_days"] == pytest.approx(3 / 24)  # the whole job: nothing else was down
    assert row["availability_inherent"] == 1
    assert any(note.key == "availability.filtered" for note in found.notes)
    assert asked(defect="worn", as_list=True).table["hours"].tolist() == [4]


def test_a_withheld_inspection_that_only_work_answers_is_planned() -> None:
    world = World().locomotive("5A").daily("2024-01-01", "2024-01-04", outcome="released")
    world.inspections("2024-01-05 06:00", outcome="withheld")
    world.work("2024-01-05 09:00", labour_hours=2.0)
    world.inspections("2024-01-05 16:00", "2024-01-06 06:00", outcome="released")
    listed = asked(world, as_list=True).table
    assert listed[["opened_by", "planned", "hours"]].to_numpy().tolist() == [["work", True, 10]]


def test_a_locomotive_that_left_is_not_still_down() -> None:
    world = World().locomotive("5A", in_service_to="2024-01-10")
    world.daily("2024-01-01", "2024-01-09", outcome="released")
    world.finding("2024-01-09 06:00", severity="withhold", action="put-off")
    row = asked(world).table.loc[0]
    assert (row["down_intervals"], row["still_down"]) == (1, 0)
    assert asked(world, as_list=True).table["to"].isna().all()


def test_without_inspections_nothing_is_known() -> None:
    world = World().locomotive("5A").finding("2024-01-05 06:00", severity="withhold")
    world.finding("2024-02-05 06:00", severity="remark", action="cleaned")
    found = asked(world)
    assert math.isnan(found.table.loc[0, "availability"])
    assert found.table.loc[0, "unknown_share"] == 1
    assert found.reading.key == "availability.nothing_known"


def test_inspections_without_an_outcome_are_said() -> None:
    found = asked(World().locomotive("5A").daily("2024-01-01", "2024-01-20"))
    assert found.table.loc[0, "availability"] == 1
    assert any(note.key == "availability.no_outcome" for note in found.notes)


def registered() -> World:
    return World().locomotive()


@pytest.mark.parametrize("how", [{}, {"by": ("month",)}, {"as_list": True}])
def test_an_empty_record_gives_a_sentence(how: dict[str, Any]) -> None:
    for made in (World, registered):
        found = asked(made, **how)
        assert say(found.reading)
        figures = found.table.filter(regex="^(availability|restoration|unknown)")
        assert figures.isna().all(axis=None)


def test_groups_that_split_no_time_are_refused() -> None:
    with pytest.raises(ScopeError, match="cannot be split by 'component'"):
        asked(by=("component",))
    with pytest.raises(ScopeError, match="cannot be split by month"):
        asked(by=("month",), as_list=True)
