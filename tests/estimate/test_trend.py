"""Tests of constant rate: published values, hand examples, and what must not change."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.trend import (
    TOO_FEW_FAILURES,
    clustered_trend_p,
    equal_shapes_test,
    laplace_test,
    mil_hdbk_189_test,
    power_law_scale_bounds,
)

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def together(systems: list[list[float]]) -> tuple[list[float], list[int]]:
    times = [age for ages in systems for age in ages]
    return times, [place for place, ages in enumerate(systems) for _ in ages]


# NIST Dataplot reference manual, RELIABILITY TRENDS TEST, sample output on the data of Hahn &
# Shapiro (1967), Statistical Models in Engineering, p. 284. The printed z of reverse arrangements
# does not follow from the manual's own formula and is not used.
def test_laplace_and_chi_square_agree_with_the_dataplot_sample_run() -> None:
    example = published("dataplot-hahn-locomotive-trend-tests")
    answer, tolerance = example["published"], example["tolerance"]
    times, end = example["data"]["times_miles"], example["data"]["T_end"]
    laplace = laplace_test(times, [0] * len(times), [0], [end])
    assert laplace.statistic == pytest.approx(answer["laplace_z"], abs=tolerance["laplace_z"])
    assert 1 - laplace.p / 2 == pytest.approx(answer["laplace_cdf"], abs=tolerance["laplace_cdf"])
    chi_square = mil_hdbk_189_test(times, [0] * len(times), [0], [end])
    assert chi_square.statistic == pytest.approx(answer["mil_chi2"], abs=tolerance["mil_chi2"])
    assert chi_square.df == 2 * 37
    assert chi_square.p / 2 == pytest.approx(answer["mil_cdf"], abs=tolerance["mil_cdf"])


# Proschan (1963), Technometrics 5, 375-383: air-conditioning failures of 14 aircraft; Laplace's
# statistic of each and of all, failure-truncated, recomputed independently of this project.
def test_laplace_of_many_systems_agrees_with_a_recomputation_on_proschans_aircraft() -> None:
    example = published("proschan-1963-aircraft-air-conditioning")
    ages = [np.cumsum(own).tolist() for own in example["data"]["intervals_h_per_aircraft"]]
    singles = [
        laplace_test(own, [0] * len(own), [0], [own[-1]], failure_truncated=True).statistic
        for own in ages
    ]
    np.testing.assert_allclose(
        singles, example["recomputed"]["laplace_per_aircraft_failure_truncated"], rtol=1e-9
    )
    times, unit = together(ages)
    ends = [own[-1] for own in ages]
    pooled = laplace_test(times, unit, [0] * 14, ends, failure_truncated=True)
    assert pooled.statistic == pytest.approx(example["recomputed"]["laplace_combined"])
    assert pooled.failures == 205 - 14


# Crow (1975), AMSAA Technical Report 138, section 3.6, systems 1 and 2 (F) and all (D). The
# printed D = 1.84 is not what its own unrounded shapes give; the recomputed 1.762 is used.
def test_equal_shapes_agree_with_amsaa_report_138() -> None:
    example = published("amsaa-tr138-equal-shapes")
    data, answer, tolerance = example["data"], example["published"], example["tolerance"]
    systems = [data[f"system_{number}"] for number in (1, 2, 3)]
    times, unit = together(systems[:2])
    two = equal_shapes_test(times, unit, [data["T"]] * 2)
    assert two.method == "F"
    assert two.df == (20, 30)
    assert two.statistic == pytest.approx(answer["F_beta2_over_beta1"], abs=tolerance["default"])
    assert two.p == pytest.approx(2 * stats.f.sf(two.statistic, 20, 30))
    assert stats.f.ppf(0.95, *two.df) == pytest.approx(
        answer["F95_20_30"], abs=tolerance["default"]
    )
    times, unit = together(systems)
    three = equal_shapes_test(times, unit, [data["T"]] * 3)
    assert three.method == "Bartlett"
    assert three.statistic == pytest.approx(example["recomputed"]["D"])
    np.testing.assert_allclose(three.shapes, example["recomputed"]["beta_q"])
    low, high = answer["chi2_2_5pct_lo_hi"]
    np.testing.assert_allclose(stats.chi2.ppf([0.025, 0.975], *three.df), [low, high], rtol=1e-3)
    assert low < three.statistic < high
    assert three.p > 0.05


# Crow (1975), AMSAA Technical Report 138, sections 3.4 and 3.5. The report's rounded chi-square
# values put its lower bound at shape 0.5 (0.592) and its simultaneous upper bound (1.39) beside
# the exact 0.594 and 1.408, which are used.
def test_scale_bounds_agree_with_amsaa_report_138() -> None:
    example = published("amsaa-tr138-beta-lambda-bounds")
    data, answer, exact = example["data"], example["published"], example["recomputed"]
    failures, ends = sum(len(data[f"system_{k}"]) for k in (1, 2, 3)), [data["T"]] * 3
    lower, upper = power_law_scale_bounds(failures, ends, 0.5, level=0.95)
    assert lower == pytest.approx(exact["lambda_lower95_beta_half"])
    assert upper == pytest.approx(
        answer["lambda_upper95_beta_half"], abs=example["tolerance"]["lambda_upper95_beta_half"]
    )
    lower, _ = power_law_scale_bounds(failures, ends, exact["beta_upper90_exact"])
    _, upper = power_law_scale_bounds(failures, ends, exact["beta_lower90_exact"])
    assert lower == pytest.approx(
        answer["lambda_lower_simult"], abs=example["tolerance"]["default"]
    )
    assert upper == pytest.approx(exact["lambda_upper_simult"])


# Duality: at each bound of the scale the count leaves half of the error chance beyond it.
def test_scale_bounds_leave_the_tails_they_promise() -> None:
    lower, upper = power_law_scale_bounds(7, [10.0, 30.0], 1.4, level=0.80)
    area = 10.0**1.4 + 30.0**1.4
    assert stats.poisson.sf(6, lower * area) == pytest.approx(0.10)
    assert stats.poisson.cdf(7, upper * area) == pytest.approx(0.10)
    assert power_law_scale_bounds(0, [10.0], 1.0)[0] == 0.0


def test_laplace_by_hand_with_two_windows_that_start_late() -> None:
    # (10, 20]: 19 and 18, middle 15; (0, 4]: 3, middle 2. Sum of distances 4 + 3 + 1 = 8;
    # variance (2 * 10^2 + 1 * 4^2) / 12 = 18.
    found = laplace_test([19.0, 3.0, 18.0], [0, 1, 0], [10.0, 0.0], [20.0, 4.0])
    assert found.statistic == pytest.approx(8 / math.sqrt(18))
    assert found.p == pytest.approx(2 * stats.norm.sf(8 / math.sqrt(18)))
    assert (found.failures, found.left_out, found.note) == (3, 0, "")


def test_chi_square_by_hand_with_a_window_that_starts_late() -> None:
    # (10, 20] at 15 and 12.5: ln 2 + ln 4; (0, 8] at 1: ln 8. Twice their sum is 12 ln 2.
    found = mil_hdbk_189_test([15.0, 12.5, 1.0], [0, 0, 1], [10.0, 0.0], [20.0, 8.0])
    assert found.statistic == pytest.approx(12 * math.log(2))
    assert found.p == pytest.approx(2 * stats.chi2.sf(12 * math.log(2), 6))


def test_gaps_of_observation_are_closed_up() -> None:
    # One locomotive seen over (0, 4] and (10, 16]: 10 in all, failures at 2, 4 and 12 - 6 = 6.
    late = laplace_test([2.0, 4.0, 12.0], [0, 0, 1], [0.0, 10.0], [4.0, 16.0], system=[7, 7])
    plain = laplace_test([2.0, 4.0, 6.0], [0, 0, 0], [0.0], [10.0])
    assert late == plain


@pytest.mark.parametrize("test", [laplace_test, mil_hdbk_189_test])
@pytest.mark.parametrize("failures", [0, 1, 2])
def test_fewer_than_three_failures_say_so(test: Any, failures: int) -> None:
    found = test([5.0] * failures, [0] * failures, [0.0], [10.0])
    assert math.isnan(found.statistic)
    assert math.isnan(found.p)
    assert (found.failures, found.note) == (failures, TOO_FEW_FAILURES)


@pytest.mark.parametrize("test", [laplace_test, mil_hdbk_189_test])
def test_no_windows_at_all_say_so(test: Any) -> None:
    assert test([], [], [], []).note == TOO_FEW_FAILURES


def test_failures_without_observed_time_are_left_out_and_counted() -> None:
    times, unit = [2.0, 3.0, 4.0, 0.0, 6.0], [0, 0, 0, 0, 1]
    chi_square = mil_hdbk_189_test(times, unit, [0.0, 6.0], [10.0, 6.0])
    assert (chi_square.failures, chi_square.left_out) == (3, 2)
    laplace = laplace_test(times, unit, [0.0, 6.0], [10.0, 6.0])
    assert (laplace.failures, laplace.left_out) == (4, 1)


@pytest.mark.parametrize(
    ("times", "unit", "start", "end", "options", "words"),
    [
        ([1.0], [0], [5.0], [2.0], {}, r"ends at 2\.0, before 5\.0"),
        ([9.0], [0], [0.0], [2.0], {}, r"failure at 9\.0 lies outside"),
        ([1.0], [1], [0.0], [2.0], {}, "unit must lie in 0..0, got 1"),
        ([1.0], [0.5], [0.0], [2.0], {}, "row of integers"),
        ([1.0, 2.0], [0], [0.0], [2.0], {}, "One unit per failure"),
        ([1.0], [0], [0.0, 1.0], [2.0], {}, "One end per start"),
        ([np.nan], [0], [0.0], [2.0], {}, "times must be finite"),
        ([], [], [0.0, 1.0], [2.0, 3.0], {"system": [1, 1]}, r"overlap: one starts at 1\.0"),
        ([], [], [0.0, 1.0], [2.0, 3.0], {"system": [1]}, "One system per window"),
        ([1.0], [0], [0.0], [2.0], {"failure_truncated": True}, "end at its last failure"),
    ],
)
def test_unfit_windows_are_refused(
    times: Any, unit: Any, start: Any, end: Any, options: dict[str, Any], words: str
) -> None:
    with pytest.raises(EstimateError, match=words):
        laplace_test(times, unit, start, end, **options)


def test_unfit_scales_and_systems_are_refused() -> None:
    with pytest.raises(EstimateError, match="-1"):
        power_law_scale_bounds(-1, [10.0], 1.0)
    with pytest.raises(EstimateError, match=r"0\.0"):
        power_law_scale_bounds(1, [0.0], 1.0)
    with pytest.raises(EstimateError, match="Two systems"):
        equal_shapes_test([1.0], [0], [2.0])


@pytest.mark.parametrize("ends", [[10.0, 10.0], [10.0, 10.0, 10.0]])
def test_equal_shapes_need_failures_in_every_system(ends: list[float]) -> None:
    found = equal_shapes_test([1.0, 2.0], [0, 0], ends)
    assert math.isnan(found.statistic)
    assert math.isnan(found.p)
    assert np.isnan(found.shapes).tolist() == [False] + [True] * (len(ends) - 1)


def simulated(seed: int, systems: int = 12) -> tuple[Any, Any, Any, Any]:
    random = np.random.default_rng(seed)
    start = random.uniform(0.0, 50.0, systems)
    end = start + random.uniform(20.0, 200.0, systems)
    unit = np.repeat(np.arange(systems), random.poisson(6.0, systems))
    return random.uniform(start[unit], end[unit]), unit, start, end


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.01, 24.0, 1e5]))
def test_order_and_unit_of_the_clock_change_nothing(seed: int, factor: float) -> None:
    times, unit, start, end = simulated(seed)
    order = np.random.default_rng(seed).permutation(times.size)
    back = np.random.default_rng(seed + 1).permutation(start.size)
    moved = np.argsort(back)[unit[order]]
    arguments = times[order] * factor, moved, start[back] * factor, end[back] * factor
    for test in (laplace_test, mil_hdbk_189_test):
        plain, other = test(times, unit, start, end), test(*arguments)
        assert other.statistic == pytest.approx(plain.statistic)
        assert other.p == pytest.approx(plain.p)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.05, 0.95))
def test_splitting_a_window_changes_nothing(seed: int, share: float) -> None:
    times, unit, start, end = simulated(seed)
    cut = start[0] + share * (end[0] - start[0])
    late = (unit == 0) & (times > cut)
    unit = np.where(late, start.size, unit)
    system = np.append(np.arange(start.size), 0)
    split = np.append(start, cut), np.append(np.where(np.arange(start.size) == 0, cut, end), end[0])
    for test in (laplace_test, mil_hdbk_189_test):
        plain = test(times, np.where(late, 0, unit), start, end)
        other = test(times, unit, *split, system=system)
        assert other.statistic == pytest.approx(plain.statistic)


# Calibration: without a trend p is at most 0.10 in a tenth of 400 fleets (3 standard errors:
# 0.045), whether failures come singly or in bunches of four.
@pytest.mark.parametrize("bunch", [1, 4])
def test_clustered_p_is_calibrated_with_and_without_bunches(bunch: int) -> None:
    random = np.random.default_rng(5)
    windows = np.zeros(30), np.full(30, 100.0)
    found = []
    for seed in range(400):
        unit = np.repeat(np.arange(30), random.poisson(4.0, 30))
        times = np.repeat(random.uniform(0.0, 100.0, unit.size), bunch)
        found.append(clustered_trend_p(times, np.repeat(unit, bunch), *windows, seed=seed))
    assert np.mean(np.array(found) <= 0.10) == pytest.approx(0.10, abs=0.045)


def test_clustered_p_does_not_take_bunches_for_a_trend() -> None:
    # Each locomotive's 20 failures come at once, at a moment of its own: no trend, but the plain
    # test counts every one of them.
    random = np.random.default_rng(11)
    unit = np.repeat(np.arange(15), 20)
    times = random.uniform(0.0, 100.0, 15)[unit]
    windows = np.zeros(15), np.full(15, 100.0)
    plain, clustered = (
        laplace_test(times, unit, *windows).p,
        clustered_trend_p(times, unit, *windows),
    )
    assert plain < 0.01
    assert clustered > 0.10


def test_clustered_p_needs_ten_systems_with_failures() -> None:
    times, unit = np.linspace(1.0, 9.0, 9), np.arange(9)
    assert math.isnan(clustered_trend_p(times, unit, np.zeros(9), np.full(9, 10.0)))
    assert math.isnan(clustered_trend_p([], [], np.zeros(20), np.full(20, 10.0)))
