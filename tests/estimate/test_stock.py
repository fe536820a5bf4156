"""Stock for a service level, by hand from the Poisson law.

By hand, mean 2: P(N <= 4) = e^-2 (1 + 2 + 2 + 4/3 + 2/3) = 0.9473, P(N <= 5) = 0.9834, so that 95 %
asks for 5; mean 0.5: P(N <= 1) = 0.9098, P(N <= 2) = 0.9856: 90 % asks for 1, 95 % for 2.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.errors import EstimateError
from analytics.estimate.stock import demand_bounds, stock_level


@pytest.mark.parametrize(
    ("mean", "service", "stock"), [(2.0, 0.95, 5), (2.0, 0.94, 4), (0.5, 0.90, 1), (0.5, 0.95, 2)]
)
def test_poisson_stock_by_hand(mean: float, service: float, stock: int) -> None:
    assert stock_level(mean, service=service) == stock
    enough = sum(math.exp(-mean) * mean**n / math.factorial(n) for n in range(stock + 1))
    assert enough >= service
    assert enough - math.exp(-mean) * mean**stock / math.factorial(stock) < service


def test_no_demand_needs_no_stock() -> None:
    assert stock_level([0.0, 0.0], spread=[1.0, 2.0]).tolist() == [0, 0]


def test_bunched_demand_needs_more_and_is_enough_when_drawn() -> None:
    plain, bunched = stock_level([6.0, 6.0], service=0.95, spread=[1.0, 2.5])
    assert bunched > plain
    drawn = np.random.default_rng(3).negative_binomial(6.0 / 1.5, 1 / 2.5, size=100_000)
    assert (drawn <= bunched).mean() >= 0.95 - 0.002
    assert (drawn <= bunched - 1).mean() < 0.95 + 0.002


def test_bounds_of_demand_are_those_of_the_failures() -> None:
    # Garwood (1936): 10 events have exact 90 % bounds 5.425 and 16.962.
    lower, upper = demand_bounds([5.0, 1.0], [10, 0])
    assert (lower[0], upper[0]) == pytest.approx((5 * 0.5425, 5 * 1.6962), rel=1e-3)
    assert np.isnan(lower[1])


@pytest.mark.parametrize(("mean", "service", "spread"), [(-1, 0.9, 1), (1, 1.0, 1), (1, 0.9, 0.5)])
def test_what_no_demand_has_is_refused(mean: float, service: float, spread: float) -> None:
    with pytest.raises(EstimateError):
        stock_level(mean, service=service, spread=spread)
