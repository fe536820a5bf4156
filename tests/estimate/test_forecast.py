"""Chance of a defect and expected failures over a horizon; bounds of counts.

Oracles: closed form by hand; scipy's Poisson law as the limit of the gamma-Poisson; simulation.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.forecast import count_bounds, dispersion, forecast
from analytics.estimate.intensity import cumulative_intensity, fit_intensities
from analytics.estimate.risk_intervals import RiskIntervals
from analytics.estimate.shrinkage import shrunk_ratios


def test_chance_and_expected_of_a_case_worked_by_hand() -> None:
    # H(a) = (a / 1000)^2: from 500 h on, over 300 h, H(800) - H(500) = 0.64 - 0.25 = 0.39; the
    # locomotive fails 1.5 times as often: 0.585 expected, chance 1 - e^-0.585 = 0.442894
    found = forecast([0.39], [1.5], [5])
    assert found.expected == pytest.approx([0.585])
    assert found.chance == pytest.approx([0.442894], abs=1e-6)


def test_no_use_means_no_chance_and_few_failures_no_percentage() -> None:
    found = forecast([0.0, 0.2, np.nan], [1.0, 1.0, 1.0], [9, 4, 9])
    assert found.chance[0] == 0.0
    assert np.isnan(found.chance[1:]).all()
    assert found.expected[:2] == pytest.approx([0.0, 0.2])
    assert np.isnan(found.expected[2])


def test_chance_never_leaves_0_to_1() -> None:
    found = forecast([1e-12, 1e6], [1.0, 3.0], [5, 5])
    assert found.chance == pytest.approx([1e-12, 1.0], rel=1e-6)


def test_unequal_lengths_and_negative_numbers_are_refused() -> None:
    with pytest.raises(EstimateError, match="differ in length"):
        forecast([0.1, 0.2], [1.0], [5])
    with pytest.raises(EstimateError, match="index 1"):
        forecast([0.1, -0.2], [1.0, 1.0], [5, 5])


def test_count_bounds_are_poisson_where_the_ratio_is_known() -> None:
    # limit: no spread of rho; 5 % and 95 % points of a Poisson law of mean 6 by scipy
    low, high = count_bounds([4.0], [1.5], [0.0], level=0.90)
    assert (low[0], high[0]) == tuple(stats.poisson.ppf([0.05, 0.95], 6.0))


def test_count_bounds_of_nothing_expected_are_nothing() -> None:
    low, high = count_bounds([0.0, np.nan], [1.0, 1.0], [0.1, 0.1])
    assert (low[0], high[0]) == (0.0, 0.0)
    assert np.isnan([low[1], high[1]]).all()


def test_bounds_hold_for_a_large_ratio_that_is_not_sure() -> None:
    # closed form: gamma of mean 1 and sd 1 mixes a Poisson law of mean m to a geometric one,
    # P(N > n) = (m / (1 + m))^(n + 1); m = 9: below 0.05 from n = 28 on (0.9^29 = 0.0471)
    _, high = count_bounds([9.0], [1.0], [1.0], level=0.90)
    assert high[0] == 28


def test_bunches_spread_the_bounds_as_far_as_the_counts_did() -> None:
    # by hand: unit a 0 and 4 (mean 2, squares 8), unit b 1 and 1 (mean 1, squares 0): 8 / (2 + 1)
    assert dispersion([0, 4, 1, 1], ["a", "a", "b", "b"]) == pytest.approx(8 / 3)
    assert dispersion([1, 1, 1], ["a", "a", "a"]) == 1.0
    assert dispersion([], []) == dispersion([5], ["a"]) == dispersion([0, 0], ["a", "a"]) == 1.0
    # scipy's negative binomial of mean 6 and variance 2.5 x 6 = 15: n = 36 / 9, p = 6 / 15
    low, high = count_bounds([4.0], [1.5], [0.0], spread=2.5)
    assert (low[0], high[0]) == tuple(stats.nbinom.ppf([0.05, 0.95], 4.0, 0.4))


@pytest.mark.campaign
def test_chances_come_true_on_records_drawn_from_the_model() -> None:
    """Recovery: 40 fleets, power-law intensity of shape 2, locomotives apart by CV 0.4.

    Observed share against the mean chance, in thirds; tolerance 4 standard errors of a share.
    """
    rng = np.random.default_rng(7)
    told, came, inside = [], [], []
    for _ in range(40):
        locomotives, places, years, ahead = 30, 6, 5.0, 0.25
        rho = rng.gamma(1 / 0.16, 0.16, locomotives)
        unit = np.repeat(np.arange(locomotives), places)
        start = rng.uniform(0, 4, unit.size)
        stop = start + years
        due = 0.04 * (stop**2 - start**2)
        number = rng.poisson(due * rho[unit])
        # ages of the failures: H is quadratic, so their squares are uniform
        of = np.repeat(np.arange(unit.size), number)
        age = np.sqrt(rng.uniform(start[of] ** 2, stop[of] ** 2))
        data = RiskIntervals.of(*_pieces(start, stop, of, age), group=None)
        fits = fit_intensities(data, bounds=False)
        zero = np.zeros(unit.size, dtype=np.int64)
        usual = [cumulative_intensity(fits, zero, x) for x in (start, stop, stop + ahead)]
        past = np.bincount(unit, usual[1] - usual[0])
        ratio = shrunk_ratios(np.bincount(unit, number), past)
        ahead_of = usual[2] - usual[1]
        found = forecast(ahead_of, ratio.ratio[unit], np.full(unit.size, number.sum()))
        true = rng.poisson(0.04 * ((stop + ahead) ** 2 - stop**2) * rho[unit])
        told.append(found.chance)
        came.append(true > 0)
        low, high = count_bounds(np.bincount(unit, ahead_of), ratio.ratio, ratio.sd)
        count = np.bincount(unit, true)
        inside.append((count >= low) & (count <= high))
    chance, happened = np.concatenate(told), np.concatenate(came)
    for part in np.array_split(np.argsort(chance), 3):
        error = np.sqrt(chance[part].mean() / part.size)
        assert abs(happened[part].mean() - chance[part].mean()) < 4 * error
    # discrete bounds hold at least their level; less three standard errors of 1,200 counts
    assert np.mean(np.concatenate(inside)) > 0.90 - 3 * np.sqrt(0.09 / 1200)


def _pieces(
    start: np.ndarray, stop: np.ndarray, of: np.ndarray, age: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cut the stretches of the positions at their failures."""
    position = np.concatenate([of, np.arange(start.size)])
    end = np.concatenate([age, stop])
    event = np.concatenate([np.ones(of.size), np.zeros(start.size)])
    order = np.lexsort((end, position))
    position, end, event = position[order], end[order], event[order]
    first = np.r_[True, np.diff(position) > 0]
    begin = np.where(first, start[position], np.r_[0.0, end[:-1]])
    return begin, end, event
