"""The second opinion: lifelines agrees with our fits, and its pitfalls are fenced off."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analytics.errors import EstimateError
from analytics.estimate.lifelines_fits import fit_with_lifelines, second_opinion
from analytics.estimate.lives import MODELS, LifeData, fit_life


def drawn(seed: int, size: int, shape: float, *, kind: str) -> LifeData:
    rng = np.random.default_rng(seed)
    entry = rng.uniform(0, 60, size) * float("late" in kind)
    life, censored = 200.0 * rng.weibull(shape, size), entry + rng.uniform(50, 400, size)
    keep = life > entry
    entry, age = entry[keep], np.minimum(life, censored)[keep]
    failed = (life <= censored)[keep]
    if "interval" not in kind:
        return LifeData.exactly(entry, age, failed)
    gap = rng.uniform(1, 40, age.size)
    lower = np.where(failed, np.maximum(np.floor(age / gap) * gap, entry), age)
    upper = np.where(failed, (np.floor(age / gap) + 1) * gap, np.inf)
    if "mixed" in kind:
        exact = rng.random(age.size) < 0.4
        lower, upper = np.where(exact, age, lower), np.where(exact & failed, age, upper)
    return LifeData.of(lower, upper, entry)


# Other software: lifelines 0.30 by maximum likelihood.
@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("shape", [0.7, 1.5, 3.0])
@pytest.mark.parametrize(
    "kind", ["right", "late", "interval", "mixed interval", "late interval", "late mixed interval"]
)
def test_own_likelihood_is_as_high_and_parameters_agree(
    kind: str, shape: float, model: Any
) -> None:
    data = drawn(int(shape * 10), 80, shape, kind=kind)
    fit, theirs = fit_life(data, model), fit_with_lifelines(data, model)
    assert fit.loglik >= theirs.loglik - 1e-6
    assert fit.loglik == pytest.approx(theirs.loglik, abs=1e-5)
    for name in ("shape", "scale", "sigma"):
        assert getattr(fit, name) == pytest.approx(getattr(theirs, name), rel=1e-4, nan_ok=True)
    # mu is a logarithm: 1e-4 in it is 1e-4 of the median life.
    assert fit.mu == pytest.approx(theirs.mu, abs=1e-4, nan_ok=True)
    opinion = second_opinion(data, fit)
    assert (opinion.agrees, opinion.note) == (True, "")
    assert opinion.difference < 1e-4


def test_clock_does_not_matter() -> None:
    data = drawn(1, 40, 1.5, kind="right")
    large = LifeData(data.entry * 1e6, data.lower * 1e6, data.upper * 1e6)
    one, other = fit_with_lifelines(data, "weibull"), fit_with_lifelines(large, "weibull")
    assert other.shape == pytest.approx(one.shape)
    assert other.scale == pytest.approx(one.scale * 1e6)
    assert other.loglik == pytest.approx(one.loglik - data.failures * np.log(1e6))


# lifelines issue 533: one failure of five gives a shape of 3e16 without a warning.
@pytest.mark.parametrize("failures", [0, 1, 2])
@pytest.mark.parametrize("model", MODELS)
def test_few_failures_never_reach_lifelines(model: Any, failures: int) -> None:
    ages = np.array([3.0, 8.0, 9.0, 12.0, 20.0])
    data = LifeData.exactly(np.zeros(5), ages, np.arange(5) < failures)
    theirs = fit_with_lifelines(data, model)
    assert theirs.note == "survival.too_few_failures"
    assert np.isnan([theirs.shape, theirs.scale, theirs.mu, theirs.loglik]).all()
    assert second_opinion(data, fit_life(data, model)).note == "survival.second_opinion_missing"


def test_nonsense_is_not_passed_on() -> None:
    # All failures in one interval: the likelihood has no maximum, lifelines stops somewhere.
    data = LifeData.of([40.0, 45.0, 30.0, 20.0], [60.0, 70.0, 55.0, np.inf])
    for model in ("weibull", "lognormal"):
        opinion = second_opinion(data, fit_life(data, model))
        assert not opinion.agrees
        assert opinion.note == "survival.second_opinion_missing"


def test_disagreement_is_said() -> None:
    data = drawn(2, 60, 1.5, kind="right")
    other = drawn(3, 60, 3.0, kind="right")
    opinion = second_opinion(other, fit_life(data, "weibull"))
    assert not opinion.agrees
    assert opinion.note == "survival.second_opinion_differs"


def test_unknown_model_is_refused() -> None:
    unknown: Any = "gamma"
    with pytest.raises(EstimateError, match="gamma"):
        fit_with_lifelines(drawn(4, 20, 1.5, kind="right"), unknown)
