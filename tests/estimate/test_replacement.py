"""Renewal by plan against closed forms and direct minimisation.

Sources: Barlow & Proschan (1965), Mathematical Theory of Reliability, chapter 4 (age replacement);
Barlow & Hunter (1960), Operations Research 8, 90-100 (minimal repair: T* = scale [cp / (c (shape -
1))]^(1/shape) for a power law); Brown & Proschan (1983), J. Appl. Prob. 20, 851-859.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate, optimize

from analytics.errors import EstimateError
from analytics.estimate.replacement import failures_before_renewal, replacement_policy

SHAPE, SCALE, FAILURE, PLANNED = 2.5, 1_000.0, 5.0, 1.0
GRID = np.linspace(0, 3_000, 601)
HAZARD = (GRID / SCALE) ** SHAPE


def cost_rate(renewed: float) -> Callable[[float], float]:
    """Return the cost rate of renewal at an age, by quadrature."""

    def reach(age: float) -> float:
        return float(np.exp(-renewed * (age / SCALE) ** SHAPE))

    def rate(age: float) -> float:
        hazard = (age / SCALE) ** SHAPE
        count = (1 - reach(age)) / renewed if renewed else hazard
        return float((FAILURE * count + PLANNED * reach(age)) / integrate.quad(reach, 0, age)[0])

    return rate


@pytest.mark.parametrize("renewed", [1.0, 0.4, 0.0])
def test_best_age_is_the_minimum_found_by_quadrature(renewed: float) -> None:
    policy = replacement_policy(
        GRID, HAZARD, renewed=renewed, cost_failure=FAILURE, cost_planned=PLANNED
    )
    rate = cost_rate(renewed)
    best = optimize.minimize_scalar(rate, bounds=(50, 2_900), method="bounded")
    assert policy.best_age[0] == pytest.approx(best.x, abs=0.5)
    assert policy.best_rate[0] == pytest.approx(best.fun, rel=1e-4)
    for place in (60, 200, 400):
        assert policy.rate[0, place] == pytest.approx(rate(GRID[place]), rel=1e-4)
    inside = (policy.flat_from[0] + 5, policy.flat_to[0] - 5)
    outside = (policy.flat_from[0] - 6, policy.flat_to[0] + 6)
    assert all(rate(age) <= 1.05 * best.fun for age in inside)
    assert all(rate(age) > 1.05 * best.fun for age in outside)


def test_minimal_repair_has_its_closed_form() -> None:
    policy = replacement_policy(GRID, HAZARD, renewed=0, cost_failure=FAILURE, cost_planned=PLANNED)
    expected = SCALE * (PLANNED / (FAILURE * (SHAPE - 1))) ** (1 / SHAPE)
    assert policy.best_age[0] == pytest.approx(expected, abs=0.5)
    assert np.isnan(policy.failure_rate[0])


def test_running_to_failure_costs_a_failure_a_mean_life() -> None:
    policy = replacement_policy(GRID, HAZARD, renewed=1, cost_failure=FAILURE, cost_planned=PLANNED)
    mean = integrate.quad(lambda age: np.exp(-((age / SCALE) ** SHAPE)), 0, np.inf)[0]
    assert policy.failure_rate[0] == pytest.approx(FAILURE / mean, rel=1e-4)


@pytest.mark.parametrize(("shape", "planned"), [(1.0, 1.0), (0.8, 1.0), (2.5, 50.0)])
def test_no_age_is_best_without_wear_or_with_dear_planned_work(
    shape: float, planned: float
) -> None:
    policy = replacement_policy(
        GRID, (GRID / SCALE) ** shape, renewed=1, cost_failure=FAILURE, cost_planned=planned
    )
    assert np.isinf(policy.best_age[0])
    assert np.isinf(policy.flat_to[0])


@pytest.mark.parametrize("renewed", [1.0, 0.4, 0.0])
def test_relative_cost_is_that_of_going_on_to_the_best_age(renewed: float) -> None:
    policy = replacement_policy(
        GRID, HAZARD, renewed=renewed, cost_failure=FAILURE, cost_planned=PLANNED
    )

    def reach(age: float) -> float:
        return float(np.exp(-renewed * (age / SCALE) ** SHAPE))

    best = GRID[np.nanargmin(policy.rate[0])]
    for place in (0, 40, 80):
        age = GRID[place]
        count = integrate.quad(
            lambda at: reach(at) * SHAPE / SCALE * (at / SCALE) ** (SHAPE - 1), age, best
        )[0]
        time = integrate.quad(reach, age, best)[0]
        cost = FAILURE * count + PLANNED * reach(best) - policy.best_rate[0] * time
        assert policy.relative[0, place] == pytest.approx(cost / reach(age), abs=2e-4)
    assert policy.relative[0, 0] == pytest.approx(0, abs=1e-9)
    assert np.all(policy.relative[0, best < GRID] == PLANNED)


def test_many_positions_at_once_are_each_as_alone() -> None:
    hazards = np.array([(GRID / scale) ** SHAPE for scale in (700.0, 1_000.0, 1_600.0)])
    renewed, costs = np.array([1.0, 0.5, 0.2]), np.array([4.0, 6.0, 9.0])
    together = replacement_policy(
        GRID, hazards, renewed=renewed, cost_failure=costs, cost_planned=1.5
    )
    for row in range(3):
        alone = replacement_policy(
            GRID, hazards[row], renewed=renewed[row], cost_failure=costs[row], cost_planned=1.5
        )
        assert together.best_age[row] == alone.best_age[0]
        assert np.array_equal(together.relative[row], alone.relative[0])


def test_failures_before_renewal_is_the_hazard_where_nothing_is_renewed() -> None:
    assert failures_before_renewal(2.0, 0.0) == 2.0
    assert failures_before_renewal(2.0, 1.0) == pytest.approx(1 - np.exp(-2))


@pytest.mark.parametrize(
    ("age", "hazard", "renewed", "failure", "words"),
    [
        ([1, 2, 3, 4], [0, 1, 2, 3], 1, 5, "begin at 0"),
        ([0, 2, 2, 4], [0, 1, 2, 3], 1, 5, "rise"),
        ([0, 1, 2, 3], [0, 2, 1, 3], 1, 5, "never fall"),
        ([0, 1, 2, 3], [0, 1, 2, np.nan], 1, 5, "never fall"),
        ([0, 1, 2, 3], [0, 1, 2, 3], 1.2, 5, "from 0 to 1"),
        ([0, 1, 2, 3], [0, 1, 2, 3], 1, 0, "cost of a failure"),
    ],
)
def test_what_no_policy_has_is_refused_in_a_sentence(
    age: list[float], hazard: list[float], renewed: float, failure: float, words: str
) -> None:
    with pytest.raises(EstimateError, match=words):
        replacement_policy(age, hazard, renewed=renewed, cost_failure=failure, cost_planned=1)
