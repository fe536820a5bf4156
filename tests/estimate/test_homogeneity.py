"""Whether units look alike: the k-sample Anderson-Darling test."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.homogeneity import TOO_FEW_INTERVALS, intervals_homogeneity

EXAMPLE = Path(__file__).parents[1] / "reference" / "proschan-1963-aircraft-air-conditioning.json"


# Proschan (1963), Technometrics 5, 375-383, air-conditioning failures of 14 aircraft; statistic,
# p and critical values as published by Scholz & Stephens in a technical report and kept in SciPy's
# own tests (test_morestats, test_example2a).
def test_proschans_aircraft_do_not_look_alike() -> None:
    example = json.loads(EXAMPLE.read_text("utf-8"))
    answer, tolerance = example["published"], example["tolerance"]
    found = intervals_homogeneity(example["data"]["intervals_h_per_aircraft"])
    assert found.statistic == pytest.approx(answer["Tk_standardised"], abs=tolerance["default"])
    assert found.p == pytest.approx(answer["p"], abs=tolerance["p"])
    np.testing.assert_allclose(
        found.critical[:5], answer["critical"], rtol=0, atol=tolerance["critical"]
    )
    assert (found.p_means, found.samples, found.intervals) == ("equal", 14, 205)


# Other software: scipy, where its p is not cut off (it warns there).
@pytest.mark.parametrize("seed", range(20))
def test_statistic_and_p_agree_with_scipy(seed: int) -> None:
    random = np.random.default_rng(seed)
    samples = [
        random.integers(1, 30, random.integers(4, 20)) + shift
        for shift in random.integers(0, 6, random.integers(2, 6))
    ]
    found = intervals_homogeneity(samples)
    if found.p_means == "equal":
        other = stats.anderson_ksamp(samples, variant="right")
        assert found.statistic == pytest.approx(other.statistic)
        assert found.p == pytest.approx(other.pvalue)
    else:
        assert not found.critical[0] <= found.statistic <= found.critical[-1]


def test_p_beyond_the_table_is_a_bound() -> None:
    alike = intervals_homogeneity([[1.0, 4.0, 7.0, 9.0], [2.0, 3.0, 8.0, 10.0]])
    assert (alike.p, alike.p_means) == (0.25, "at least")
    unlike = intervals_homogeneity([np.arange(1.0, 30.0), np.arange(101.0, 130.0)])
    assert (unlike.p, unlike.p_means) == (0.001, "at most")


# Calibration: units of one exponential law are called unlike at 0.10 in a tenth of 400 fleets
# (3 standard errors: 0.045).
def test_alike_units_are_seldom_called_unlike() -> None:
    random = np.random.default_rng(6)
    found = [
        intervals_homogeneity([random.exponential(100.0, 8) for _ in range(6)]).p
        for _ in range(400)
    ]
    assert np.mean(np.array(found) <= 0.10) == pytest.approx(0.10, abs=0.045)


@pytest.mark.parametrize(
    "samples", [[], [[]], [[1.0, 2.0, 3.0, 4.0]], [[1.0], [2.0]], [[5.0, 5.0], [5.0, 5.0]]]
)
def test_too_little_to_compare_says_so(samples: list[list[float]]) -> None:
    found = intervals_homogeneity(samples)
    assert math.isnan(found.statistic)
    assert math.isnan(found.p)
    assert (found.p_means, found.note) == ("", TOO_FEW_INTERVALS)


def test_units_without_intervals_are_skipped() -> None:
    samples = [[1.0, 5.0, 9.0], [2.0, 8.0, 30.0]]
    with_empty = intervals_homogeneity([*samples, []])
    assert with_empty.samples == 2
    assert with_empty.statistic == intervals_homogeneity(samples).statistic


def test_negative_intervals_are_refused() -> None:
    with pytest.raises(EstimateError, match=r"-2\.0"):
        intervals_homogeneity([[1.0, -2.0], [3.0, 4.0]])
