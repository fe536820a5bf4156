"""Rates and MTBF: published values, closed forms, other software, and what must not change."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.rates import confint_poisson

from analytics.errors import EstimateError
from analytics.estimate.rate import estimate_rate, exact_mtbf_bounds

REFERENCE = Path(__file__).parents[1] / "reference"
counts_and_exposure = st.lists(
    st.tuples(st.integers(0, 30), st.integers(0, 2000)), min_size=1, max_size=15
)


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1 (2 failures in 800 h).
def test_mtbf_bounds_agree_with_the_nist_handbook() -> None:
    example = published("nist-8451-mtbf-bounds")
    data, answer = example["data"], example["published"]
    lower, upper = exact_mtbf_bounds(data["failures"], data["T_hours"], level=data["confidence"])
    assert float(lower) == pytest.approx(
        answer["mtbf_lower"], abs=example["tolerance"]["mtbf_lower"]
    )
    assert float(upper) == pytest.approx(answer["mtbf_upper"], abs=example["tolerance"]["default"])
    found = estimate_rate([1, 1], [300.0, 500.0])
    assert found.mtbf == example["recomputed"]["mtbf_point"]
    assert (found.mtbf_lower, found.mtbf_upper) == (float(lower), float(upper))


# NIST/SEMATECH e-Handbook, section 8.4.5.1: with no failure, T / (-ln alpha), one-sided.
def test_lower_bound_without_failures_agrees_with_the_nist_handbook() -> None:
    example = published("nist-8451-zero-fails")
    factors = example["published"]["factor_T_over_minus_ln_alpha"]
    for alpha, factor in zip(example["data"]["alpha"], factors, strict=True):
        lower, upper = exact_mtbf_bounds(0, example["data"]["T"], level=1 - alpha)
        assert float(lower) == pytest.approx(factor, abs=example["tolerance"]["default"])
        assert np.isnan(upper)


# NIST/SEMATECH e-Handbook, section 8.4.5.1, table of MTBF factors; printed rows are values from
# memory, so only the figures that a recomputation confirms are asserted (two upper factors of
# one failure differ in the fourth decimal).
def test_factors_agree_with_the_nist_table_where_recomputed() -> None:
    example = published("nist-8451-factor-table")
    tolerance, agreeing = example["tolerance"]["default"], 0
    for key, printed in example["published"].items():
        failures, percent = (int(part.lstrip("r")) for part in key.split("_"))
        found = exact_mtbf_bounds(failures, failures, level=percent / 100)
        for value, figure, checked in zip(found, printed, example["recomputed"][key], strict=True):
            if abs(figure - checked) <= tolerance:
                assert float(value) == pytest.approx(figure, abs=tolerance)
                agreeing += 1
    assert agreeing == 10
    for level, rows in example["recomputed"]["full_table[conf]=[r,lower,upper]"].items():
        failures, lower, upper = np.transpose(rows)
        found = exact_mtbf_bounds(failures, failures, level=float(level))
        np.testing.assert_allclose(found, [lower, upper], rtol=1e-12)


# Davison & Hinkley (1997), Bootstrap Methods and their Application, example 1.1, data of
# Proschan (1963): failure-truncated 95 % bounds of a mean.
def test_failure_truncated_bounds_agree_with_davison_and_hinkley() -> None:
    example = published("davison-hinkley-aircraft-exponential-ci")
    intervals = example["data"]["times_between_failures_h"]
    total, tolerance = sum(intervals), example["tolerance"]["default"]
    bounds = exact_mtbf_bounds(len(intervals), total, level=0.95, failure_truncated=True)
    assert total / len(intervals) == pytest.approx(example["published"]["mean"], abs=tolerance)
    np.testing.assert_allclose(bounds, example["published"]["ci95"], rtol=0, atol=tolerance)


# Other software: statsmodels `exact-c`, and the pair quoted in its tests from R's poisson.test.
def test_rate_bounds_agree_with_statsmodels() -> None:
    found = estimate_rate([15], [400.0], level=0.95)
    assert found.rate_lower == pytest.approx(0.0209885, abs=5e-8)
    assert found.rate_upper == pytest.approx(0.0618505, abs=5e-8)
    for failures in (1, 2, 7, 90):
        found = estimate_rate([failures], [123.0], level=0.80)
        other = confint_poisson(failures, 123.0, method="exact-c", alpha=0.20)
        assert (found.rate_lower, found.rate_upper) == pytest.approx(other, rel=1e-10)


# Duality: at each bound the tail beyond the observed count is half of what the level leaves.
@pytest.mark.parametrize("failures", [1, 2, 5, 40])
def test_bounds_leave_the_tails_they_promise(failures: int) -> None:
    lower, upper = exact_mtbf_bounds(failures, 1000.0, level=0.90)
    assert stats.poisson.cdf(failures, 1000.0 / float(lower)) == pytest.approx(0.05, rel=1e-9)
    assert stats.poisson.sf(failures - 1, 1000.0 / float(upper)) == pytest.approx(0.05, rel=1e-9)


def test_no_failures_gives_a_lower_bound_and_nothing_infinite() -> None:
    found = estimate_rate([0, 0, 0], [100.0, 50.0, 0.0])
    assert math.isnan(found.mtbf)
    assert math.isnan(found.mtbf_upper)
    assert found.mtbf_lower == pytest.approx(150.0 / math.log(10.0))  # T / (-ln(1 - 0.90))
    assert (found.rate, found.rate_lower) == (0.0, 0.0)
    assert found.rate_upper == pytest.approx(1.0 / found.mtbf_lower)
    assert found.method == "exact-poisson"
    assert math.isnan(found.dispersion)


@pytest.mark.parametrize("failures", [[0, 0], [0, 3]])
def test_no_exposure_gives_empty_figures(failures: list[int]) -> None:
    found = estimate_rate(failures, [0.0, 0.0])
    figures = (found.mtbf, found.mtbf_lower, found.mtbf_upper)
    assert all(map(math.isnan, (*figures, found.rate, found.rate_lower, found.rate_upper)))
    assert found.failures == sum(failures)


def test_no_locomotives_at_all_gives_empty_figures() -> None:
    found = estimate_rate([], [])
    assert found.failures == 0
    assert found.exposure == 0
    assert math.isnan(found.rate_upper)


@pytest.mark.parametrize("failures", [1, 2])
def test_one_or_two_failures_give_finite_bounds_around_the_estimate(failures: int) -> None:
    found = estimate_rate([failures, 0, 0], [10.0, 10.0, 10.0])
    assert 0 < found.mtbf_lower < found.mtbf < found.mtbf_upper < math.inf
    assert 0 < found.rate_lower < found.rate < found.rate_upper < math.inf


def test_bounds_are_vectorised_over_any_shape() -> None:
    lower, upper = exact_mtbf_bounds([[0, 1], [2, 3]], [100.0, 0.0])
    assert lower.shape == upper.shape == (2, 2)
    assert np.isnan(lower).tolist() == [[False, True], [False, True]]
    assert np.isnan(upper).tolist() == [[True, True], [False, True]]


@pytest.mark.parametrize(
    ("failures", "exposure", "level", "words"),
    [
        ([-1], [1.0], 0.9, "-1.0"),
        ([1.5], [1.0], 0.9, "1.5"),
        ([np.nan], [1.0], 0.9, "nan"),
        ([1], [-2.0], 0.9, "-2.0"),
        ([1], [np.inf], 0.9, "inf"),
        ([1], [1.0, 2.0], 0.9, "2 for 1"),
        ([[1]], [[1.0]], 0.9, "one-dimensional"),
        ([1], [1.0], 1.0, "1.0"),
        ([1], [1.0], 0.0, "0.0"),
    ],
)
def test_what_cannot_be_a_rate_is_refused_with_its_value(
    failures: Any, exposure: Any, level: float, words: str
) -> None:
    with pytest.raises(EstimateError, match=words):
        estimate_rate(failures, exposure, level=level)


def test_bounds_refuse_broken_counts() -> None:
    with pytest.raises(EstimateError, match=r"0\.5"):
        exact_mtbf_bounds([0.5], [1.0])


def test_input_is_not_modified_and_the_result_is_frozen() -> None:
    failures, exposure = np.array([3, 0, 9]), np.array([10.0, 0.5, 10.0])
    found = estimate_rate(failures, exposure)
    assert failures.tolist() == [3, 0, 9]
    assert exposure.tolist() == [10.0, 0.5, 10.0]
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.rate = 0.0  # type: ignore[misc]  # the point of the test


@settings(max_examples=60, deadline=None)
@given(counts_and_exposure, st.sampled_from([0.001, 24.0, 1e6]))
def test_scaling_the_clock_scales_the_answers(rows: list[tuple[int, int]], factor: float) -> None:
    failures, exposure = np.transpose(rows)
    plain, scaled = estimate_rate(failures, exposure), estimate_rate(failures, exposure * factor)
    assert scaled.mtbf == pytest.approx(plain.mtbf * factor, nan_ok=True)
    assert scaled.mtbf_lower == pytest.approx(plain.mtbf_lower * factor, nan_ok=True)
    assert scaled.mtbf_upper == pytest.approx(plain.mtbf_upper * factor, nan_ok=True)
    assert scaled.rate_upper == pytest.approx(plain.rate_upper / factor, nan_ok=True)
    assert scaled.method == plain.method


@settings(max_examples=60, deadline=None)
@given(counts_and_exposure, st.randoms(use_true_random=False))
def test_order_of_locomotives_changes_nothing(rows: list[tuple[int, int]], random: Any) -> None:
    shuffled = list(rows)
    random.shuffle(shuffled)
    plain, other = (estimate_rate(*np.transpose(given)) for given in (rows, shuffled))
    np.testing.assert_equal(dataclasses.astuple(other), dataclasses.astuple(plain))


@settings(max_examples=100, deadline=None)
@given(counts_and_exposure)
def test_no_figure_is_infinite_and_bounds_hold_the_estimate(rows: list[tuple[int, int]]) -> None:
    found = estimate_rate(*np.transpose(rows))
    figures = [value for value in dataclasses.astuple(found) if isinstance(value, float)]
    assert not any(map(math.isinf, figures))
    if found.exposure > 0:
        assert found.rate_lower <= found.rate <= found.rate_upper
