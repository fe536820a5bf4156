"""Two rates compared, on the hand-written railway of `tests/answers/hand.py`.

5A (two injectors) runs from day 0 to 100, at South from day 50; 6B from day 0 to 50 at North; 10 h
a day. Failures: 5A on days 20 and 60, 6B on day 30. Exposure is worked out by hand beside each
check, p and bounds come from scipy's binomial law.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from scipy import stats

from analytics.answer import Answer, say
from analytics.errors import ScopeError
from analytics.store import Reader
from tests.answers.hand import answer, day, railway, reader_of, three_failures
from tests.history.world import World, at

HOURS: dict[str, Any] = {"component": "injector", "clock": "hours"}


def changed_once() -> World:
    return modified(three_failures())


@cache
def reader(made: Callable[[], World]) -> Reader:
    """Build one railway once: nothing that is asked changes it."""
    return reader_of(made())


def asked(world: World | Callable[[], World] = three_failures, **how: Any) -> Answer:
    built = reader_of(world) if isinstance(world, World) else reader(world)
    return answer(built, "compare", **(HOURS | how))


def modified(world: World, name: str = "5A", on: int = 40) -> World:
    return world.add("modifications", locomotive=name, done_at=at(day(on)), name="stiffer springs")


def sides(found: Answer, row: int = 0) -> tuple[float, ...]:
    """Exposure and failures of the first, then of the second."""
    names = ("exposure_first", "failures_first", "exposure_second", "failures_second")
    return tuple(found.table.loc[row, list(names)])


def test_before_and_from_a_date_are_split_at_that_instant() -> None:
    found = asked(at=day(40))
    # Before: 5A 40 d, 6B 40 d; after: 60 d and 10 d; x 10 h x 2 positions.
    assert sides(found) == (1600, 2, 1400, 1)
    row = found.table.loc[0]
    test = stats.binomtest(1, 3, 1400 / 3000)
    share = stats.binomtest(1, 3).proportion_ci(0.90, method="exact")
    odds = [end / (1 - end) * 1600 / 1400 for end in (share.low, share.high)]
    assert row["ratio"] == pytest.approx((1 / 1400) / (2 / 1600))
    assert (row["ratio_lower"], row["ratio_upper"]) == pytest.approx(tuple(odds))
    assert row["p"] == row["q"]
    # scipy's two-sided p adds up other tails: twice the smaller one is never smaller than it
    assert row["p"] >= test.pvalue - 1e-12
    lower = stats.binom.cdf(1, 3, 1400 / 3000)
    assert row["p"] == pytest.approx(min(1.0, 2 * lower))


def test_a_failure_at_the_very_cut_is_after_it() -> None:
    assert sides(asked(at=day(60)))[1::2] == (2, 1)
    assert sides(asked(at=day(61)))[1::2] == (3, 0)


def test_the_last_days_are_set_against_those_before() -> None:
    # The data cut is day 100: days 72 to 100 against 44 to 72 (5A 28 d, 6B 6 d).
    found = asked(span="28d")
    assert sides(found) == (680, 1, 560, 0)
    assert found.table.equals(asked(span="4w").table)
    row = found.table.loc[0]
    assert (row["ratio"], row["ratio_lower"]) == (0, 0)
    assert row["ratio_upper"] > 1
    assert "upper bound only" in row["note"]


def test_none_in_the_first_leaves_a_lower_bound_alone() -> None:
    found = asked(three_failures().finding(day(90), severity="in-service"), span="15d")
    row = found.table.loc[0]
    assert sides(found) == (300, 0, 300, 1)  # 5A alone: days 70 to 85, 85 to 100
    assert math.isnan(row["ratio"])
    assert math.isnan(row["ratio_upper"])
    assert row["ratio_lower"] == pytest.approx(0.05 / 0.95)  # Clopper-Pearson of 1 in 1: 0.05
    assert "lower bound only" in row["note"]
    assert say(found.reading)


def test_nothing_in_use_before_is_said_and_not_that_nothing_failed() -> None:
    found = asked(span="100d", by=("component",), component=())
    # Known from day 0 to day 100: the hundred days before lie before the first inspection.
    assert set(found.table["exposure_first"]) == {0.0}
    assert found.table["failures_second"].sum() == 3
    assert found.reading.key == "compare.first_unused"
    assert found.reading.values["failures"] == 3
    assert "3 failures" in say(found.reading)
    # Rows with exposure and no failure stay (the contract of every table), after those with some.
    assert found.table["component"].iloc[0] == "injector"
    assert found.table["failures_second"].iloc[1:].eq(0).all()
    after = asked(at="2030-01-01")
    assert after.reading.key == "compare.second_unused"
    assert after.reading.values["failures"] == 3


def test_rows_in_use_on_one_side_each_are_not_said_to_be_without_failures() -> None:
    world = World()
    for name, first, depot in (("5A", 0, "North"), ("6B", 50, "South")):
        world.locomotive(name, depot=depot)
        world.daily(day(first), day(first + 40), locomotive=name, depot=depot)
        world.finding(day(first + 5), locomotive=name, severity="in-service", action="cleaned")
    found = asked(world, clock="days", by=("locomotive",), at=day(45))
    assert found.table["failures_first"].tolist() == [1, 0]
    assert found.reading.key == "compare.never_both"
    assert found.reading.values["failures"] == 2


def test_depots_are_paired_where_one_has_a_failure() -> None:
    found = asked(between="depot")
    assert list(found.table[["first", "second"]].loc[0]) == ["North", "South"]
    # North: 5A to day 50, 6B 50 d; South: 5A from day 50.
    assert sides(found) == (2000, 2, 1000, 1)
    none = asked(railway, between="depot")
    assert none.table.empty
    assert none.reading.key == "compare.nothing"


def test_more_than_four_depots_are_each_set_against_all_others() -> None:
    world = World()
    for number in range(5):
        name = f"{number}C"
        world.locomotive(name, depot=f"D{number}").daily(day(0), day(10), locomotive=name)
        world.finding(day(5), locomotive=name, severity="in-service", action="cleaned")
    found = answer(reader_of(world), "compare", component="injector", clock="days", between="depot")
    assert list(found.table["second"]) == [f"D{n}" for n in range(5)]
    assert set(found.table["first"]) == {"all others"}
    assert sides(found) == (80, 4, 20, 1)  # 4 and 1 locomotives x 10 d x 2 positions


def test_each_locomotive_is_cut_at_its_own_modification() -> None:
    found = asked(changed_once, modification="stiffer springs")
    # 5A: 40 d before, 60 d with it; 6B never had it.
    assert sides(found) == (800, 1, 1200, 1)
    notes = {note.key: note for note in found.notes}
    assert notes["compare.without"].values["locomotives"] == 1
    assert "compare.regression" in notes
    both = modified(modified(three_failures()), "6B", 25)
    # 6B: 25 d before and 25 d with it, its failure on day 30.
    assert sides(asked(both, modification="stiffer springs")) == (1300, 1, 1700, 2)


def test_the_first_of_two_dates_counts() -> None:
    again = modified(modified(three_failures()), on=80)
    assert sides(asked(again, modification="stiffer springs")) == (800, 1, 1200, 1)


def test_q_allows_for_the_rows_shown() -> None:
    found = asked(by=("position",), at=day(40))
    assert list(found.table.columns[:2]) == ["position", "clock"]
    assert found.table["q"].tolist() == pytest.approx(
        stats.false_discovery_control(found.table["p"]).tolist()
    )


def test_exposures_of_the_sides_add_up_to_that_of_mtbf() -> None:
    whole = answer(reader(three_failures), "mtbf", **HOURS).table.loc[0]
    for how in ({"at": day(37)}, {"between": "depot"}):
        found = asked(**how).table.loc[0]
        assert found["exposure_first"] + found["exposure_second"] == whole["exposure"]
        assert found["failures_first"] + found["failures_second"] == whole["failures"]


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({}, "one of at, span, between or modification, but none"),
        ({"at": day(3), "span": "28d"}, "at and span are given"),
        ({"span": "28h"}, "28d or 4w"),
        ({"span": "0d"}, "28d or 4w"),
        ({"span": "28d", "since": day(1)}, "since"),
        ({"between": "month"}, "class, depot"),
        ({"modification": "stifer springs"}, "nearest: stiffer springs"),
        ({"at": "soon"}, "2026-05-31"),
        ({"at": day(3), "by": ("month",)}, "cannot be split by 'month'"),
        ({"between": "depot", "by": ("depot",)}, "cannot be split by 'depot'"),
    ],
)
def test_what_cannot_be_compared_gets_a_sentence(how: dict[str, Any], said: str) -> None:
    with pytest.raises(ScopeError, match=said):
        asked(changed_once, **how)


def registered() -> World:
    return World().locomotive()


@pytest.mark.parametrize(
    "how", [{"at": day(3)}, {"span": "28d"}, {"between": "class"}, {"at": "1990-01-01"}]
)
def test_nothing_on_record_gives_a_sentence(how: dict[str, Any]) -> None:
    for made in (World, registered, railway):
        found = answer(reader(made), "compare", **how)
        assert found.table[["ratio", "p", "q"]].isna().all(axis=None)
        assert say(found.reading)
