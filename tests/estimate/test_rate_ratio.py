"""Two rates compared: exact conditional bounds and p-value."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.rate import compare_rates


# Other software: scipy's Clopper-Pearson bounds of the share of failures in a.
@pytest.mark.parametrize(("a", "b"), [(1, 1), (3, 11), (40, 25), (200, 180)])
def test_bounds_agree_with_scipys_binomial_bounds(a: int, b: int) -> None:
    found = compare_rates(a, 500.0, b, 800.0, level=0.95)
    share = stats.binomtest(a, a + b).proportion_ci(0.95, method="exact")
    odds = np.array([share.low, share.high]) / (1 - np.array([share.low, share.high]))
    assert (found.lower, found.upper) == pytest.approx(odds * 800 / 500, rel=1e-9)
    assert found.ratio == pytest.approx((a / 500) / (b / 800))


def test_p_is_twice_the_smaller_binomial_tail() -> None:
    # By hand: 9 of 10 failures in a with half the exposure; P(X >= 9) = 11 / 1024.
    found = compare_rates(9, 100.0, 1, 100.0)
    assert found.p == pytest.approx(2 * 11 / 1024)
    assert compare_rates(5, 100.0, 5, 100.0).p == 1.0


# Duality: bounds at level 1 - p touch a ratio of 1.
@settings(max_examples=60, deadline=None)
@given(st.integers(1, 40), st.integers(1, 40), st.floats(0.2, 5.0))
def test_bounds_at_the_p_value_touch_one(a: int, b: int, times: float) -> None:
    p = compare_rates(a, times, b, 1.0).p
    if 1e-6 < p < 0.999:
        found = compare_rates(a, times, b, 1.0, level=1 - p)
        assert min(abs(found.lower - 1), abs(found.upper - 1)) < 1e-6


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 40), st.integers(1, 40), st.floats(0.2, 5.0))
def test_exchanging_the_populations_inverts_the_ratio(a: int, b: int, times: float) -> None:
    one, other = compare_rates(a, times, b, 1.0), compare_rates(b, 1.0, a, times)
    assert one.ratio == pytest.approx(1 / other.ratio)
    assert one.lower == pytest.approx(1 / other.upper)
    assert one.upper == pytest.approx(1 / other.lower)
    assert one.p == pytest.approx(other.p)


def test_counts_and_exposures_of_locomotives_are_added_up() -> None:
    assert compare_rates([1, 2], [10.0, 20.0], [4], [30.0]) == compare_rates(3, 30.0, 4, 30.0)


def test_no_failures_on_one_side_leaves_one_bound() -> None:
    found = compare_rates(0, 100.0, 5, 100.0)
    assert (found.ratio, found.lower) == (0.0, 0.0)
    assert 0 < found.upper < math.inf
    found = compare_rates(5, 100.0, 0, 100.0)
    assert math.isnan(found.ratio)
    assert math.isnan(found.upper)
    assert found.lower > 0
    assert found.p == pytest.approx(2 / 32)


@pytest.mark.parametrize("given", [(0, 1.0, 0, 1.0), (3, 0.0, 2, 1.0), (3, 1.0, 2, 0.0)])
def test_nothing_to_compare_gives_empty_figures(given: tuple[int, float, int, float]) -> None:
    found = compare_rates(*given)
    assert all(map(math.isnan, (found.ratio, found.lower, found.upper, found.p)))


def test_a_negative_exposure_is_refused() -> None:
    with pytest.raises(EstimateError, match=r"-1\.0"):
        compare_rates(1, -1.0, 1, 1.0)
