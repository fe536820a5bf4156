"""Plans of the demo's small railway: what must hold of every plan, and who comes first.

METHODS 9 and 13: hard limits, statutory windows, what stands outranks every forecast, safety
components are never left open on account of one.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
import pytest

from analytics.catalogue.load import shipped_catalogue
from analytics.errors import PlanError
from analytics.planning.ahead import Ahead
from analytics.planning.check_plan import broken
from analytics.planning.inputs import Days, DueVisit, Labour, PlanInputs, Traffic
from analytics.planning.make import Wishes, plan_ahead
from analytics.planning.plan import Plan
from analytics.planning.work_list import MEND

CATALOGUE = shipped_catalogue()
QUICK = Wishes(seconds=5.0, gap=0.001)


@pytest.fixture(scope="module")
def made(ahead: Ahead, inputs: PlanInputs) -> Plan:
    return plan_ahead(ahead, inputs, CATALOGUE, QUICK)


def test_plan_keeps_its_limits_and_its_sums(made: Plan, ahead: Ahead, inputs: PlanInputs) -> None:
    assert made.visits
    assert broken(made, inputs, ahead.classes) == ()
    assert sum(visit.value for visit in made.visits) == pytest.approx(made.value, abs=1e-6)
    assert made.value <= made.bound + 1e-6
    assert made.gap <= 0.05
    assert made.value > 0
    assert made.first_day == ahead.known_to + timedelta(days=1)


def test_everyone_has_a_visit_or_a_reason(made: Plan, ahead: Ahead) -> None:
    planned = {visit.locomotive for visit in made.visits}
    left = {one.locomotive for one in made.left_out}
    assert planned | left == set(ahead.classes)
    assert not planned & left
    assert all(visit.reason for visit in made.visits)
    assert all(one.reason for one in made.left_out)


def test_visits_due_are_in_their_windows(made: Plan, inputs: PlanInputs) -> None:
    last = made.first_day + timedelta(days=made.days - 1)
    due = {v.locomotive: v for v in inputs.visits if v.latest <= last}
    assert due
    for name, asked in due.items():
        visits = [v for v in made.visits if v.locomotive == name]
        assert any(
            asked.earliest <= v.first and any(j.name == asked.name for j in v.jobs) for v in visits
        )


def test_job_saves_failures_of_the_horizon(made: Plan) -> None:
    jobs = [job for visit in made.visits for job in visit.jobs if job.kind == "job"]
    assert jobs
    assert all(0 <= job.failures_if_done <= job.failures + 1e-9 for job in jobs)


def test_what_stands_comes_first_whatever_else_is_worth(ahead: Ahead, inputs: PlanInputs) -> None:
    names = sorted(ahead.classes)[3:6]
    stands = pd.DataFrame(
        {"locomotive": names, "since": pd.Timestamp("2025-12-20"), "what": "air-compressor"}
    )
    one_berth = replace(inputs, berths=inputs.berths[2:], weeks=2, visits=())
    plan = plan_ahead(replace(ahead, standing=stands), one_berth, CATALOGUE, QUICK)
    firsts = {v.locomotive: v.first for v in plan.visits if any(j.kind == MEND for j in v.jobs)}
    is_open = one_berth.berths[0].open.hold_on
    days = [plan.first_day + timedelta(days=n) for n in range(14)]
    earliest = [day for day in days if is_open(day)][: len(names)]
    assert set(firsts) == set(names)
    assert sorted(firsts.values()) == earliest
    assert "stands since 2025-12-20" in next(
        v.reason for v in plan.visits if v.locomotive == names[0]
    )


def test_open_safety_defect_is_mended_within_the_plan(ahead: Ahead, inputs: PlanInputs) -> None:
    name = sorted(ahead.classes)[0]
    left_open = pd.DataFrame(
        {"locomotive": [name, name], "component": ["brake-cylinder", "cab-light"],
         "position": [1, 1], "defect": ["leaking", "not-lit"],
         "found": pd.Timestamp("2025-12-30")}
    )  # fmt: skip
    assert CATALOGUE.components["brake-cylinder"].safety
    plan = plan_ahead(replace(ahead, open=left_open), inputs, CATALOGUE, QUICK)
    mended = [j for v in plan.visits for j in v.jobs if j.kind == MEND and v.locomotive == name]
    assert [job.components for job in mended] == [("brake-cylinder",)]


def test_stored_locomotive_is_in_no_berth_and_not_in_traffic(
    ahead: Ahead, inputs: PlanInputs
) -> None:
    fleet = ahead.fleet.assign(stored=ahead.fleet["class"] == "Alder")
    without = replace(inputs, visits=(), traffic=(Traffic("Alder", 1, Days()),))
    plan = plan_ahead(replace(ahead, fleet=fleet), without, CATALOGUE, QUICK)
    assert {visit.class_name for visit in plan.visits} == {"Rowan"}
    assert set(plan.fleet) == {"Rowan"}
    reasons = {one.reason for one in plan.left_out if one.class_name == "Alder"}
    assert reasons == {"out of use"}


def test_pins_and_free_days_hold_and_the_rest_stays(
    made: Plan, ahead: Ahead, inputs: PlanInputs
) -> None:
    again = plan_ahead(ahead, inputs, CATALOGUE, replace(QUICK, before=made))
    key = {(v.locomotive, v.first) for v in made.visits}
    same = {(v.locomotive, v.first) for v in again.visits}
    assert len(key & same) >= 0.8 * len(key)
    monday = next(made.first_day + timedelta(days=n) for n in range(7, 14)
                  if (made.first_day + timedelta(days=n)).weekday() == 0)  # fmt: skip
    pinned = sorted(ahead.classes)[-1]
    free = monday + timedelta(days=1)
    wishes = replace(QUICK, pins=((pinned, monday),), forbidden=(("", free),), before=made)
    plan = plan_ahead(ahead, inputs, CATALOGUE, wishes)
    assert (pinned, monday) in {(v.locomotive, v.first) for v in plan.visits}
    assert not [v for v in plan.visits if v.first <= free <= v.last]


def test_limits_that_clash_are_named_and_each_is_needed(ahead: Ahead, inputs: PlanInputs) -> None:
    names = sorted(ahead.classes)[:4]
    day = next(
        ahead.tomorrow + timedelta(days=n)
        for n in range(7)
        if (ahead.tomorrow + timedelta(days=n)).weekday() == 1
    )
    wishes = replace(QUICK, pins=tuple((name, day) for name in names))
    with pytest.raises(PlanError) as refused:
        plan_ahead(ahead, replace(inputs, visits=(), traffic=()), CATALOGUE, wishes)
    said = str(refused.value)
    assert all(f"{name} pinned to {day}" in said for name in names)
    assert "berth" in said
    assert "Nothing was saved" in said
    fewer = replace(QUICK, pins=tuple((name, day) for name in names[:3]))
    assert plan_ahead(ahead, replace(inputs, visits=(), traffic=()), CATALOGUE, fewer).visits


def test_labour_too_short_for_a_visit_due_is_named(ahead: Ahead, inputs: PlanInputs) -> None:
    first = ahead.tomorrow
    due = DueVisit("A-01", "overhaul", first, first + timedelta(days=13), 2, {"fitter": 60.0})
    tight = replace(inputs, visits=(due,), labour=(Labour("fitter", 20.0, Days()),))
    with pytest.raises(PlanError) as refused:
        plan_ahead(ahead, tight, CATALOGUE, QUICK)
    assert "overhaul of A-01 (2 days)" in str(refused.value)
    assert "the hours of fitter" in str(refused.value)


def test_one_more_is_never_worth_less_than_nothing(ahead: Ahead, inputs: PlanInputs) -> None:
    none = tuple(replace(spare, on_hand=spare.keep) for spare in inputs.spares)
    bare = replace(inputs, spares=none)
    plan = plan_ahead(ahead, bare, CATALOGUE, Wishes(seconds=3.0, gap=0.001, more=True))
    assert {"labour", "spare"} <= {one.what for one in plan.worth}
    assert all(one.gain >= 0 and one.gain_of_bound >= 0 for one in plan.worth)
    assert max(one.gain for one in plan.worth if one.what == "spare") > 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"first_day": date(2025, 6, 1)}, "the record is known to"),
        ({"pins": (("X-1", date(2026, 1, 5)),)}, "'X-1' is not in service"),
        ({"pins": (("A-01", date(2027, 1, 5)),)}, "lies outside the plan"),
        ({"forbidden": (("", date(2027, 1, 5)),)}, "lies outside the plan"),
    ],
)
def test_what_cannot_be_planned_gets_a_sentence(
    ahead: Ahead, inputs: PlanInputs, change: dict[str, object], words: str
) -> None:
    asked = {name: value for name, value in change.items() if name in ("pins", "forbidden")}
    limits = replace(inputs, first_day=change.get("first_day"))  # type: ignore[arg-type]
    with pytest.raises(PlanError, match=words):
        plan_ahead(ahead, limits, CATALOGUE, replace(QUICK, **asked))  # type: ignore[arg-type]
