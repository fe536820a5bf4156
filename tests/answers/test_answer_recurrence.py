"""Repeats and recurrence of a railway written by hand (METHODS section 5).

Oracle: by hand; the rate is 1 - the product-limit estimate at the window.
"""

from __future__ import annotations

import math

import pytest

from analytics.answer import Answer
from analytics.answers.recurrence import COLUMNS
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World


def counts(found: Answer, *columns: str) -> list[list[object]]:
    return found.table[list(columns)].values.tolist()


def asked(world: World, **more: object) -> Answer:
    return answer(reader_of(world), "recurrence", component="injector", **more)


@pytest.fixture(scope="module")
def reader() -> Reader:
    """5A position 1: closed on day 10, again on 25 (gap 15) and 70 (gap 45); position 2: day 90."""
    world = railway()
    for number, place in ((10, "1"), (25, "1"), (70, "1"), (90, "2")):
        world.finding(day(number), action="cleaned", position=place)
    return reader_of(world)


def test_repeats_and_rate_by_hand(reader: Reader) -> None:
    found = answer(reader, "recurrence", component="injector")
    assert list(found.table) == list(COLUMNS)
    # Followed: 15 days to a repeat, 45 days to a failure beyond the window, 30 days to the end,
    # 10 days to the end. At 15 days 3 are at risk, one comes back: the rate is 1/3.
    assert counts(found, "findings", "closings", "repeats", "matured", "same_day") == [
        [4, 4, 1, 3, 0]
    ]
    row = found.table.iloc[0]
    assert row["repeat_share"] == 0.25
    assert row["rate"] == pytest.approx(1 / 3)
    assert row["at_risk_at_window"] == 2
    assert row["median_gap_days"] == 15.0
    assert row["rate_lower"] < row["rate"] < row["rate_upper"]
    assert found.notes[0].key == "recurrence.one_independent"


def test_window_decides(reader: Reader) -> None:
    narrow = answer(reader, "recurrence", component="injector", window="14d")
    assert counts(narrow, "repeats", "rate") == [[0, 0.0]]
    wide = answer(reader, "recurrence", component="injector", window="45d")
    assert counts(wide, "repeats") == [[2]]
    # 10 h a day: 15 days are 150 h
    hours = answer(reader, "recurrence", component="injector", window="150h")
    assert counts(hours, "repeats") == [[1]]
    assert counts(answer(reader, "recurrence", component="injector", window="149h"), "repeats") == [
        [0]
    ]
    with pytest.raises(ScopeError, match="a window must read like 30d, 4w, 500h or 2000km"):
        answer(reader, "recurrence", window="a month")


def test_window_in_a_clock_nobody_reads_leaves_all_out(reader: Reader) -> None:
    found = answer(reader, "recurrence", component="injector", window="2000km")
    # failures without a closing before them need no clock: the first of each position
    assert counts(found, "findings", "closings", "repeats") == [[2, 0, 0]]
    assert found.basis.left_out == {"no_clock": 6}


def test_a_closing_before_the_period_still_makes_a_repeat(reader: Reader) -> None:
    found = answer(reader, "recurrence", component="injector", since=day(20))
    assert counts(found, "findings", "repeats", "closings") == [[3, 1, 3]]


def test_until_censors_what_is_followed(reader: Reader) -> None:
    found = answer(reader, "recurrence", component="injector", until=day(50))
    # closings of days 10 (back after 15) and 25 (followed for 25 days)
    assert counts(found, "findings", "closings", "repeats", "matured") == [[2, 2, 1, 1]]


def test_same_day_repeat_of_another_defect_with_a_time() -> None:
    world = railway().finding(f"{day(10)} 08:00", action="cleaned")
    found = asked(world.finding(f"{day(10)} 15:00", "worn", action="cleaned"))
    assert counts(found, "repeats", "same_day", "median_gap_days") == [[1, 1, 7 / 24]]


def test_same_day_without_a_time_is_found_before_the_closing() -> None:
    """At one instant findings come before closings: two bare dates are two failures, no repeat."""
    world = railway().finding(day(10), action="cleaned").finding(day(10), "worn", action="cleaned")
    assert counts(asked(world), "findings", "repeats") == [[2, 0]]


def test_elapsed_time_where_both_are_timed_else_calendar_days() -> None:
    # 30 days and 7 hours later: outside by elapsed time, on the 30th day by the calendar
    timed = railway().finding(f"{day(10)} 08:00", action="cleaned")
    assert counts(asked(timed.finding(f"{day(40)} 15:00", action="cleaned")), "repeats") == [[0]]
    bare = railway().finding(day(10), action="cleaned")
    assert counts(asked(bare.finding(f"{day(40)} 15:00", action="cleaned")), "repeats") == [[1]]


def test_failure_while_another_is_open_is_no_repeat() -> None:
    world = railway().finding(day(5), action="cleaned")
    world.finding(day(10), action="cleaned", closed_at=day(20))
    found = asked(world.finding(day(15), "worn", action="cleaned"))
    # day 10 repeats day 5; the other defect of day 15 falls while day 10 is open
    assert counts(found, "findings", "repeats") == [[3, 1]]


def test_same_defect_by_choice() -> None:
    world = railway().finding(day(10), action="cleaned").finding(day(20), "worn", action="cleaned")
    assert counts(asked(world), "repeats", "rate") == [[1, 0.5]]
    assert counts(asked(world, same_defect=True), "repeats", "rate") == [[0, 0.0]]


def test_renewal_by_plan_ends_what_is_followed() -> None:
    world = railway().finding(day(10), action="cleaned").work(day(20))
    found = asked(world.finding(day(30), action="cleaned"))
    row = found.table.iloc[0]
    # the repeat counts; the first closing is followed for 10 days only, the second to the end
    assert (row["repeats"], row["closings"], row["rate"], row["at_risk_at_window"]) == (1, 2, 0, 1)


def test_groups_belong_to_the_closing_and_to_the_failure() -> None:
    world = railway()
    world.finding(day(10), action="looked-at", severity="rectify")
    world.finding(day(20), "worn", action="replaced")
    found = asked(world, by=("action",))
    # the failure of day 20 stands where the closing before it was `looked-at`
    assert counts(found, "action", "findings", "repeats", "closings", "rate") == [
        ["looked-at", 1, 1, 1, 1.0],  # what comes back most surely first
        ["replaced", 0, 0, 1, 0.0],
        ["no closing before", 1, 0, 0, pytest.approx(math.nan, nan_ok=True)],
    ]
    assert "recurrence.went_with" in [note.key for note in found.notes]
    assert found.reading.key == "recurrence.most_after_days"
    by_defect = asked(world, by=("defect",))
    assert counts(by_defect, "defect", "findings", "repeats", "closings") == [
        ["leaking", 1, 0, 1],
        ["worn", 1, 1, 1],
    ]


def test_blank_actions_show_both_bounds() -> None:
    world = railway().finding(day(10), severity="rectify", closed_at=day(12))
    found = asked(world.finding(day(20), "worn", action="cleaned"))
    note = found.notes[0]
    assert note.key == "recurrence.blank_actions"
    # one of two failures has no action; the repeat follows a closing nobody described
    assert dict(note.values) == {"percent": 50.0, "lower": 0.0, "upper": 50.0}


def test_failures_soon_after_records_begin_are_told(reader: Reader) -> None:
    found = answer(reader, "recurrence", component="injector")
    # day 10; day 25 is a repeat already
    assert dict(found.notes[1].values) == {"failures": 1, "window": 30}


def test_position_not_stated_has_its_own_key() -> None:
    world = railway().finding(day(10), position=None, action="cleaned")
    found = asked(world.finding(day(20), position=None, action="cleaned"))
    assert counts(found, "findings", "repeats", "closings") == [[2, 1, 2]]
    by_position = asked(world, by=("position",))
    assert by_position.table.empty
    assert by_position.basis.left_out == {"no_position": 4}


def test_no_failures_give_a_row_and_a_sentence() -> None:
    found = asked(railway())
    assert counts(found, "findings", "closings", "repeats") == [[0, 0, 0]]
    assert found.reading.key == "recurrence.nothing"
    assert found.table["note"].tolist() == ["no closing to follow"]


def test_no_closing_before_and_action_not_written_are_two_rows() -> None:
    world = railway().finding(day(10), severity="rectify", closed_at=day(12))
    found = asked(world.finding(day(20), "worn", action="cleaned"), by=("action",))
    rows = {row[0]: row[1:] for row in counts(found, "action", "findings", "repeats", "closings")}
    assert rows == {
        "no closing before": [1, 0, 0],
        "action not written": [1, 1, 1],
        "cleaned": [0, 0, 1],
    }
