"""The laws of the lives and the clocks, against closed forms and scipy's own distributions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from data_demo.arrays import DAY
from data_demo.clocks import Clocks
from data_demo.laws import LifeLaw
from data_demo.lifetimes import age_at_hazard, cumulative_hazard, lognormal_of, settled_age

SHAPES = np.array([0.8, 1.0, 1.7, 3.2])
SCALES = np.array([400.0, 9_000.0, 15_000.0, 120_000.0])


def test_hazard_weibull_is_that_of_scipy():
    ages = SCALES * np.array([0.01, 0.4, 1.0, 2.3])
    expected = -stats.weibull_min.logsf(ages, SHAPES, scale=SCALES)
    np.testing.assert_allclose(cumulative_hazard("weibull", ages, SHAPES, SCALES), expected)


def test_hazard_lognormal_is_that_of_scipy():
    ages = SCALES * np.array([0.05, 0.4, 1.0, 2.3])
    mu, sigma = lognormal_of(SHAPES, SCALES)
    expected = -stats.lognorm.logsf(ages, sigma, scale=np.exp(mu))
    np.testing.assert_allclose(cumulative_hazard("lognormal", ages, SHAPES, SCALES), expected)


def test_lognormal_keeps_mean_and_variance_of_the_weibull():
    mu, sigma = lognormal_of(SHAPES, SCALES)
    lognormal = stats.lognorm(sigma, scale=np.exp(mu))
    weibull = stats.weibull_min(SHAPES, scale=SCALES)
    np.testing.assert_allclose(lognormal.mean(), weibull.mean())
    np.testing.assert_allclose(lognormal.std(), weibull.std())


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
@given(shape=st.floats(0.7, 4), scale=st.floats(50, 1e6), part=st.floats(0.05, 4))
def test_age_at_hazard_undoes_cumulative_hazard(law, shape, scale, part):
    shapes, scales, age = np.array([shape]), np.array([scale]), np.array([part * scale])
    hazard = cumulative_hazard(law, age, shapes, scales)
    np.testing.assert_allclose(age_at_hazard(law, hazard, shapes, scales), age, rtol=1e-7)


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
@pytest.mark.parametrize("shape", [1.0, 2.5])
def test_settled_age_has_the_mean_of_renewal_theory(law, shape):
    # mean age long after the start is E[L^2] / (2 E[L]) (Cox 1962, Renewal Theory, section 5.3)
    size, scale = 200_000, 1000.0
    rng = np.random.default_rng(3)
    ages = settled_age(law, np.full(size, shape), np.full(size, scale), rng)
    life = stats.weibull_min(shape, scale=scale)  # the lognormal has the same two moments
    expected = (life.var() + life.mean() ** 2) / (2 * life.mean())
    assert ages.mean() == pytest.approx(expected, rel=0.015)  # four standard errors


def test_mtbf_is_mean_life_times_chance_of_renewal():
    # by hand: exponential lives of mean 1000 h, every fourth defect is a renewal
    law = LifeLaw("hours", 1.0, 1000.0, 0.25)
    assert law.life_mean == pytest.approx(1000)
    assert law.mtbf == pytest.approx(250)


def test_mtbf_is_the_scale_where_nothing_is_renewed():
    law = LifeLaw("days", 1.0, 120.0, 0.0)
    assert law.life_mean is None
    assert law.mtbf == 120


def _clocks() -> Clocks:
    at_midnight = np.zeros((3, 2, 4))
    at_midnight[0] = [[0, 10, 10, 16], [0, 24, 30, 30]]
    at_midnight[1] = [[0, 200, 200, 500], [0, 480, 600, 600]]
    at_midnight[2] = [[0, 1, 2, 3], [0, 1, 2, 3]]
    return Clocks(at_midnight)


def test_clock_is_linear_between_midnights():
    value = _clocks().value(
        np.array([0, 1, 2]), np.array([0, 1, 0]), np.array([0.5, 1.25, 2.5]) * DAY
    )
    np.testing.assert_allclose(value, [5, 510, 2.5])


def test_instant_is_the_first_at_which_the_clock_is_reached():
    clocks, none = _clocks(), np.zeros(4, dtype=np.int64)
    at = clocks.instant(0, none, np.array([5.0, 10.0, 13.0, 17.0]))
    np.testing.assert_allclose(at / DAY, [0.5, 1.0, 2.5, np.inf])  # 17 h are not on record
