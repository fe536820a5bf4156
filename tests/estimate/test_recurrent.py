"""Mean cumulative functions: hand examples, a count by the definition, what must not change."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.recurrent import (
    NO_EVENTS,
    ONE_CLUSTER,
    CumulativeCurve,
    mean_cumulative,
    mean_cumulative_difference,
)


def whole(ends: list[float], events: list[list[float]], **options: Any) -> CumulativeCurve:
    """Return the curve of units each seen from age 0 to its end."""
    ages = [age for own in events for age in own]
    unit = [place for place, own in enumerate(events) for _ in own]
    return mean_cumulative(ages, unit, np.zeros(len(ends)), ends, np.arange(len(ends)), **options)


def test_three_locomotives_by_hand() -> None:
    # Ends 12, 10, 6; failures at 5 and 8 / at 8 / none. At 5: 1 of 3; at 8: 2 of 2.
    found = whole([12.0, 10.0, 6.0], [[5.0, 8.0], [8.0], []])
    assert found.age.tolist() == [0.0, 5.0, 8.0]
    assert found.at_risk.tolist() == [3, 3, 2]
    assert found.events.tolist() == [0, 1, 2]
    np.testing.assert_allclose(found.mcf, [0, 1 / 3, 4 / 3])
    # Residuals at 5: 2/9, -1/9, -1/9; at 8 nothing is added, each of two failed once. Sum of
    # squares 6/81, times 3/2.
    np.testing.assert_allclose(found.variance, [0, 1 / 9, 1 / 9])
    assert (found.units, found.clusters, found.left_out) == (3, 3, 0)
    assert found.observed_until == 12.0


# Identity: all units seen over the same ages: the mean count and its usual standard error.
def test_complete_observation_gives_mean_count_and_its_standard_error() -> None:
    random = np.random.default_rng(1)
    counts = random.poisson(random.gamma(2.0, 3.0, 25))
    events = [random.uniform(0, 100, count).tolist() for count in counts]
    found = whole([100.0] * 25, events)
    assert found.mcf[-1] == pytest.approx(counts.mean())
    assert found.variance[-1] == pytest.approx(counts.var(ddof=1) / 25)
    reach = stats.t.ppf(0.95, 24) * math.sqrt(found.variance[-1]) / found.mcf[-1]
    assert found.lower[-1] == pytest.approx(found.mcf[-1] * math.exp(-reach))
    assert found.upper[-1] == pytest.approx(found.mcf[-1] * math.exp(reach))


def test_at_risk_from_after_the_entry_until_the_exit() -> None:
    # Unit 0 seen over (0, 4] and (10, 20], unit 1 over (4, 20].
    ages, unit = [4.0, 10.0, 4.0, 20.0, 7.0], [0, 0, 1, 1, 0]
    found = mean_cumulative(ages, unit, [0.0, 10.0, 4.0], [4.0, 20.0, 20.0], [0, 0, 1])
    # 4: unit 0 leaves after it, unit 1's first window holds its own entry. 10: unit 0 returns only
    # after it, its failures at 10 and at 7 happened unobserved. 20: both.
    assert found.age.tolist() == [0.0, 4.0, 20.0]
    assert found.at_risk.tolist() == [1, 2, 2]
    assert found.events.tolist() == [0, 2, 1]
    assert found.left_out == 2
    np.testing.assert_allclose(found.mcf, [0.0, 1.0, 1.5])


def test_an_event_at_age_zero_counts_in_the_first_row() -> None:
    found = whole([10.0, 10.0], [[0.0], [5.0]])
    assert found.age.tolist() == [0.0, 5.0]
    np.testing.assert_allclose(found.mcf, [0.5, 1.0])
    assert found.events.tolist() == [1, 1]


def test_a_curve_per_position_counts_positions_at_risk() -> None:
    # Two locomotives of 6 and 4 positions, seen alike: the same as ten positions in two clusters.
    ages, unit = [3.0, 5.0, 5.0, 9.0], [0, 0, 1, 1]
    found = mean_cumulative(ages, unit, [0, 0], [10, 8], [0, 1], multiplicity=[6, 4])
    ends, cluster = [10.0] * 6 + [8.0] * 4, [0] * 6 + [1] * 4
    events: list[list[float]] = [[3.0], [5.0], [], [], [], [], [5.0], [9.0], [], []]
    other = whole(ends, events, cluster=cluster)
    assert found.at_risk.tolist() == [10, 10, 10]
    assert found.left_out == other.left_out == 1
    for field in ("age", "mcf", "variance", "lower", "upper", "at_risk", "events"):
        np.testing.assert_allclose(getattr(found, field), getattr(other, field))


def by_definition(
    events: tuple[Any, Any], windows: tuple[Any, Any, Any], cluster: Any, weight: Any
) -> list[NDArray[Any]]:
    """Count age by age and unit by unit (Lawless & Nadeau 1995)."""
    ages, units = np.unique(events[0]), len(cluster)
    risk, count = np.zeros((units, ages.size)), np.zeros((units, ages.size))
    earliest = {unit: min(windows[0][windows[2] == unit]) for unit in set(windows[2])}
    for entry, exit, unit in zip(*windows, strict=True):
        seen = (ages > entry) & (ages <= exit) | (ages == entry) & (entry == earliest[unit])
        risk[unit, seen] = weight[unit]
    for age, unit in zip(*events, strict=True):
        at = np.searchsorted(ages, age)
        count[unit, at] += risk[unit, at] > 0
    kept = count.sum(axis=0) > 0
    risk, count = risk[:, kept], count[:, kept]
    total, failed = risk.sum(axis=0), count.sum(axis=0)
    residual = np.cumsum((count - risk * failed / total) / total, axis=1)
    labels = np.unique(cluster[list(earliest)])
    squares = sum(residual[cluster == label].sum(axis=0) ** 2 for label in labels)
    variance = squares * labels.size / (labels.size - 1)
    return [ages[kept], np.cumsum(failed / total), variance, total, failed]


@pytest.mark.parametrize("seed", range(40))
def test_any_windows_agree_with_a_count_by_the_definition(seed: int) -> None:
    random = np.random.default_rng(seed)
    units = int(random.integers(3, 8))
    rows = []
    for unit in range(units):
        cuts = np.sort(random.integers(0, 20, 2 * random.integers(1, 4)))
        rows += [(cuts[k], cuts[k + 1], unit) for k in range(0, cuts.size, 2)]
    entry, exit, owner = (np.array(column) for column in zip(*rows, strict=True))
    windows = entry, exit, owner
    events = random.integers(0, 21, 25).astype(float), random.integers(0, units, 25)
    cluster, weight = np.arange(units) % 3, random.integers(1, 4, units)
    found = mean_cumulative(*events, *windows, cluster=cluster, multiplicity=weight)
    expected = by_definition(events, windows, cluster, weight)
    skip = found.age.size - expected[0].size
    fields = ("age", "mcf", "variance", "at_risk", "events")
    for field, values in zip(fields, expected, strict=True):
        np.testing.assert_allclose(getattr(found, field)[skip:], values, atol=1e-12)
    assert found.left_out == 25 - expected[4].sum()


def test_no_events_give_one_row_and_say_so() -> None:
    found = mean_cumulative([], [], [0.0, 5.0], [9.0, 9.0], [0, 1])
    assert (found.age.tolist(), found.mcf.tolist(), found.at_risk.tolist()) == ([0], [0], [1])
    assert found.note == NO_EVENTS


def test_no_windows_give_one_row_and_say_so() -> None:
    found = mean_cumulative([3.0], [0], [], [], [])
    assert found.note == NO_EVENTS
    assert found.left_out == 1
    assert math.isnan(found.observed_until)


def test_one_cluster_has_no_bounds_and_says_so() -> None:
    found = whole([10.0, 10.0], [[2.0], [4.0]], cluster=[5, 5])
    assert found.note == ONE_CLUSTER
    assert found.mcf.tolist() == [0.0, 0.5, 1.0]
    assert np.isnan(found.lower).tolist() == [False, True, True]


def test_bounds_hold_the_curve_and_stay_above_zero() -> None:
    found = whole([10.0] * 3, [[1.0, 2.0, 3.0], [9.0], []], level=0.999)
    rises = found.mcf > 0
    assert np.all(found.lower[rises] > 0)
    assert np.all(found.lower <= found.mcf)
    assert not np.isinf(found.upper).any()
    assert np.all(np.isnan(found.upper) | (found.upper >= found.mcf))


@pytest.mark.parametrize(
    ("windows", "events", "options", "words"),
    [
        (([0.0], [-1.0], [0]), ([], []), {}, r"from 0\.0 to -1\.0"),
        (([-2.0], [1.0], [0]), ([], []), {}, r"from -2\.0"),
        (([0.0, 1.0], [5.0, 6.0], [0, 0]), ([], []), {}, "Windows of unit 0 overlap"),
        (([0.0], [1.0, 2.0], [0]), ([], []), {}, "Windows differ"),
        (([0.0], [1.0], [0]), ([0.5], []), {}, "One unit per event"),
        (([0.0], [1.0], [0]), ([0.5], [-1]), {}, "event_unit must lie"),
        (([0.0], [1.0], [0]), ([np.nan], [0]), {}, "event_age must be finite"),
        (([0.0], [1.0], [0]), ([], []), {"multiplicity": [0]}, r"got \[0\.0\]"),
        (([0.0], [1.0], [1]), ([], []), {"cluster": ["a"]}, "window_unit must lie"),
        (([0.0], [1.0], [0]), ([], []), {"cluster": ["a", "b"], "multiplicity": [1]}, "per unit"),
    ],
)
def test_unfit_arrays_are_refused(
    windows: Any, events: Any, options: dict[str, Any], words: str
) -> None:
    with pytest.raises(EstimateError, match=words):
        mean_cumulative(*events, *windows, **options)


def simulated(seed: int, units: int = 8) -> tuple[Any, Any, Any, Any]:
    random = np.random.default_rng(seed)
    entry = np.where(random.random(units) < 0.5, 0.0, random.uniform(0, 40, units))
    exit = entry + random.uniform(10, 90, units)
    unit = np.repeat(np.arange(units), random.poisson(3.0, units))
    return random.uniform(entry[unit], exit[unit]), unit, entry, exit


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.01, 24.0, 1e5]))
def test_order_and_unit_of_the_clock_only_scale_the_ages(seed: int, factor: float) -> None:
    ages, unit, entry, exit = simulated(seed)
    order = np.random.default_rng(seed).permutation(ages.size)
    back = np.random.default_rng(seed + 1).permutation(8)
    plain = mean_cumulative(ages, unit, entry, exit, np.arange(8))
    other = mean_cumulative(
        ages[order] * factor, unit[order], entry[back] * factor, exit[back] * factor, back
    )
    np.testing.assert_allclose(other.age, plain.age * factor)
    for field in ("mcf", "lower", "upper", "at_risk", "events"):
        np.testing.assert_allclose(getattr(other, field), getattr(plain, field), rtol=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 7), st.floats(0.0, 1.0))
def test_splitting_a_window_changes_nothing(seed: int, which: int, share: float) -> None:
    ages, unit, entry, exit = simulated(seed)
    cut = entry[which] + share * (exit[which] - entry[which])
    plain = mean_cumulative(ages, unit, entry, exit, np.arange(8))
    split = mean_cumulative(
        ages,
        unit,
        np.append(entry, cut),
        np.append(np.where(np.arange(8) == which, cut, exit), exit[which]),
        np.append(np.arange(8), which),
    )
    for before, after in zip(dataclasses.astuple(plain), dataclasses.astuple(split), strict=True):
        np.testing.assert_allclose(after, before) if not isinstance(before, str) else None


def test_difference_by_hand() -> None:
    first = whole([10.0] * 3, [[2.0], [4.0], []])
    second = whole([8.0] * 2, [[4.0], [4.0, 6.0]])
    found = mean_cumulative_difference(first, second)
    assert found.age.tolist() == [0.0, 2.0, 4.0, 6.0]
    np.testing.assert_allclose(found.difference, [0, 1 / 3, 2 / 3 - 1, 2 / 3 - 1.5])
    variance = counts_variance([1, 1, 0]) / 3 + counts_variance([1, 2]) / 2
    assert found.se[-1] == pytest.approx(math.sqrt(variance))


def counts_variance(counts: list[int]) -> float:
    return float(np.var(counts, ddof=1))


# Other software: with complete observation the difference at the end is Welch's t interval.
def test_difference_agrees_with_scipys_welch_interval() -> None:
    random = np.random.default_rng(7)
    groups = []
    for size, rate in ((12, 3.0), (20, 5.0)):
        events = [random.uniform(0, 50, k).tolist() for k in random.poisson(rate, size)]
        groups.append(([len(own) for own in events], whole([50.0] * size, events)))
    found = mean_cumulative_difference(groups[0][1], groups[1][1], level=0.95)
    welch = stats.ttest_ind(groups[0][0], groups[1][0], equal_var=False).confidence_interval(0.95)
    assert (found.lower[-1], found.upper[-1]) == pytest.approx((welch.low, welch.high))
    other = mean_cumulative_difference(groups[1][1], groups[0][1], level=0.95)
    np.testing.assert_allclose(other.lower, -found.upper)


def test_difference_stops_where_observation_of_one_group_stops() -> None:
    found = mean_cumulative_difference(
        whole([5.0, 5.0], [[1.0], []]), whole([9.0, 9.0], [[7.0], []])
    )
    assert found.age.tolist() == [0.0, 1.0]


def test_difference_without_bounds_where_a_group_has_one_cluster() -> None:
    found = mean_cumulative_difference(whole([5.0], [[1.0]]), whole([9.0, 9.0], [[2.0], []]))
    assert np.isnan(found.upper).all()
    assert found.difference.tolist() == [0.0, 1.0, 0.5]


def test_two_hundred_thousand_events_stay_within_seconds_and_memory() -> None:
    random = np.random.default_rng(0)
    unit = random.integers(0, 2_000, 200_000)
    ages = random.uniform(0.0, 1e4, 200_000)
    found = mean_cumulative(ages, unit, np.zeros(2_000), np.full(2_000, 1e4), np.arange(2_000))
    counts = np.bincount(unit, minlength=2_000)
    assert found.mcf[-1] == pytest.approx(100.0)
    assert found.variance[-1] == pytest.approx(counts.var(ddof=1) / 2_000, rel=1e-6)


def test_a_stretch_watched_on_one_unit_alone_is_not_taken_for_certain() -> None:
    # Six units to age 10, one of them alone from 10 to 20 with four events there: the residuals
    # of that stretch are 0, so its Poisson variance (4 x 1) must widen the bounds (by hand).
    exit = np.array([20.0, 10.0, 10.0, 10.0, 10.0, 10.0])
    curve = mean_cumulative(
        [2.0, 4.0, 6.0, 11.0, 13.0, 15.0, 17.0], [1, 2, 3, 0, 0, 0, 0], np.zeros(6), exit, range(6)
    )
    assert curve.variance[-1] == pytest.approx(curve.variance[3])
    reach = np.log(curve.upper[-1] / curve.mcf[-1])
    student = stats.t.ppf(0.95, 5)
    expected = student * np.sqrt(curve.variance[-1] + 4.0) / curve.mcf[-1]
    assert reach == pytest.approx(expected)
