"""The check of a plan: a clean one passes, and each limit broken by itself is told.

The limits are those of METHODS 9, broken by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from analytics.answer import say
from analytics.planning.check_plan import broken
from analytics.planning.inputs import Days, Labour, Traffic
from analytics.planning.plan import Plan
from tests.planning.hand_made import CLASSES, INPUTS, VISITS, job, plan, visit

FIRST, DUE, BEARING, ROWAN = VISITS


def keys(found: Plan, **more: object) -> set[str]:
    faults = broken(found, more.pop("inputs", INPUTS), CLASSES, **more)  # type: ignore[arg-type]
    assert all(say(fault) for fault in faults)
    return {fault.key.removeprefix("broken.") for fault in faults}


def test_clean_plan_breaks_nothing() -> None:
    assert broken(plan(), INPUTS, CLASSES) == ()


@pytest.mark.parametrize(
    ("visits", "key"),
    [
        ((replace(FIRST, berth="9"), DUE, BEARING, ROWAN), "berth"),
        ((visit("A-01", "1", 6, 6, job("injectors")), DUE, BEARING), "closed"),
        ((visit("A-01", "1", 1, 2, job("injectors")), DUE), "length"),
        ((visit("R-01", "2", 2, 2, job("injectors")), DUE), "takes"),
        ((FIRST, DUE, visit("A-02", "1", 1, 1, job("injectors"))), "two_in_berth"),
        ((FIRST, DUE, visit("A-03", "1", 4, 4, job("injectors"))), "two_places"),
        ((FIRST, DUE, visit("A-01", "1", 11, 11, job("injectors"))), "twice"),
        ((FIRST, DUE, visit("R-01", "1", 2, 2, job("injectors"))), "spare"),
        ((FIRST, BEARING, ROWAN), "due_count"),
        ((visit("A-03", "2", 1, 2, job("inspection", "due", 2)),), "due_window"),
        ((visit("A-03", "2", 12, 13, job("inspection", "due", 2)),), "due_window"),
        ((FIRST, visit("A-03", "2", 3, 3, job("inspection", "due", 1))), "not_whole"),
        ((*VISITS, visit("A-01", "2", 11, 11, job("washing", "due", 1))), "not_asked"),
        ((replace(FIRST, jobs=(replace(FIRST.jobs[0], hours={}),)), DUE), "not_whole"),
        ((visit("A-01", "1", 15, 15, job("injectors")), DUE), "horizon"),
    ],
)
def test_each_limit_broken_is_told(visits: tuple[object, ...], key: str) -> None:
    assert key in keys(plan(visits))  # type: ignore[arg-type]


def test_labour_of_a_day_is_added_up_over_jobs_spread_over_their_days() -> None:
    tight = replace(INPUTS, labour=(Labour("fitter", 7.9, Days()),))
    assert keys(plan(), inputs=tight) == {"labour"}
    enough = replace(INPUTS, labour=(Labour("fitter", 8.0, Days()),))
    assert keys(plan(), inputs=enough) == set()


def test_traffic_counts_those_that_stand_or_are_stored_as_missing() -> None:
    assert keys(plan(), inputs=replace(INPUTS, traffic=(Traffic("Alder", 3, Days()),))) == {
        "traffic"
    }
    assert keys(plan((FIRST, DUE)), stored=["A-02"]) == {"traffic"}
    assert "stored" in keys(plan(), stored=["A-01"])


def test_pins_and_days_kept_free_are_held() -> None:
    pinned = plan(pins=(("A-01", date(2026, 6, 1)),))
    assert keys(pinned) == set()
    assert keys(plan(pins=(("A-01", date(2026, 6, 2)),))) == {"pin"}
    assert keys(plan(forbidden=(("", date(2026, 6, 10)),))) == {"forbidden"}
    assert keys(plan(forbidden=(("A-01", date(2026, 6, 10)),))) == set()
    assert keys(plan(forbidden=(("A-02", date(2026, 6, 7)),))) == {"forbidden"}


def test_what_stands_has_to_be_mended() -> None:
    assert "standing" in keys(plan(), standing=["R-01"])
    mended = plan((*VISITS[:3], visit("R-01", "1", 10, 10, job("mend", "mend"))))
    assert keys(mended, standing=["R-01"]) == set()
