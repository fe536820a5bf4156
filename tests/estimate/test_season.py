"""A season told from counts by calendar month. Oracles: closed forms, simulation of known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.season import FEWEST_EVENTS, month_factors

WINTER = 1 + 0.5 * np.cos(2 * np.pi * np.arange(12) / 12)  # highest in January


def one(events: np.ndarray, exposure: np.ndarray | None = None) -> tuple[bool, float, np.ndarray]:
    """Ask of one kind and one group; events of shape (years, 12)."""
    times = np.ones(events.shape) if exposure is None else exposure
    found = month_factors(events[None, None], times[None])
    return bool(found.shown[0]), float(found.p[0]), found.factor[0]


# Mardia & Jupp (2000), Directional Statistics, 6.3.1: with equal exposure the quadratic form is
# Rayleigh's 2 R^2 / n. Two equal years leave a dispersion of 1 and 11 degrees of freedom.
def test_test_is_rayleighs_where_exposure_is_even() -> None:
    year = np.array([9.0, 7, 5, 3, 2, 1, 2, 3, 4, 5, 6, 8])
    angle = 2 * np.pi * np.arange(12) / 12
    total = 2 * year.sum()
    resultant = (2 * year @ np.cos(angle)) ** 2 + (2 * year @ np.sin(angle)) ** 2
    shown, p, factor = one(np.stack([year, year]))
    assert p == pytest.approx(stats.f.sf(2 * resultant / total / 2, 2, 11))
    assert shown
    assert factor[0] > 1 > factor[6]
    assert factor.mean() == pytest.approx(1.0)  # even exposure


def test_what_ran_more_or_grew_from_year_to_year_is_no_season() -> None:
    # counts in proportion to exposure, which is 3 times as great in winter and in the second year
    times = np.outer([1.0, 3.0], 2 + np.cos(2 * np.pi * np.arange(12) / 12))
    shown, p, factor = one(20 * times, times)
    assert (shown, p) == (False, pytest.approx(1.0))
    assert (factor == 1).all()


def test_two_groups_that_take_turns_are_no_season() -> None:
    # one fails 4 times as often and runs in winter alone, the other in summer alone
    winter = np.array([1.0] * 3 + [0] * 6 + [1] * 3)
    times = np.stack([np.tile(winter, (2, 1)), np.tile(1 - winter, (2, 1))])
    events = times * np.array([40.0, 10.0])[:, None, None]
    found = month_factors(events[None], times)
    assert not found.shown[0]


def test_many_failures_bring_the_mean_of_three_months() -> None:
    events = np.tile(1e7 * WINTER, (2, 1))
    _, _, factor = one(events)
    near = (np.roll(WINTER, 1) + WINTER + np.roll(WINTER, -1)) / 3
    assert factor == pytest.approx(near, rel=1e-4)


@pytest.mark.parametrize("events", [
    np.tile(WINTER, (1, 1)) * 100,  # one year
    np.tile(WINTER, (2, 1)) * (FEWEST_EVENTS - 1) / 24,  # too few
    np.zeros((3, 12)),
])  # fmt: skip
def test_short_or_rare_tells_no_season(events: np.ndarray) -> None:
    shown, _, factor = one(events)
    assert not shown
    assert (factor == 1).all()


# Known truth, drawn: of 0.05 at most are told by chance, with counts as uneven as chance and twice
# as uneven; a swing of a half is found and met.
@pytest.mark.parametrize("uneven", [False, True])
def test_false_seasons_are_rare_and_true_ones_met(uneven: bool) -> None:
    rng, runs, years, number = np.random.default_rng(5), 1500, 3, 200
    times = rng.uniform(0.5, 1.5, (2, years, 12))
    mean = np.broadcast_to(times / times.sum() * number, (runs, 2, years, 12))
    if uneven:
        each = number / times.size
        mean = mean * rng.gamma(each, 1 / each, mean.shape)
    assert month_factors(rng.poisson(mean), times).shown.mean() <= 0.07
    found = month_factors(rng.poisson(mean * WINTER), times)
    assert found.shown.mean() >= 0.80
    met = found.factor[found.shown].mean(axis=0)
    assert met[[0, 6]] == pytest.approx([1.5, 0.5], abs=0.15)


def test_broken_counts_are_refused() -> None:
    with pytest.raises(EstimateError, match="12 months"):
        month_factors(np.zeros((1, 1, 2, 11)), np.zeros((1, 2, 11)))
    with pytest.raises(EstimateError, match="shape"):
        month_factors(np.zeros((1, 1, 2, 12)), np.zeros((2, 2, 12)))
    with pytest.raises(EstimateError, match="0 or more"):
        month_factors(np.full((1, 1, 2, 12), -1.0), np.ones((1, 2, 12)))
