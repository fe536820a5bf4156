"""The difference of two recurrence rates.

Oracles: by hand, the published square-and-add bounds of two binomial shares, identities, a
simulated fleet.
"""

from __future__ import annotations

import numpy as np
import pytest

from analytics.estimate.recurrence import recurrence_rate
from analytics.estimate.recurrence_difference import recurrence_difference


def test_bounds_are_the_two_rates_bounds_squared_and_added() -> None:
    """Zou & Donner (2008): no common locomotive, so d -+ sqrt((r - l)^2 + (u' - r')^2)."""
    gap = np.array([5.0, 12, 40, 40, 40, 40, 8, 40, 40, 40])
    inside = np.arange(10) < 5
    found = recurrence_difference(gap, gap < 30, np.arange(10), inside, window=30.0)
    one = recurrence_rate(gap[:5], gap[:5] < 30, np.arange(5), window=30.0)
    two = recurrence_rate(gap[5:], gap[5:] < 30, np.arange(5), window=30.0)
    assert found.difference == pytest.approx(2 / 5 - 1 / 5)
    down = np.hypot(one.rate - one.lower, two.upper - two.rate)
    up = np.hypot(one.upper - one.rate, two.rate - two.lower)
    assert (found.lower, found.upper) == pytest.approx((0.2 - down, 0.2 + up))


def test_groups_the_other_way_round_change_the_sign() -> None:
    rng = np.random.default_rng(1)
    gap, cluster, inside = rng.exponential(40, 120), rng.integers(0, 15, 120), rng.random(120) < 0.4
    found = recurrence_difference(gap, gap < 60, cluster, inside, window=30.0)
    back = recurrence_difference(gap, gap < 60, cluster, ~inside, window=30.0)
    assert back.difference == pytest.approx(-found.difference)
    assert (back.lower, back.upper) == pytest.approx((-found.upper, -found.lower))
    assert back.p == pytest.approx(found.p)


def test_what_came_back_on_the_same_day_counts() -> None:
    gap = np.array([0.0] * 6 + [40.0] * 14)
    inside = np.arange(20) % 2 == 0
    inside[:6] = True
    found = recurrence_difference(gap, gap < 30, np.arange(20), inside, window=30.0)
    assert found.first.rate > 0
    assert found.p < 0.05


def test_what_came_back_after_the_window_tells_nothing() -> None:
    rng = np.random.default_rng(3)
    inside, cluster = np.arange(60) % 2 == 0, np.arange(60) // 3
    gap = np.where(rng.random(60) < 0.3, 10.0, np.where(inside, 31.0, 400.0))
    late = recurrence_difference(gap, np.ones(60), cluster, inside, window=30.0)
    never = recurrence_difference(gap, gap < 30, cluster, inside, window=30.0)
    assert (late.statistic, late.difference) == pytest.approx((never.statistic, never.difference))


def test_nothing_came_back_still_has_bounds() -> None:
    gap = np.full(20, 40.0)
    found = recurrence_difference(gap, np.zeros(20), np.arange(20), np.arange(20) < 8, window=30.0)
    assert found.difference == 0.0
    assert -1 < found.lower < 0 < found.upper < 1
    assert np.isnan(found.p)
    assert found.note == "survival.nothing_to_compare"


@pytest.mark.parametrize("size", [0, 1])
def test_too_little_is_said(size: int) -> None:
    found = recurrence_difference(
        np.full(size, 5.0), np.ones(size), np.arange(size), np.ones(size), window=30.0
    )
    assert np.isnan(found.difference)
    assert found.note


@pytest.mark.campaign
@pytest.mark.parametrize("rates", [(0.02, 0.01), (0.01, 0.01)])
def test_nine_bounds_in_ten_hold_the_difference(rates: tuple[float, float]) -> None:
    """25 locomotives with rates of their own (gamma, CV 0.7); both groups on each; by closed form
    the share back within 30 is 1 - (1 + 30 h / 2) ** -2."""
    truth = [1 - (1 + 0.5 * rate * 30) ** -2 for rate in rates]
    held, runs = 0, 400
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        cluster, inside = rng.integers(0, 25, 200), rng.integers(0, 2, 200) == 1
        hazard = rng.gamma(2, 0.5, 25)[cluster] * np.where(inside, rates[0], rates[1])
        gap, cut = rng.exponential(1 / hazard), rng.uniform(10, 60, 200)
        found = recurrence_difference(
            np.minimum(gap, cut), gap <= cut, cluster, inside, window=30.0
        )
        held += found.lower <= truth[0] - truth[1] <= found.upper
    # Binomial standard error 0.015.
    assert 0.86 < held / runs < 0.95, held / runs
