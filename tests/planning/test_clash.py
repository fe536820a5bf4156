"""Limits that clash: by a search that tries every plan, with and without each of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from analytics.planning.clash import Limit, clashing
from analytics.planning.problem import Problem
from tests.planning.exhaustive import MANY, has_plan, tiny_problem
from tests.planning.test_solve import one_berth

SEEDS = range(80)


def limits_of(problem: Problem) -> list[Limit]:
    return [
        *(Limit("must", int(j)) for j in np.flatnonzero(problem.must)),
        *(Limit("pin", n) for n in range(len(problem.pin_day))),
        *(Limit("berths", g) for g in range(len(problem.berths))),
        *(Limit("labour", s) for s in range(len(problem.labour))),
        *(Limit("supply", p) for p in range(len(problem.supply))),
        *(Limit("traffic", c) for c in range(len(problem.absent_most))),
    ]


def with_only(problem: Problem, limits: list[Limit]) -> Problem:
    def left(kind: str, rows: np.ndarray) -> np.ndarray:
        kept = np.array([Limit(kind, i) in limits for i in range(len(rows))], dtype=bool)
        return kept.reshape(-1, *[1] * (rows.ndim - 1))

    pins = left("pin", problem.pin_day)
    many = np.where(problem.berths > 0, MANY, 0)
    return replace(
        problem,
        berths=np.where(left("berths", problem.berths), problem.berths, many),
        labour=np.where(left("labour", problem.labour), problem.labour, float(MANY)),
        supply=np.where(left("supply", problem.supply), problem.supply, MANY),
        absent_most=np.where(left("traffic", problem.absent_most), problem.absent_most, MANY),
        must=problem.must & left("must", problem.must),
        pin_locomotive=problem.pin_locomotive[pins],
        pin_day=problem.pin_day[pins],
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_set_clashes_each_is_needed_and_none_is_smaller(seed: int) -> None:
    problem = tiny_problem(np.random.default_rng(seed))
    found = clashing(problem)
    assert bool(found) != has_plan(problem)
    if not found:
        return
    assert not has_plan(with_only(problem, list(found)))
    for limit in found:
        others = [other for other in found if other != limit]
        assert has_plan(with_only(problem, others)), f"{limit} is not needed"
    for smaller in combinations(limits_of(problem), len(found) - 1):
        assert has_plan(with_only(problem, list(smaller)))


def test_three_visits_due_in_two_berth_days_name_the_berths_and_all_three() -> None:
    problem = one_berth(locomotives=3, days=5, end_by=1)
    assert clashing(problem) == (
        Limit("berths", 0),
        Limit("must", 0),
        Limit("must", 1),
        Limit("must", 2),
    )


def test_a_visit_due_before_anything_is_open_stands_alone() -> None:
    problem = one_berth(locomotives=3, days=5, end_by=4)
    problem.value[1] = -np.inf
    assert clashing(problem) == (Limit("must", 1),)


def test_nothing_clashes_where_there_is_a_plan() -> None:
    assert clashing(one_berth(locomotives=3, days=5, end_by=4)) == ()


def test_only_those_that_clash_are_named_in_a_large_fleet() -> None:
    """Thirty locomotives, all due; four of them within three days of one berth."""
    problem = one_berth(locomotives=30, days=40, end_by=39)
    problem.end_by[[7, 11, 19, 28]] = 2
    assert clashing(problem) == (
        Limit("berths", 0),
        Limit("must", 7),
        Limit("must", 11),
        Limit("must", 19),
        Limit("must", 28),
    )
