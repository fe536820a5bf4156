"""Recurrence within a window: hand examples, statsmodels, and what must not change."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

from analytics.errors import EstimateError
from analytics.estimate.recurrence import (
    CLUSTERED,
    INDEPENDENT,
    NO_CLOSINGS,
    WINDOW_NOT_REACHED,
    recurrence_rate,
)


def simulated(seed: int, closings: int = 60, locomotives: int = 15) -> tuple[Any, Any, Any]:
    random = np.random.default_rng(seed)
    gap, watched = random.integers(0, 60, closings), random.integers(0, 90, closings)
    cluster = random.integers(0, locomotives, closings)
    return np.minimum(gap, watched).astype(float), gap <= watched, cluster


def test_kaplan_meier_by_hand_with_ties_and_a_gap_of_zero() -> None:
    # At risk 6, 5, 3: back at 0 (one), at 10 (one, with one end of watching), at 30 (one).
    gap = [0.0, 10.0, 10.0, 30.0, 31.0, 40.0]
    back = [True, True, False, True, True, False]
    found = recurrence_rate(gap, back, [1, 1, 2, 2, 3, 3], window=30.0)
    assert found.rate == pytest.approx(1 - 5 / 6 * 4 / 5 * 2 / 3)
    assert (found.closings, found.recurrences, found.at_risk_at_window) == (6, 3, 3)
    assert found.matured == 5  # all but the one no longer watched after 10
    assert found.matured_share == pytest.approx(3 / 5)
    assert (found.clusters, found.method, found.note) == (3, INDEPENDENT, "")


# Other software: statsmodels' Kaplan-Meier and Greenwood standard error.
@pytest.mark.parametrize("seed", range(5))
def test_rate_and_greenwood_bounds_agree_with_statsmodels(seed: int) -> None:
    gap, back, _ = simulated(seed)
    other = SurvfuncRight(gap, back)
    at = np.searchsorted(other.surv_times, 30.0, side="right") - 1
    survival, error = other.surv_prob[at], other.surv_prob_se[at]
    few = recurrence_rate(gap, back, np.zeros(gap.size), window=30.0)
    assert few.method == INDEPENDENT
    assert few.rate == pytest.approx(1 - survival)
    hazard = -math.log(survival)
    reach = stats.norm.ppf(0.95) * error / survival / hazard
    assert few.lower == pytest.approx(1 - math.exp(-hazard * math.exp(-reach)))
    assert few.upper == pytest.approx(1 - math.exp(-hazard * math.exp(reach)))


# Identity: with every closing its own cluster the clustered variance is Greenwood's, n/(n-1).
def test_clusters_of_one_closing_give_greenwoods_bounds() -> None:
    gap, back, _ = simulated(2)
    own = recurrence_rate(gap, back, np.arange(60), window=30.0, level=0.90)
    plain = recurrence_rate(gap, back, np.zeros(60), window=30.0, level=0.90)
    assert own.method == CLUSTERED
    widen = math.sqrt(60 / 59) * stats.t.ppf(0.95, 59) / stats.norm.ppf(0.95)
    hazards = [-math.log1p(-found.upper) for found in (plain, own)]
    middle = -math.log1p(-plain.rate)
    reach = [math.log(hazard / middle) for hazard in hazards]
    assert reach[1] == pytest.approx(widen * reach[0])


# Identity: each closing written twice for its locomotive adds no knowledge.
def test_closings_written_twice_do_not_narrow_the_bounds() -> None:
    gap, back, _ = simulated(3)
    once = recurrence_rate(gap, back, np.arange(60), window=30.0)
    twice = recurrence_rate(
        np.repeat(gap, 2), np.repeat(back, 2), np.repeat(np.arange(60), 2), window=30.0
    )
    assert (twice.rate, twice.lower, twice.upper) == pytest.approx(
        (once.rate, once.lower, once.upper)
    )


def test_alike_closings_of_a_locomotive_widen_the_bounds() -> None:
    locomotive = np.repeat(np.arange(20), 10)
    back = locomotive % 2 == 0
    gap = np.where(back, 5.0, 50.0)
    by_locomotive = recurrence_rate(gap, back, locomotive, window=30.0)
    alone = recurrence_rate(gap, back, np.zeros(200), window=30.0)
    assert by_locomotive.method == CLUSTERED
    width = [found.upper - found.lower for found in (alone, by_locomotive)]
    assert width[1] > 2.5 * width[0]  # ten closings say no more than one: sqrt(10) = 3.2


def test_nine_locomotives_are_too_few_to_cluster_by() -> None:
    gap, back, cluster = simulated(4)
    assert recurrence_rate(gap, back, cluster % 9, window=30.0).method == INDEPENDENT
    assert recurrence_rate(gap, back, cluster % 10, window=30.0).method == CLUSTERED


def test_no_closings_say_so() -> None:
    found = recurrence_rate([], [], [], window=30.0)
    assert (found.note, found.closings, found.method) == (NO_CLOSINGS, 0, "")
    assert all(map(math.isnan, (found.rate, found.lower, found.upper, found.matured_share)))


def test_nothing_back_gives_the_exact_one_sided_bound() -> None:
    # Watched for the window: 8 of 10. Clopper-Pearson with 0 of 8: 1 - 0.1^(1/8).
    found = recurrence_rate([40.0] * 8 + [3.0, 29.0], [False] * 10, np.arange(10), window=30.0)
    assert (found.rate, found.lower) == (0.0, 0.0)
    assert found.upper == pytest.approx(1 - 0.1 ** (1 / 8))
    exact = stats.binomtest(0, 8, alternative="less").proportion_ci(0.90, method="exact")
    assert found.upper == pytest.approx(exact.high)
    assert found.method == INDEPENDENT


def test_back_only_after_the_window_counts_as_not_back() -> None:
    found = recurrence_rate([31.0, 90.0], [True, True], [1, 2], window=30.0)
    assert (found.rate, found.recurrences, found.matured) == (0.0, 0, 2)
    assert 0 < found.upper < 1


def test_all_back_gives_the_exact_one_sided_bound() -> None:
    found = recurrence_rate([1.0, 0.0, 7.0, 5.0], [True, True, True, False], [1] * 4, window=30.0)
    exact = stats.binomtest(3, 3, alternative="greater").proportion_ci(0.90, method="exact")
    assert (found.rate, found.upper) == (1.0, 1.0)
    assert found.lower == pytest.approx(exact.low)


@pytest.mark.parametrize("back", [[False, False], [True, False]])
def test_a_window_longer_than_anybody_was_watched_is_not_read(back: list[bool]) -> None:
    found = recurrence_rate([3.0, 9.0], back, [1, 2], window=30.0)
    assert math.isnan(found.rate)
    assert math.isnan(found.upper)
    assert (found.note, found.at_risk_at_window) == (WINDOW_NOT_REACHED, 0)


@pytest.mark.parametrize("recurrences", [1, 2])
def test_one_or_two_back_give_bounds_inside_zero_and_one(recurrences: int) -> None:
    back = np.arange(12) < recurrences
    found = recurrence_rate(np.where(back, 3.0, 99.0), back, np.arange(12), window=30.0)
    assert 0 < found.lower < found.rate < found.upper < 1
    assert found.rate == pytest.approx(recurrences / 12)


def test_follow_up_makes_the_matured_share_exact() -> None:
    # The second came back at once, but would not have been watched for the whole window.
    gap, back = [2.0, 1.0, 50.0], [True, True, False]
    leaning = recurrence_rate(gap, back, [1, 2, 3], window=30.0)
    exact = recurrence_rate(gap, back, [1, 2, 3], window=30.0, follow_up=[99.0, 5.0, 50.0])
    assert (leaning.matured, exact.matured) == (3, 2)
    assert leaning.matured_share == pytest.approx(2 / 3)
    assert exact.matured_share == pytest.approx(1 / 2)
    assert exact.rate == leaning.rate


@pytest.mark.parametrize(
    ("arrays", "options", "words"),
    [
        (([-1.0], [True], [1]), {"window": 30.0}, r"-1\.0"),
        (([1.0], [True, False], [1]), {"window": 30.0}, "1, 2, 1"),
        (([1.0], [2], [1]), {"window": 30.0}, r"True or False, got 2\.0"),
        (([np.nan], [True], [1]), {"window": 30.0}, "gap must be finite"),
        (([1.0], [True], [1]), {"window": 0.0}, r"above 0, got 0\.0"),
        (([1.0], [True], [1]), {"window": math.inf}, "inf"),
        (([1.0], [True], [1]), {"window": 30.0, "level": 2.0}, r"2\.0"),
        (([5.0], [True], [1]), {"window": 30.0, "follow_up": [2.0]}, r"follow_up of 2\.0"),
        (([5.0], [True], [1]), {"window": 30.0, "follow_up": [9.0, 9.0]}, "per gap"),
    ],
)
def test_unfit_arrays_are_refused(arrays: Any, options: dict[str, Any], words: str) -> None:
    with pytest.raises(EstimateError, match=words):
        recurrence_rate(*arrays, **options)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 60), st.sampled_from([0.125, 24.0]))
def test_order_labels_and_unit_of_time_change_nothing(
    seed: int, closings: int, factor: float
) -> None:
    gap, back, cluster = simulated(seed, closings)
    order = np.random.default_rng(seed).permutation(closings)
    labels = np.char.add("locomotive ", cluster.astype(str))
    plain = recurrence_rate(gap, back, cluster, window=30.0)
    other = recurrence_rate(gap[order] * factor, back[order], labels[order], window=30.0 * factor)
    same = dataclasses.astuple(dataclasses.replace(other, window=30.0))
    for before, after in zip(dataclasses.astuple(plain), same, strict=True):
        assert after == (
            pytest.approx(before, nan_ok=True) if isinstance(before, float) else before
        )
    if not math.isnan(plain.rate):
        assert 0 <= plain.lower <= plain.rate <= plain.upper <= 1
