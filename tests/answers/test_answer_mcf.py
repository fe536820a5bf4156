"""Mean cumulative number of failures of a railway written by hand.

Oracle: Nelson's estimate by hand, the sum of failures / number at risk at each age (Nelson 2003,
Recurrent Events Data Analysis, chapter 3).
"""

from __future__ import annotations

import pytest

from analytics.answer import say
from analytics.answers.mcf import COLUMNS
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures


@pytest.fixture(scope="module")
def reader() -> Reader:
    return reader_of(three_failures())


def steps(reader: Reader, **asked: object) -> list[list[float]]:
    table = answer(reader, "mcf", component="injector", **asked).table
    return table[["age", "mcf", "at_risk", "events"]].values.tolist()


def test_curve_per_locomotive_adds_its_positions(reader: Reader) -> None:
    # 5A is watched to day 100, 6B to day 50: two at risk on days 20 and 30, one on day 60
    assert steps(reader, clock="days") == [
        [0.0, 0.0, 2.0, 0.0],
        [20.0, 0.5, 2.0, 1.0],
        [30.0, 1.0, 2.0, 1.0],
        [60.0, 2.0, 1.0, 1.0],
    ]
    found = answer(reader, "mcf", component="injector", clock="days")
    assert list(found.table) == list(COLUMNS)
    assert found.basis.events == 3


def test_curve_per_position(reader: Reader) -> None:
    assert steps(reader, clock="days", unit="position") == [
        [0.0, 0.0, 4.0, 0.0],
        [20.0, 0.25, 4.0, 1.0],
        [30.0, 0.5, 4.0, 1.0],
        [60.0, 1.0, 2.0, 1.0],
    ]


def test_failure_on_the_last_day_watched_is_still_at_risk() -> None:
    ends = reader_of(railway().finding(day(50), locomotive="6B", action="cleaned"))
    assert steps(ends, clock="days") == [[0.0, 0.0, 2.0, 0.0], [50.0, 0.5, 2.0, 1.0]]


def test_failure_on_the_first_day_makes_the_first_row_rise() -> None:
    first = reader_of(railway().finding(day(0), action="cleaned"))
    assert steps(first, clock="days") == [[0.0, 0.5, 2.0, 1.0]]


def test_renewals_do_not_reset_age_and_groups_split_curves(reader: Reader) -> None:
    table = answer(reader, "mcf", by=("defect",), component="injector", clock="days").table
    assert table[["defect", "age", "mcf"]].values.tolist() == [
        ["leaking", 0.0, 0.0],
        ["leaking", 20.0, 0.5],
        ["leaking", 30.0, 1.0],
        ["worn", 0.0, 0.0],
        ["worn", 60.0, 1.0],
    ]


def test_hours_count_from_entry_into_service() -> None:
    world = three_failures(engine_hours_at_start=1000)
    assert [row[0] for row in steps(reader_of(world))] == [0.0, 200.0, 300.0, 600.0]


def test_unknown_entry_is_left_out_and_counted() -> None:
    world = three_failures()
    world.rows["locomotives"][0] |= {"in_service_from": None}
    found = answer(reader_of(world), "mcf", component="injector", clock="days")
    assert found.table[["age", "mcf"]].values.tolist() == [[0.0, 0.0], [30.0, 1.0]]
    assert found.basis.left_out == {"unknown_start": 2}
    assert found.notes[0].key == "mcf.unknown_entry"


def test_position_not_stated_counts_for_locomotives_only() -> None:
    world = reader_of(railway().finding(day(20), position=None, action="cleaned"))
    assert steps(world, clock="days")[1:] == [[20.0, 0.5, 2.0, 1.0]]
    by_position = answer(world, "mcf", component="injector", clock="days", unit="position")
    assert by_position.table["events"].sum() == 0
    assert by_position.basis.left_out == {"no_position": 1}


def test_period_is_a_late_entry(reader: Reader) -> None:
    # from day 25 on: both still at risk on day 30
    assert steps(reader, clock="days", since=day(25)) == [
        [0.0, 0.0, 0.0, 0.0],
        [30.0, 0.5, 2.0, 1.0],
        [60.0, 1.5, 1.0, 1.0],
    ]


def test_unit_must_exist(reader: Reader) -> None:
    with pytest.raises(ScopeError, match="unit must be one of locomotive, position"):
        answer(reader, "mcf", unit="depot")


def test_one_locomotive_says_from_where_it_counts_and_that_it_gives_no_bounds(
    reader: Reader,
) -> None:
    found = answer(
        reader, "mcf", component="injector", locomotive="5A", clock="days", since=day(25)
    )
    assert say(found.reading) == (
        "From 25 to 60 days in service this locomotive had 1 failure; "
        "one locomotive alone gives no bounds."
    )
    assert found.notes[0].key == "mcf.one_starts_late_days"
    whole = answer(reader, "mcf", component="injector", locomotive="5A", clock="days")
    assert say(whole.reading).startswith("From 0 to 60 days")
    assert whole.notes == ()


def test_few_watched_are_told(reader: Reader) -> None:
    found = answer(reader, "mcf", component="injector", clock="days")
    assert [note.key for note in found.notes] == ["mcf.one_few_watched"]
    each = answer(reader, "mcf", by=("locomotive",), component="injector", clock="days")
    assert [dict(note.values) for note in each.notes] == [{"curves": 2, "all": 2}]
    assert each.reading.key == "mcf.most_alone_locomotive_days"


def test_nothing_in_use_is_said(reader: Reader) -> None:
    for question in ("mcf", "trend"):
        assert answer(reader, question, since="2030-01-01").reading.key == "basis.not_in_use"
