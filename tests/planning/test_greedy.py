"""The obvious plan, by hand. That it keeps every limit: `test_solve_exact.py`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analytics.planning.greedy import greedy
from analytics.planning.problem import Problem
from tests.planning.test_solve import one_berth


def wanted(values: list[float], days: int = 3) -> Problem:
    """One berth; a job of a day on each locomotive, worth the same on every day."""
    problem = one_berth(locomotives=len(values), days=days, end_by=days - 1)
    return replace(
        problem,
        value=np.repeat(np.array(values)[:, None], days, axis=1),
        must=np.zeros(len(values), dtype=np.bool_),
    )


def test_the_most_valuable_comes_first() -> None:
    found = greedy(wanted([1.0, 9.0, 4.0, 7.0]))
    assert found.locomotive.tolist() == [1, 3, 2]
    assert found.first.tolist() == [0, 1, 2]
    assert found.value == 20.0


def test_another_order_can_be_asked_for() -> None:
    found = greedy(wanted([1.0, 9.0, 4.0, 7.0]), order=np.array([0, 2, 3, 1]))
    assert found.locomotive.tolist() == [0, 2, 3]
    assert found.value == 12.0


def test_what_must_be_done_goes_first_by_its_latest_day() -> None:
    problem = wanted([9.0, -1.0, -1.0])
    problem.must[1:] = True
    problem.end_by[:] = [2, 1, 0]
    assert greedy(problem).locomotive.tolist() == [2, 1, 0]


def test_a_visit_not_worth_its_days_is_not_made() -> None:
    problem = wanted([3.0])
    problem.value[0] = [1.0, 2.0, 4.0]
    problem.day_cost[:] = 2.0
    found = greedy(problem)
    assert (found.first.tolist(), found.value) == ([2], 2.0)


def test_what_finds_no_room_makes_it_no_plan() -> None:
    problem = one_berth(locomotives=3, days=4, end_by=1)
    found = greedy(problem)
    assert found.value == -np.inf
    assert (found.visit_of == -1).sum() == 1
