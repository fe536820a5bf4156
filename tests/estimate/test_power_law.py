"""The power-law process: published values, an optimiser, simulation, what must not change."""

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
from scipy import optimize, stats

from analytics.errors import EstimateError
from analytics.estimate.trend import (
    NO_MAXIMUM,
    TOO_FEW_FAILURES,
    PowerLawData,
    PowerLawFit,
    fit_power_law,
    fit_power_law_data,
)

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def three_systems(example: dict[str, Any]) -> tuple[list[float], list[int]]:
    systems = [example["data"][f"system_{number}"] for number in (1, 2, 3)]
    unit = [place for place, ages in enumerate(systems) for _ in ages]
    return [age for ages in systems for age in ages], unit


def simulated(seed: int, *, shape: float, late: float, systems: int = 6) -> tuple[Any, ...]:
    random = np.random.default_rng(seed)
    end = random.uniform(500.0, 1000.0, systems)
    start = end * late * random.uniform(0.2, 1.0, systems)
    area = end**shape - start**shape
    unit = np.repeat(np.arange(systems), random.poisson(10.0, systems))
    times = (start[unit] ** shape + random.random(unit.size) * area[unit]) ** (1 / shape)
    return times, unit, start, end


# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.2 (data of 8.2.2.3), 80 % bounds.
def test_fit_agrees_with_the_nist_handbook() -> None:
    example = published("nist-8452-power-law-mtbf")
    data, answer, tolerance = example["data"], example["published"], example["tolerance"]
    times = data["repair_times"]
    found = fit_power_law(times, [0] * len(times), [0.0], [data["T_end"]], level=0.80)
    got = {
        "beta_hat_growth_1_minus_b": 1 - found.shape,
        "b_hat": found.shape,
        "a_hat": found.scale_lambda,
        "mtbf_at_T": found.mtbf_now,
        "mtbf_lower80": found.mtbf_now_lower,
        "mtbf_upper80": found.mtbf_now_upper,
    }
    for key, printed in answer.items():
        assert got[key] == pytest.approx(printed, abs=tolerance.get(key, tolerance["default"]))
    assert found.shape_mle == pytest.approx(example["recomputed"]["shape_plain_mle"])


# Crow (1975), AMSAA Technical Report 138, pp. 14 and 18: three systems with unequal ends.
def test_failure_truncated_fits_agree_with_amsaa_report_138() -> None:
    example = published("amsaa-tr138-failure-truncated")
    answer, tolerance = example["published"], example["tolerance"]["default"]
    times, unit = three_systems(example)
    data = PowerLawData(times, unit, [0.0] * 3, example["data"]["T"], failure_truncated=True)
    own = fit_power_law_data(data)
    assert own.shape_mle == pytest.approx(answer["beta_conditional"], abs=tolerance)
    assert own.shape == pytest.approx(answer["beta_conditional_unbiased"], abs=tolerance)
    assert own.method == "chi-square"
    common = fit_power_law_data(dataclasses.replace(data, common_scale=True))
    assert common.shape_mle == pytest.approx(answer["beta_mle"], abs=tolerance)
    assert common.scale_lambda == pytest.approx(answer["lambda_mle"], abs=tolerance)
    assert common.method == "profile-likelihood"


# Crow (1975), AMSAA Technical Report 138, section 3.3. Its lower bound 0.459 rests on rounded
# chi-square values and its 0.446 on a normal approximation; the exact 0.457 is used.
def test_shape_bounds_agree_with_amsaa_report_138() -> None:
    example = published("amsaa-tr138-beta-lambda-bounds")
    times, unit = three_systems(example)
    found = fit_power_law(times, unit, [0.0] * 3, [example["data"]["T"]] * 3)
    assert found.shape_upper == pytest.approx(
        example["published"]["beta_upper90_exact"], abs=example["tolerance"]["default"]
    )
    assert found.shape_lower == pytest.approx(example["recomputed"]["beta_lower90_exact"])


# Crow (1975), AMSAA Technical Report 138, section 4.4: explosions in mines, data of Maguire,
# Pearson & Wynn (1952), Biometrika 39 (typed from memory, confirmed by the report's totals). The
# printed scale is a decimal slip. The printed upper bound 0.819 is the normal approximation with
# z = 1.64; the exact chi-square bound is 0.823.
def test_mine_explosions_agree_with_amsaa_report_138() -> None:
    example = published("amsaa-tr138-mine-explosions")
    answer, tolerance = example["published"], example["tolerance"]["default"]
    times = np.cumsum(example["data"]["intervals_days"])
    assert (times.size, times[-1]) == (answer["n"], answer["T_days"])
    data = PowerLawData(times, [0] * times.size, [0.0], [times[-1]], failure_truncated=True)
    found = fit_power_law_data(data)
    assert found.shape_mle == pytest.approx(answer["beta_conditional"], abs=tolerance)
    assert found.shape == pytest.approx(answer["beta_unbiased"], abs=tolerance)
    assert found.cvm == pytest.approx(answer["C2_108"], abs=tolerance)
    common = fit_power_law_data(dataclasses.replace(data, common_scale=True))
    assert common.shape_mle == pytest.approx(answer["beta_mle"], abs=tolerance)
    normal = found.shape_mle * (1 + 1.64 / math.sqrt(108))
    assert normal == pytest.approx(answer["beta_upper95"], abs=tolerance)
    assert found.shape_upper == pytest.approx(answer["beta_upper95"], rel=0.006)


# Cross-check: a general optimiser on the log-likelihood written out (late windows, own scales).
def test_late_windows_agree_with_a_general_optimiser() -> None:
    times, unit, start, end = simulated(3, shape=1.6, late=0.7)
    counts = np.bincount(unit, minlength=6)

    def loss(shape: float) -> float:
        area = end**shape - start**shape
        return -float(
            times.size * np.log(shape) + (shape - 1) * np.log(times).sum() - counts @ np.log(area)
        )

    found = fit_power_law(times, unit, start, end)
    best = optimize.minimize_scalar(loss, bounds=(0.01, 20.0), method="bounded")
    assert found.shape == found.shape_mle == pytest.approx(best.x, abs=1e-5)
    # Duality: at each bound the likelihood-ratio statistic is the 90 % point.
    for bound in (found.shape_lower, found.shape_upper):
        assert 2 * (loss(bound) - best.fun) == pytest.approx(stats.chi2.ppf(0.90, 1), abs=1e-6)
    area = np.sum(end**found.shape - start**found.shape)
    assert found.scale_lambda == pytest.approx(times.size / area)


# Duality: with every window from age 0, 2 M shape / shape_mle is chi-square with 2 M degrees.
def test_exact_shape_bounds_are_chi_square_points() -> None:
    times, unit, _, end = simulated(4, shape=0.8, late=0.0)
    found = fit_power_law(times, unit, np.zeros(6), end, level=0.80)
    number = 2 * times.size
    points = number * np.array([found.shape_lower, found.shape_upper]) / found.shape_mle
    np.testing.assert_allclose(stats.chi2.cdf(points, number), [0.10, 0.90])
    assert found.shape == pytest.approx(found.shape_mle * (times.size - 1) / times.size)


# By hand: shape known from the fit, intensity of each position summed at each own last age.
def test_mtbf_now_is_positions_over_their_summed_intensity() -> None:
    times, unit, start, end = simulated(5, shape=1.3, late=0.5)
    positions, working = np.array([6, 6, 4, 4, 6, 4]), np.array([1, 1, 0, 1, 1, 0], dtype=bool)
    found = fit_power_law(times, unit, start, end, unit_positions=positions, in_service=working)
    scale = times.size / np.sum(positions * (end**found.shape - start**found.shape))
    steep = scale * found.shape * end ** (found.shape - 1) * positions
    assert found.scale_lambda == pytest.approx(scale)
    assert found.mtbf_now == pytest.approx(positions[working].sum() / steep[working].sum())
    assert found.mtbf_now_lower < found.mtbf_now < found.mtbf_now_upper
    one = fit_power_law(times, unit, start, end, unit_positions=np.full(6, 8))
    assert one.mtbf_now == pytest.approx(8 * fit_power_law(times, unit, start, end).mtbf_now)


def test_nothing_in_service_leaves_the_current_mtbf_empty() -> None:
    times, unit, start, end = simulated(5, shape=1.3, late=0.5)
    found = fit_power_law(times, unit, start, end, in_service=np.zeros(6, dtype=bool))
    assert math.isnan(found.mtbf_now)
    assert math.isnan(found.mtbf_now_upper)
    assert found.shape > 0


def test_unlike_locomotives_widen_the_bounds_of_the_current_mtbf() -> None:
    end = np.full(12, 100.0)
    random = np.random.default_rng(2)
    even, uneven = np.full(12, 10), np.where(np.arange(12) < 3, 34, 2)
    widths = []
    for counts in (even, uneven):
        unit = np.repeat(np.arange(12), counts)
        times = 100.0 * random.random(unit.size)
        found = fit_power_law(times, unit, np.zeros(12), end)
        widths.append(math.log(found.mtbf_now_upper / found.mtbf_now_lower))
    assert widths[1] > 2 * widths[0]


def is_blank(found: PowerLawFit) -> bool:
    figures = [value for value in dataclasses.astuple(found) if isinstance(value, float)]
    return sum(map(math.isnan, figures)) == len(figures) - 1  # the level alone is known


@pytest.mark.parametrize("failures", [0, 1, 2])
def test_fewer_than_three_failures_say_so(failures: int) -> None:
    found = fit_power_law(np.arange(1.0, failures + 1), [0] * failures, [0.0], [10.0])
    assert (found.note, found.failures) == (TOO_FEW_FAILURES, failures)
    assert is_blank(found)


def test_three_failures_give_finite_bounds() -> None:
    found = fit_power_law([2.0, 3.0, 7.0], [0, 0, 0], [0.0], [10.0])
    assert found.note == ""
    assert 0 < found.shape_lower < found.shape < found.shape_upper < math.inf
    assert 0 < found.mtbf_now_lower < found.mtbf_now_upper < math.inf


def test_a_level_too_high_for_the_failures_leaves_the_upper_bound_empty() -> None:
    found = fit_power_law([2.0, 3.0, 7.0], [0, 0, 0], [0.0], [10.0], level=0.99)
    assert found.mtbf_now_lower > 0
    assert math.isnan(found.mtbf_now_upper)


@pytest.mark.parametrize(
    ("times", "start"),
    [
        ([10.0, 10.0, 10.0], 0.0),  # all at the end: the steeper the likelier
        ([1.0, 1.01, 1.02, 1.03], 1.0),  # rarer than any positive shape lets them
    ],
)
def test_a_likelihood_without_a_maximum_says_so(times: list[float], start: float) -> None:
    found = fit_power_law(times, [0] * len(times), [start], [10.0])
    assert found.note == NO_MAXIMUM
    assert is_blank(found)


def test_a_lower_bound_beyond_shape_zero_is_zero() -> None:
    found = fit_power_law([5.2, 6.5, 8.0, 9.8], [0] * 4, [5.0], [10.0])
    assert found.note == ""
    assert found.shape_lower == 0.0
    assert found.shape > 0


def test_failures_at_age_zero_are_left_out_and_counted() -> None:
    with_them = fit_power_law([0.0, 2.0, 3.0, 7.0, 4.0], [0, 0, 0, 0, 1], [0.0, 4.0], [10.0, 4.0])
    without = fit_power_law([2.0, 3.0, 7.0], [0, 0, 0], [0.0], [10.0])
    assert with_them == dataclasses.replace(without, left_out=2)


def test_ages_of_very_different_locomotives_do_not_underflow() -> None:
    times = [0.5, 0.7, 0.9, 2e6, 3e6, 9e6]
    found = fit_power_law(times, [0, 0, 0, 1, 1, 1], [0.0, 1e6], [1.0, 1e7])
    assert found.note == ""
    assert 0 < found.mtbf_now < math.inf


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"start": [-1.0]}, r"-1\.0"),
        ({"unit_positions": [0]}, r"above 0, got 0\.0"),
        ({"unit_positions": [1, 2]}, "got 2 for 1"),
        ({"in_service": [True, True]}, "in_service per window"),
        ({"level": 90}, "90"),
    ],
)
def test_unfit_windows_are_refused(options: dict[str, Any], words: str) -> None:
    given_all: dict[str, Any] = {"start": [0.0], "end": [9.0], **options}
    with pytest.raises(EstimateError, match=words):
        fit_power_law([1.0, 2.0, 3.0], [0, 0, 0], **given_all)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 0.8]), st.sampled_from([0.01, 24.0, 1e5]))
def test_order_and_unit_of_the_clock_only_scale(seed: int, late: float, factor: float) -> None:
    times, unit, start, end = simulated(seed, shape=1.2, late=late)
    order = np.random.default_rng(seed).permutation(times.size)
    back = np.random.default_rng(seed + 1).permutation(start.size)
    plain = fit_power_law(times, unit, start, end)
    other = fit_power_law(
        times[order] * factor,
        np.argsort(back)[unit[order]],
        start[back] * factor,
        end[back] * factor,
    )
    assert other.note == plain.note
    for field in ("shape", "shape_lower", "shape_upper", "cvm", "cvm_p"):
        assert getattr(other, field) == pytest.approx(getattr(plain, field), rel=1e-6, nan_ok=True)
    for field in ("mtbf_now", "mtbf_now_lower", "mtbf_now_upper"):
        expected = pytest.approx(getattr(plain, field) * factor, rel=1e-6, nan_ok=True)
        assert getattr(other, field) == expected
    scale = plain.scale_lambda * factor**-plain.shape
    assert other.scale_lambda == pytest.approx(scale, rel=1e-5, nan_ok=True)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.05, 0.95), st.booleans())
def test_splitting_a_window_changes_nothing(seed: int, share: float, common: bool) -> None:
    times, unit, start, end = simulated(seed, shape=1.2, late=0.8)
    cut = start[0] + share * (end[0] - start[0])
    moved = np.where((unit == 0) & (times > cut), start.size, unit)
    first = np.arange(start.size) == 0
    plain = PowerLawData(times, unit, start, end, common_scale=common)
    split = dataclasses.replace(
        plain,
        unit=moved,
        start=np.append(start, cut),
        end=np.append(np.where(first, cut, end), end[0]),
        system=np.append(np.arange(start.size), 0),
    )
    one, two = (dataclasses.astuple(fit_power_law_data(data)) for data in (plain, split))
    for before, after in zip(one, two, strict=True):
        assert after == (
            pytest.approx(before, rel=1e-6, nan_ok=True) if isinstance(before, float) else before
        )


# Stephens (1974), JASA 69, 730-737, exponential law with estimated mean: upper 10 % and 5 % points
# 0.175 and 0.222 of W2 (1 + 0.16/n), values from memory; here by simulation, which also says how
# far `cvm_p` may be trusted. Late windows must not reject more often than they say.
@pytest.mark.parametrize(("late", "least"), [(0.0, 0.07), (0.8, 0.0)])
def test_goodness_of_fit_p_is_calibrated(late: float, least: float) -> None:
    found = []
    for seed in range(500):
        times, unit, start, end = simulated(seed, shape=1.2, late=late)
        fit = fit_power_law(times, unit, start, end)
        found.append(fit.cvm_p)
    assert least <= np.nanmean(np.array(found) <= 0.10) <= 0.13


def test_goodness_of_fit_sees_failures_in_bunches() -> None:
    times = np.concatenate([np.linspace(20, 22, 30), np.linspace(70, 72, 30)])
    found = fit_power_law(times, [0] * 60, [0.0], [100.0])
    assert found.cvm_p < 0.001
