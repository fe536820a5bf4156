"""Cumulative sums of weekly counts: by hand, what must not change, false alarms by simulation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analytics.errors import EstimateError
from analytics.estimate.baseline import WeeklySums, baseline_of
from analytics.estimate.cusum import LONGEST, Watch, watch_counts
from analytics.estimate.run_length import DOUBLING
from data_demo.bench.honesty_warnings import run

MONTH = (np.arange(600) * 7 / 30.4375).astype(int) % 12 + 1


def watch(counts: Any, exposure: Any = None, rate: float = 1 / 800) -> Watch:
    table = np.atleast_2d(np.asarray(counts, dtype=float))
    running = np.ones_like(table) if exposure is None else np.atleast_2d(exposure)
    return watch_counts(table, running, MONTH[: table.shape[1]], false_alarms_a_week=rate)


def steady(weeks: int, every: int = 2) -> NDArray[np.float64]:
    """One event in each second week."""
    return np.where(np.arange(weeks) % every == 0, 1.0, 0.0)


def test_sum_follows_the_formula_from_the_last_zero() -> None:
    """By hand: S = max(0, S + x - k), k = m / ln 2, m of the baseline before the last zero."""
    counts = steady(160)
    counts[150:] = 3
    found = watch(counts)
    # 104 weeks with 52 events: 0.5 a week; in force since the last zero
    zero = int(np.flatnonzero(found.s[0, :150] == 0)[-1])
    k = 0.5 / DOUBLING
    for week in range(zero + 1, 160):
        before = found.s[0, week - 1]
        assert found.s[0, week] == pytest.approx(max(0.0, before + counts[week] - k))
        assert found.expected[0, week] == pytest.approx(0.5)
    assert found.left_zero[0, -1] == zero + 1
    alarmed = int(np.flatnonzero(found.s[0] >= found.h[0])[0])
    assert found.alarmed[0, -1] == alarmed
    assert found.alarm[0].tolist() == [week >= alarmed for week in range(160)]


def test_baseline_is_104_weeks_ending_8_before_the_zero() -> None:
    counts = np.arange(200.0)[None, :]  # each week has a value of its own
    found = baseline_of(WeeklySums.of(counts, np.ones((1, 200)), MONTH[:200]), [150])
    assert found.weeks[0] == 104
    assert found.events[0] == counts[0, 150 - 8 - 103 : 150 - 8 + 1].sum()


@pytest.mark.parametrize(("weeks", "runs"), [(33, False), (34, False), (35, True)])
def test_no_chart_before_26_weeks_and_8_more(weeks: int, runs: bool) -> None:
    """The 26th week of the baseline is index 25, the zero 8 weeks later the week before."""
    assert bool(np.isfinite(watch(np.ones(weeks)).h[0, -1])) is runs


def test_no_chart_below_5_events() -> None:
    counts = np.zeros(150)
    counts[[60, 70, 80, 90]] = 1
    assert np.isnan(watch(counts).h[0, -1])
    counts[100] = 1
    assert np.isfinite(watch(counts).h[0, -1])


def test_baseline_stands_still_above_zero_and_alarm_closes_when_the_rate_is_back() -> None:
    counts = steady(320)
    counts[150:170] = 3
    found = watch(counts)
    inside = np.flatnonzero(found.alarm[0])
    assert np.unique(found.h[0, inside]).size == 1
    assert np.unique(found.expected[0, inside]).size == 1
    closed = inside[-1] + 1
    assert closed > 170
    # it closes in the week that takes it h below its highest
    assert found.s[0, inside].max() - found.s[0, inside[-1]] < found.h[0, inside[0]]
    assert found.s[0, closed] == 0
    assert not found.alarm[0, closed:].any()


def test_lasting_change_is_taken_as_usual_after_112_weeks() -> None:
    counts = np.concatenate([steady(150), np.full(200, 3.0)])
    found = watch(counts)
    assert found.alarm[0].sum() == LONGEST == 112
    assert found.expected[0, -1] == pytest.approx(3.0)


def test_many_charts_at_once_equal_each_alone() -> None:
    random = np.random.default_rng(3)
    counts = random.poisson(np.array([[0.2], [1.0], [4.0]]), (3, 260))
    exposure = random.uniform(0.5, 1.5, counts.shape)
    together = watch(counts, exposure, rate=3 / 500)
    for row in range(3):
        alone = watch(counts[row], exposure[row], rate=1 / 500)
        for name in ("s", "h", "expected", "alarmed"):
            np.testing.assert_allclose(getattr(together, name)[row], getattr(alone, name)[0])


def test_unit_of_exposure_changes_nothing() -> None:
    random = np.random.default_rng(4)
    counts, days = random.poisson(1.0, 260), random.uniform(100, 200, 260)
    np.testing.assert_allclose(watch(counts, days).s, watch(counts, 24 * days).s)


def test_weeks_without_exposure_move_nothing() -> None:
    counts, exposure = steady(200), np.ones(200)
    counts[160:170] = exposure[160:170] = 0
    found = watch(counts, exposure)
    assert np.all(found.s[0, 160:170] == found.s[0, 159])


def test_season_is_compared_with_the_same_months() -> None:
    """Five times as many in winter as in summer, every year alike, on 20 charts.

    7 false alarms are due (20 x 287 weeks at one in 800); compared with the year's mean each winter
    of each chart would give one, about 110.
    """
    swing = 1 + 0.65 * np.cos(2 * np.pi * np.arange(400) / 52.18)
    counts = np.random.default_rng(6).poisson(3 * swing, (20, 400))
    found = watch(counts, rate=20 / 800)
    assert found.baseline.seasonal.all()
    begun = found.alarmed[:, 113:] == np.arange(113, 400)
    assert begun.sum() <= 7 + 3 * np.sqrt(7)
    assert found.baseline.factor[:, 0].mean() == pytest.approx(1.65, abs=0.15)
    assert found.baseline.factor[:, 6].mean() == pytest.approx(0.35, abs=0.15)


def test_bursts_are_seen_and_widen_the_limit() -> None:
    """30 charts each; variance over mean 1 and 3, of which 104 weeks tell with 14 % error each."""
    random = np.random.default_rng(7)
    even = watch(random.poisson(2.0, (30, 200)), rate=30 / 800)
    bursts = watch(random.negative_binomial(1.0, 1 / 3, (30, 200)), rate=30 / 800)
    assert np.mean(even.baseline.dispersion == 1) > 0.85
    assert np.mean(bursts.baseline.dispersion) == pytest.approx(3.0, abs=0.8)
    assert np.nanmedian(bursts.h[:, -1]) > 1.5 * np.nanmedian(even.h[:, -1])


def test_doubled_rate_is_found_soon() -> None:
    """At a mean of 2 a week a doubling, 200 times over: a median delay of some weeks."""
    random = np.random.default_rng(8)
    mean = np.where(np.arange(200) < 150, 2.0, 4.0)
    found = watch(random.poisson(mean, (200, 200)), rate=200 / 800)
    sound = found.alarmed[:, 149] < 0
    after = found.alarm[sound, 150:]
    assert after.any(axis=1).mean() > 0.98
    assert np.median(after.argmax(axis=1)) <= 8


def test_nothing_at_all_and_nonsense() -> None:
    none = watch(np.zeros((3, 0)), np.zeros((3, 0)))
    assert none.charts == 0
    assert np.isnan(watch(np.zeros(200)).h).all()
    assert np.isnan(watch(np.ones(200), np.zeros(200)).h).all()
    for counts, exposure in (([[-1.0]], [[1.0]]), ([[1.0]], [[np.nan]])):
        with pytest.raises(EstimateError, match="0 or more"):
            watch(counts, exposure)
    with pytest.raises(EstimateError, match="tables of charts by weeks"):
        watch(np.ones((2, 5)), np.ones((2, 4)))
    with pytest.raises(EstimateError, match="1 to 12"):
        watch_counts([[1.0]], [[1.0]], [13], false_alarms_a_week=1.0)
    with pytest.raises(EstimateError, match="must be above 0"):
        watch(np.ones(5), rate=0.0)


@pytest.mark.campaign
def test_false_alarms_keep_their_setting() -> None:
    """Charts without a change: 0.75 to 1.33 of the setting (METHODS section 7)."""
    found = run(runs=500, seed=11)
    promised = [cell for cell in found["cells"] if cell["promised"]]
    assert len(promised) == 5
    # 128 false alarms are due in a cell: two standard errors are 18 % of it
    assert all(0.75 - 0.18 <= cell["share"] <= 1.33 + 0.18 for cell in promised), promised
    assert 0.75 <= found["pooled"] <= 1.33
