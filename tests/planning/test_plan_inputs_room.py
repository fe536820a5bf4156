"""Visits due against open berth-days: the count against a matching found by another library."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from analytics.planning.inputs import Berth, Costs, Days, DueVisit, PlanInputs
from analytics.planning.room_for import too_many_visits

MONDAY = date(2026, 6, 1)
WEEKS = 2
BERTHS = st.lists(
    st.sets(st.integers(0, 6), min_size=1).map(lambda days: Days(tuple(sorted(days)))),
    min_size=1, max_size=2,
)  # fmt: skip
WINDOWS = st.lists(
    st.tuples(st.integers(-3, 13), st.integers(0, 5)).filter(lambda one: 0 <= sum(one) < 14),
    max_size=10,
)


def inputs_of(berths: list[Days], windows: list[tuple[int, int]], days: int = 1) -> PlanInputs:
    visits = tuple(
        DueVisit(f"L-{number}", "v", MONDAY + timedelta(days=begin),
                 MONDAY + timedelta(days=begin + length), days)
        for number, (begin, length) in enumerate(windows)
    )  # fmt: skip
    named = tuple(Berth(str(number), days) for number, days in enumerate(berths))
    return PlanInputs(Costs(1.0), named, visits=visits, weeks=WEEKS)


def all_have_a_day(inputs: PlanInputs) -> bool:
    """Tell whether each one-day visit gets an open berth-day of its own (Hopcroft & Karp)."""
    if not inputs.visits:
        return True
    days = [MONDAY + timedelta(days=number) for number in range(7 * WEEKS)]
    places = [day for day in days for berth in inputs.berths if berth.open.hold_on(day)]
    fits = np.array([[v.earliest <= day <= v.latest for day in places] for v in inputs.visits])
    return bool((maximum_bipartite_matching(csr_array(fits), perm_type="column") >= 0).all())


@settings(max_examples=150, deadline=None)
@given(BERTHS, WINDOWS)
def test_one_day_visits_are_refused_exactly_where_no_matching_places_them(
    berths: list[Days], windows: list[tuple[int, int]]
) -> None:
    # for windows that are spans of days the condition is also sufficient (Hall 1935)
    inputs = inputs_of(berths, windows)
    assert (too_many_visits(inputs, MONDAY, "f") == []) == all_have_a_day(inputs)


def test_both_answers_of_the_matching_are_met() -> None:
    weekdays = [Days((0, 1, 2, 3, 4))]
    assert all_have_a_day(inputs_of(weekdays, [(0, 1), (0, 1)]))
    assert not all_have_a_day(inputs_of(weekdays, [(0, 1), (0, 1), (0, 1)]))


def test_a_visit_without_room_of_its_own_is_told_once() -> None:
    said = too_many_visits(inputs_of([Days((0, 1, 2, 3, 4))], [(4, 2)], days=2), MONDAY, "f.toml")
    assert said == [
        "f.toml: v of L-0 needs 2 open days, and no berth has as many between 2026-06-05 and"
        " 2026-06-07; open a berth or move the window."
    ]


def test_the_shortage_and_the_visits_are_named() -> None:
    said = too_many_visits(
        inputs_of([Days((0, 1, 2, 3, 4))], [(0, 4)] * 8 + [(7, 4)]), MONDAY, "f.toml"
    )
    assert said == [
        "f.toml: between 2026-06-01 and 2026-06-05 visits due need 8 berth-days, but only 5 are"
        " open: v of L-0, v of L-1, v of L-2, v of L-3, v of L-4, v of L-5 and 2 more; open more"
        " berths or move a window."
    ]


def test_visits_due_after_the_plan_ask_for_nothing_yet() -> None:
    beyond = inputs_of([Days((0,))], [(12, 3)] * 9)
    assert too_many_visits(beyond, MONDAY, "f") == []


def test_what_is_due_of_locomotives_out_of_use_needs_no_berth() -> None:
    inputs = inputs_of([Days((0, 1, 2, 3, 4))], [(0, 4)] * 6)
    assert too_many_visits(inputs, MONDAY, "f") != []
    assert too_many_visits(inputs, MONDAY, "f", {"L-5"}) == []
    assert too_many_visits(inputs, MONDAY, "f", {"L-9"}) != []
