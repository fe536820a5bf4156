"""Plans of invented workshops: what must hold however the problem is turned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.planning.greedy import greedy
from analytics.planning.problem import Problem
from analytics.planning.solve import NoPlan, solve
from data_demo.bench.plan_problems import made_up_problem
from tests.planning.kept import breaks, visits_of, worth

NO_COST, DEAR = 0.0, 10.0


def one_berth(*, locomotives: int, days: int, end_by: int, value: float = -1.0) -> Problem:
    """One berth, open every day; every locomotive has one job of a day that must be done."""
    return Problem(
        berths=np.ones((1, days), dtype=np.int64),
        takes=np.ones((1, locomotives), dtype=np.bool_),
        free=np.ones((locomotives, days), dtype=np.bool_),
        day_cost=np.full((locomotives, days), NO_COST),
        class_of=np.zeros(locomotives, dtype=np.int64),
        absent_most=np.full((1, days), locomotives),
        labour=np.full((1, days), 8.0),
        supply=np.zeros((0, days), dtype=np.int64),
        locomotive=np.arange(locomotives),
        days=np.ones(locomotives, dtype=np.int64),
        value=np.full((locomotives, days), value),
        end_by=np.full(locomotives, end_by),
        must=np.ones(locomotives, dtype=np.bool_),
        hours=np.full((locomotives, 1), 8.0),
        parts=np.zeros((locomotives, 0), dtype=np.int64),
        fits=np.ones((locomotives, 1), dtype=np.bool_),
        pin_locomotive=np.zeros(0, dtype=np.int64),
        pin_day=np.zeros(0, dtype=np.int64),
    )


def small(seed: int) -> Problem:
    """As many berths as locomotives of a small fleet can use, so that most have a plan."""
    return made_up_problem(np.random.default_rng(seed), 7, 2, 2)


SEEDS = (1, 2, 3, 5)


@pytest.fixture(params=SEEDS)
def problem(request: pytest.FixtureRequest) -> Problem:
    return small(request.param)


def test_plan_keeps_all_limits_and_beats_the_obvious_one(problem: Problem) -> None:
    found = solve(problem, gap=0.001)
    visits = visits_of(problem, found)
    assert breaks(problem, visits) == []
    assert found.value == pytest.approx(worth(problem, visits))
    assert found.value >= greedy(problem).value - 1e-9
    assert found.gap <= 0.001


def test_one_more_berth_never_makes_it_worse(problem: Problem) -> None:
    before = solve(problem, gap=0.0)
    more = replace(problem, berths=problem.berths + (problem.berths > 0))
    after = solve(more, gap=0.0)
    assert after.value >= before.value - 1e-6 * abs(before.value)
    assert after.bound >= before.value


def test_worth_in_other_money_scales_plan_and_bound(problem: Problem) -> None:
    before = solve(problem, gap=0.0)
    dear = replace(problem, value=problem.value * DEAR, day_cost=problem.day_cost * DEAR)
    after = solve(dear, gap=0.0)
    assert after.value == pytest.approx(before.value * DEAR, rel=1e-6)
    assert after.bound == pytest.approx(before.bound * DEAR, rel=1e-4)


def test_order_of_the_locomotives_changes_nothing(problem: Problem) -> None:
    order = np.random.default_rng(7).permutation(problem.free.shape[0])
    place = np.argsort(order)
    turned = replace(
        problem,
        takes=problem.takes[:, order],
        free=problem.free[order],
        day_cost=problem.day_cost[order],
        class_of=problem.class_of[order],
        locomotive=place[problem.locomotive],
    )
    assert solve(turned, gap=0.0).value == pytest.approx(solve(problem, gap=0.0).value, rel=1e-6)


def test_two_groups_of_one_berth_are_one_group_of_two() -> None:
    whole = one_berth(locomotives=5, days=3, end_by=2)
    whole = replace(whole, berths=whole.berths * 2, labour=whole.labour * 2)
    halves = replace(
        whole,
        berths=np.ones((2, 3), dtype=np.int64),
        takes=np.ones((2, 5), dtype=np.bool_),
        fits=np.ones((5, 2), dtype=np.bool_),
    )
    assert solve(whole, gap=0.0).value == pytest.approx(-5.0)
    assert solve(halves, gap=0.0).value == pytest.approx(-5.0)


def test_more_due_than_berth_days_is_refused() -> None:
    with pytest.raises(NoPlan, match="No plan keeps all limits"):
        solve(one_berth(locomotives=4, days=5, end_by=2))


def test_nothing_worth_doing_gives_an_empty_plan() -> None:
    idle = one_berth(locomotives=2, days=3, end_by=2)
    found = solve(replace(idle, must=np.zeros(2, dtype=np.bool_)))
    assert found.first.size == 0
    assert found.value == 0
    assert 0 <= found.bound < 1e-3
    assert (found.visit_of == -1).all()


def test_no_job_at_all_gives_an_empty_plan() -> None:
    idle = one_berth(locomotives=2, days=3, end_by=2)
    none = replace(
        idle,
        locomotive=idle.locomotive[:0],
        days=idle.days[:0],
        value=idle.value[:0],
        end_by=idle.end_by[:0],
        must=idle.must[:0],
        hours=idle.hours[:0],
        parts=idle.parts[:0],
        fits=idle.fits[:0],
    )
    assert solve(none).first.size == 0
    pinned = replace(none, pin_locomotive=np.array([1]), pin_day=np.array([2]))
    found = solve(pinned)
    assert (found.locomotive.tolist(), found.first.tolist()) == ([1], [2])


def test_no_locomotive_no_berth_or_only_closed_days_gives_an_empty_plan() -> None:
    idle = one_berth(locomotives=2, days=3, end_by=2, value=5.0)
    idle = replace(idle, must=np.zeros(2, dtype=np.bool_))
    no_berth = replace(idle, berths=idle.berths[:0], takes=idle.takes[:0], fits=idle.fits[:, :0])
    for problem in (no_berth, replace(idle, berths=idle.berths * 0)):
        found = solve(problem)
        assert (found.first.size, found.value, found.bound) == (0, 0.0, 0.0)


def test_labour_without_a_limit_can_be_handed_in() -> None:
    plain = one_berth(locomotives=3, days=3, end_by=2, value=5.0)
    found = solve(replace(plain, labour=np.full((1, 3), np.inf)), gap=0.0)
    assert found.value == 15.0
    assert found.gap < 1e-5


def test_a_visit_over_closed_days_pays_for_them_and_keeps_the_berth() -> None:
    """By hand: two open days around a closed one, 3 days at 1 each, a job worth 5."""
    plain = one_berth(locomotives=1, days=3, end_by=2, value=5.0)
    closed = replace(
        plain,
        berths=np.array([[1, 0, 1]]),
        days=np.array([2]),
        day_cost=np.ones((1, 3)),
        must=np.zeros(1, dtype=np.bool_),
    )
    found = solve(closed)
    assert (found.first.tolist(), found.last.tolist(), found.value) == ([0], [2], 2.0)


def test_time_that_is_too_short_still_gives_a_plan() -> None:
    found = solve(small(2), seconds=0.0)
    assert breaks(small(2), visits_of(small(2), found)) == []
    assert found.bound >= solve(small(2), gap=0.0).value
