"""Two rates compared where locomotives differ: bounds by resampling locomotives."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analytics.errors import EstimateError
from analytics.estimate.rate import compare_rates
from analytics.estimate.rate_ratio import ComparedRates, compare_populations

UNITS = 24
TIME = np.full(UNITS, 100.0)
NOWHERE = np.zeros(UNITS)


def spread(rng: np.random.Generator, mean: float, cv: float, size: int = UNITS) -> Any:
    return mean * rng.gamma(1 / cv**2, cv**2, size)


def bunched(seed: int = 3, mean: float = 4.0) -> Any:
    """Two sets of locomotives whose rates differ with a coefficient of variation of 1."""
    rng = np.random.default_rng(seed)
    return rng.poisson(spread(rng, mean, 1.0)), rng.poisson(spread(rng, mean, 1.0))


def apart(a: Any, b: Any, **options: Any) -> ComparedRates:
    """Compare populations of different locomotives."""
    return compare_populations(
        np.concatenate([a, NOWHERE]),
        np.concatenate([TIME, NOWHERE]),
        np.concatenate([NOWHERE, b]),
        np.concatenate([NOWHERE, TIME]),
        **options,
    )


def test_equal_locomotives_get_the_exact_bounds() -> None:
    found = apart(np.full(UNITS, 3), np.full(UNITS, 2), level=0.9)
    exact = compare_rates(3 * UNITS, 2400.0, 2 * UNITS, 2400.0, level=0.9)
    assert found.method == "exact-binomial"
    assert (found.ratio, found.lower, found.upper, found.p) == (
        exact.ratio,
        exact.lower,
        exact.upper,
        exact.p,
    )


@pytest.mark.parametrize("seed", range(8))
def test_bounds_are_never_narrower_than_the_exact_ones(seed: int) -> None:
    a, b = bunched(seed)
    found = apart(a, b)
    exact = compare_rates(a, TIME, b, TIME)
    assert found.method == "bootstrap"
    assert found.lower <= exact.lower
    assert found.upper >= exact.upper
    assert found.p >= exact.p


def test_bounds_at_the_p_value_touch_one() -> None:
    a, b = bunched()
    p = apart(a, 4 * b).p
    assert 1e-6 < p < 0.5
    found = apart(a, 4 * b, level=1 - p)
    assert min(abs(found.lower - 1), abs(found.upper - 1)) < 1e-6


def test_standard_error_agrees_with_the_delta_method() -> None:
    """Linearised cluster variance: sum over locomotives of (c/C - t/T)^2, for each side."""
    rng = np.random.default_rng(1)
    units = 200
    time = rng.uniform(50, 150, units)
    a, b = (rng.poisson(spread(rng, 0.2, 1.0, units) * time) for _ in range(2))
    none = np.zeros(units)
    found = compare_populations(
        np.r_[a, none], np.r_[time, none], np.r_[none, b], np.r_[none, time], level=0.9
    )
    variance = sum(np.sum((c / c.sum() - time / time.sum()) ** 2) for c in (a, b))
    # 1.6525 = Student's quantile 0.95 with 199 degrees of freedom (statistical tables)
    reach = 1.6525 * np.sqrt(variance * units / (units - 1))
    assert np.log(found.upper / found.ratio) == pytest.approx(reach, rel=0.08)


def test_the_same_locomotives_before_and_after_cancel_out() -> None:
    """By hand: each has exactly twice as many after, so that every resample has the ratio 2."""
    before = np.array([1, 12] * 12)
    found = compare_populations(2 * before, TIME, before, TIME)
    exact = compare_rates(2 * before, TIME, before, TIME)
    assert found.differ
    assert (found.lower, found.upper) == pytest.approx((exact.lower, exact.upper))


def test_order_of_the_locomotives_does_not_matter() -> None:
    a, b = bunched()
    mixed = np.random.default_rng(0).permutation(UNITS)
    assert apart(a[mixed], b) == apart(a, b)


def test_fewer_than_ten_that_differ_are_marked_and_exact() -> None:
    few, time = np.array([30, 2, 1, 1]), np.full(4, 100.0)
    found = compare_populations(few, time, np.array([9, 8, 9, 8]), time)
    assert found.differ
    assert found.method == "exact-binomial"


def test_four_failures_are_too_few_to_tell_that_locomotives_differ() -> None:
    four, three = np.zeros(UNITS), np.zeros(UNITS)
    four[0], three[1] = 4, 3
    assert not compare_populations(four, TIME, three, TIME).differ


def test_nothing_to_compare_gives_empty_figures() -> None:
    found = compare_populations(NOWHERE, TIME, NOWHERE, TIME)
    assert np.isnan([found.ratio, found.lower, found.upper, found.p]).all()


def test_arrays_of_different_length_are_refused() -> None:
    with pytest.raises(EstimateError, match="One count and one exposure"):
        compare_populations([1, 2], [1.0, 1.0], [1], [1.0])


@pytest.mark.campaign
@pytest.mark.parametrize("cv", [0.0, 0.6])
def test_bounds_hold_a_ratio_of_two(cv: float) -> None:
    """Nominal 0.90; METHODS section 11 passes 0.87 and above."""
    rng = np.random.default_rng(20)
    held = 0
    runs = 600
    for run in range(runs):
        means = [spread(rng, mean, cv) if cv else np.full(UNITS, mean) for mean in (6.0, 3.0)]
        a, b = (rng.poisson(mean) for mean in means)
        found = apart(a, b, seed=run % 4)
        held += found.lower <= 2 <= found.upper
    assert held / runs >= 0.87
