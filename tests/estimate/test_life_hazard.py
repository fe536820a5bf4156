"""Hazard and conditional reliability of fitted lives: closed forms, duality, hard cases."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from analytics.errors import EstimateError
from analytics.estimate.life_batch import LifeBatch, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.life_hazard import conditional_reliability, hazard_at
from analytics.estimate.lives import MODELS


def draw(seed: int, size: int = 50) -> LifeData:
    """Draw Weibull lives of shape 1.6, scale 300, right-censored, half of them entering late."""
    rng = np.random.default_rng([11, seed])
    entry = rng.uniform(0, 150, size) * (rng.random(size) < 0.5)
    age = 300 * ((entry / 300) ** 1.6 - np.log(rng.random(size))) ** (1 / 1.6)
    cut = entry + rng.uniform(100, 600, size)
    return LifeData.exactly(entry, np.minimum(age, cut), age <= cut)


BATCH = LifeBatch.join([draw(seed) for seed in range(4)])
GRID = np.array([5.0, 100.0, 300.0, 700.0])


def law(model: str, location: float, scale: float) -> Any:
    if model == "lognormal":
        return stats.lognorm(scale, scale=np.exp(location))
    return stats.weibull_min(1 / scale, scale=np.exp(location))


def places(model: Any) -> list[tuple[float, float]]:
    fit = fit_batch(BATCH, model, bounds=False)
    if model == "lognormal":
        return list(zip(fit.mu, fit.sigma, strict=True))
    shape = np.ones(BATCH.size) if model == "exponential" else fit.shape
    return list(zip(np.log(fit.scale), 1 / shape, strict=True))


# Closed form: the fitted law's own density and survival, by scipy.stats.
@pytest.mark.parametrize("model", MODELS)
def test_values_are_those_of_the_law(model: Any) -> None:
    hazard, living = hazard_at(BATCH, model, GRID), conditional_reliability(BATCH, model, GRID, 50)
    assert hazard.value.shape == (GRID.size, BATCH.size)
    for at, place in enumerate(places(model)):
        of = law(model, *place)
        assert hazard.value[:, at] == pytest.approx(of.pdf(GRID) / of.sf(GRID))
        assert living.value[:, at] == pytest.approx(of.sf(GRID + 50) / of.sf(GRID))
    for found in (hazard, living):
        assert np.all((found.lower < found.value) & (found.value < found.upper))
    assert np.all((living.lower > 0) & (living.upper < 1) & (hazard.lower > 0))


# Closed form: with the exponential law all is the mean life turned over.
def test_exponential_hazard_is_the_mean_turned_over() -> None:
    fit = fit_batch(BATCH, "exponential")
    hazard = hazard_at(BATCH, "exponential", GRID)
    living = conditional_reliability(BATCH, "exponential", GRID, 50)
    for row in range(GRID.size):
        assert hazard.lower[row] == pytest.approx(1 / fit.mean_upper, rel=1e-5)
        assert hazard.upper[row] == pytest.approx(1 / fit.mean_lower, rel=1e-5)
        assert living.lower[row] == pytest.approx(np.exp(-50 / fit.mean_lower), rel=1e-5)
        assert living.upper[row] == pytest.approx(np.exp(-50 / fit.mean_upper), rel=1e-5)


# Duality: where the median's profile has fallen so far, that of "half live so long" has too; the
# same for B10 and nine in ten.
@pytest.mark.parametrize("model", ["weibull", "lognormal"])
@pytest.mark.parametrize(("name", "share"), [("median", 0.5), ("b10", 0.9)])
def test_reliability_from_new_mirrors_the_quantile(model: Any, name: str, share: float) -> None:
    fit = fit_batch(BATCH, model)
    for at in range(BATCH.size):
        early, late = (float(getattr(fit, f"{name}_{end}")[at]) for end in ("lower", "upper"))
        from_early = conditional_reliability(BATCH, model, [0.0], early)
        from_late = conditional_reliability(BATCH, model, [0.0], late)
        assert from_early.lower[0, at] == pytest.approx(share, abs=1e-4)
        assert from_late.upper[0, at] == pytest.approx(share, abs=1e-4)


def log_likelihood(data: LifeData, model: str, location: float, scale: float) -> float:
    of = law(model, location, scale)
    ends = of.logpdf(data.lower[data.failed]).sum() + of.logsf(data.lower[~data.failed]).sum()
    return float(ends - of.logsf(data.entry).sum())


# Duality, by scipy: with the figure held at its bound, the best log-likelihood over all scales lies
# half the 90 % point of chi-square with one degree of freedom below the highest.
@pytest.mark.parametrize("model", ["weibull", "lognormal"])
@pytest.mark.parametrize("figure", ["hazard", "reliability"])
def test_bounds_are_where_the_profile_has_fallen(model: Any, figure: str) -> None:
    data, age = draw(1), 250.0
    batch = LifeBatch.of(data)
    found = (
        hazard_at(batch, model, [age])
        if figure == "hazard"
        else conditional_reliability(batch, model, [age], 100.0)
    )
    top = fit_batch(batch, model, bounds=False).loglik[0]

    def value(location: float, scale: float) -> float:
        of = law(model, location, scale)
        if figure == "hazard":
            return float(of.logpdf(age) - of.logsf(age))
        return float(of.logsf(age + 100.0) - of.logsf(age))

    for bound in (found.lower[0, 0], found.upper[0, 0]):

        def fallen(log_scale: float, held: float = float(np.log(bound))) -> float:
            scale = np.exp(log_scale)
            location = optimize.brentq(lambda at: value(at, scale) - held, 2.0, 12.0)
            return top - log_likelihood(data, model, location, scale)

        best = optimize.minimize_scalar(fallen, bounds=(-2.0, 1.0), method="bounded")
        assert best.fun == pytest.approx(stats.chi2.ppf(0.9, 1) / 2, abs=1e-4)


def test_groups_without_a_law_have_no_hazard() -> None:
    few = LifeData.exactly(np.zeros(4), [1.0, 2.0, 3.0, 4.0], [True, True, False, False])
    batch = LifeBatch.join([few, draw(2)])
    for model in MODELS:
        found = hazard_at(batch, model, [100.0])
        assert np.isnan([found.value[0, 0], found.lower[0, 0], found.upper[0, 0]]).all()
        assert np.isfinite(found.value[0, 1])


def test_impossible_ages_are_refused() -> None:
    with pytest.raises(EstimateError, match="above 0"):
        hazard_at(BATCH, "weibull", [0.0])
    with pytest.raises(EstimateError, match="0 or above"):
        conditional_reliability(BATCH, "weibull", [-1.0], 10.0)
    with pytest.raises(EstimateError, match="further"):
        conditional_reliability(BATCH, "weibull", [1.0], 0.0)
