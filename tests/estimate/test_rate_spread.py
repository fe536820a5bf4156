"""Counts that differ between locomotives: the test of spread and the wider bounds."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.estimate.rate import dispersion_of_counts, estimate_rate, exact_mtbf_bounds


def test_dispersion_is_the_chi_square_statistic_over_its_degrees_of_freedom() -> None:
    # By hand: expected 5, 5, 10; (1-5)^2/5 + (9-5)^2/5 + (10-10)^2/10 = 6.4, over 2.
    found = estimate_rate([1, 9, 10], [100.0, 100.0, 200.0])
    assert found.dispersion == pytest.approx(3.2)


# Other software: with large equal expectations the scaled law is the plain chi-square law.
def test_dispersion_p_agrees_with_scipy_for_large_counts() -> None:
    counts = np.array([480, 530, 505, 560, 470, 520])
    found = estimate_rate(counts, np.full(6, 1000.0))
    assert found.dispersion_p == pytest.approx(stats.chisquare(counts).pvalue, rel=0.01)


# Closed form: the chance, over all ways five failures can fall on three locomotives, of a
# statistic at least as large; 1,999 draws give it to within 0.03 (3 standard errors).
@pytest.mark.parametrize("counts", [(4, 1, 0), (0, 0, 5), (1, 2, 2), (3, 0, 2)])
def test_p_of_few_failures_is_the_exact_chance_given_their_total(counts: tuple[int, ...]) -> None:
    times, total = np.array([1.0, 2.0, 3.0]), 5
    expected = total * times / times.sum()

    def apart(places: tuple[int, ...]) -> float:
        return float(np.sum((np.array(places) - expected) ** 2 / expected))

    exact = sum(
        stats.multinomial.pmf(places, total, times / times.sum())
        for places in itertools.product(range(total + 1), repeat=3)
        if sum(places) == total and apart(places) >= apart(counts) - 1e-9
    )
    _, p = dispersion_of_counts(np.array(counts, dtype=float), times)
    assert p == pytest.approx(exact, abs=0.034)


# Closed form: mean and variance of the statistic over draws of 40 failures are those of the
# scaled law (Haldane 1939, Biometrika 31, 346-355).
def test_p_of_many_failures_has_the_exact_mean_and_variance() -> None:
    share, total = np.array([0.05, 0.15, 0.3, 0.5]), 40
    drawn = np.random.default_rng(3).multinomial(total, share, size=200_000)
    statistic = np.sum((drawn - total * share) ** 2 / (total * share), axis=1)
    mean, variance = statistic.mean(), statistic.var()
    counts = np.array([5.0, 10.0, 10.0, 15.0])
    observed = np.sum((counts - total * share) ** 2 / (total * share))
    expected = stats.chi2.sf(observed * 2 * mean / variance, 2 * mean**2 / variance)
    # The simulated variance is good to about 1 %.
    assert dispersion_of_counts(counts, share)[1] == pytest.approx(expected, rel=0.03)


def test_a_hardly_seen_locomotive_does_not_hide_a_bad_one() -> None:
    counts, times = np.array([0] * 9 + [15]), np.full(10, 1000.0)
    _, alone = dispersion_of_counts(counts.astype(float), times)
    _, with_other = dispersion_of_counts(np.append(counts, 0.0), np.append(times, 0.01))
    assert alone < 0.001
    assert with_other == pytest.approx(alone, rel=0.1)


@pytest.mark.parametrize(
    ("failures", "exposure"), [([5], [10.0]), ([5, 0], [10.0, 0.0]), ([1, 0], [5.0, 5.0])]
)
def test_spread_is_not_judged_from_one_locomotive_or_one_failure(
    failures: list[int], exposure: list[float]
) -> None:
    found = estimate_rate(failures, exposure)
    assert math.isnan(found.dispersion_p)
    assert found.method == "exact-poisson"


def test_alike_locomotives_keep_the_exact_bounds() -> None:
    found = estimate_rate([4, 6, 5, 5], np.full(4, 100.0))
    assert found.dispersion_p > 0.10
    assert found.method == "exact-poisson"
    assert (found.mtbf_lower, found.mtbf_upper) == tuple(map(float, exact_mtbf_bounds(20, 400.0)))


@pytest.mark.parametrize(("locomotives", "method"), [(9, "gamma-poisson"), (10, "bootstrap")])
def test_unlike_locomotives_get_wider_bounds(locomotives: int, method: str) -> None:
    failures = np.where(np.arange(locomotives) < 3, 12, 1)
    found = estimate_rate(failures, np.full(locomotives, 100.0))
    lower, upper = exact_mtbf_bounds(failures.sum(), 100.0 * locomotives)
    assert found.dispersion_p < 0.01
    assert found.method == method
    assert found.mtbf_lower < lower
    assert found.mtbf_upper > upper


def test_bootstrap_repeats_itself_by_seed_and_moves_little_between_seeds() -> None:
    random = np.random.default_rng(4)
    failures = random.poisson(random.gamma(2.0, 5.0, size=30))
    times = random.uniform(50.0, 150.0, size=30)
    first, again, other = (estimate_rate(failures, times, seed=seed) for seed in (1, 1, 2))
    assert first == again
    assert first.method == "bootstrap"
    # 2,000 resamples: a 5 % quantile moves by about its own 1.5 % of the half width.
    assert other.mtbf_lower == pytest.approx(first.mtbf_lower, rel=0.03)
    assert other.mtbf_upper == pytest.approx(first.mtbf_upper, rel=0.03)


# Closed form: with many locomotives and little skew the bootstrap agrees with the ratio
# estimator's linearised standard error (Cochran 1977, Sampling Techniques, chapter 6).
def test_bootstrap_agrees_with_the_linearised_error_of_a_ratio() -> None:
    random = np.random.default_rng(8)
    times = random.uniform(900.0, 1100.0, size=400)
    failures = random.poisson(random.gamma(25.0, 0.002, size=400) * times)
    found = estimate_rate(failures, times)
    residual = failures - found.rate * times
    error = math.sqrt(np.sum(residual**2)) / times.sum()
    assert found.method == "bootstrap"
    assert found.rate - found.rate_lower == pytest.approx(1.645 * error, rel=0.1)
    assert found.rate_upper - found.rate == pytest.approx(1.645 * error, rel=0.1)


def test_all_failures_on_one_of_many_locomotives_stays_finite() -> None:
    found = estimate_rate([30] + [0] * 11, np.full(12, 100.0))
    assert found.method == "bootstrap"
    assert math.isnan(found.mtbf_upper) or found.mtbf_upper < math.inf
    assert 0 < found.mtbf_lower < found.mtbf


def test_more_resamples_than_fit_in_memory_at_once_are_drawn_in_parts() -> None:
    failures = np.tile([0, 9], 2_000)
    found = estimate_rate(failures, np.full(4_000, 10.0))
    assert found.method == "bootstrap"
    assert found.rate_lower < 0.45 < found.rate_upper


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(1, 500)), min_size=2, max_size=14),
    st.sampled_from([0.5, 0.9, 0.99]),
)
def test_bounds_are_never_narrower_than_exact_poisson(
    rows: list[tuple[int, int]], level: float
) -> None:
    failures, exposure = np.transpose(rows)
    found = estimate_rate(failures, exposure, level=level)
    lower, upper = exact_mtbf_bounds(failures.sum(), exposure.sum(), level=level)
    assert found.mtbf_lower <= lower
    assert np.isnan(found.mtbf_upper) or found.mtbf_upper >= upper
