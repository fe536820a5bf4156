"""Weibull, lognormal and exponential lives by maximum likelihood, one group or many.

Lives may be known exactly, from the right, from the left or between two inspections, and may enter
late. The work is done by `life_batch` for all groups at once; here a fit is one record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.life_batch import FEWEST_FAILURES, LifeBatch, check_model, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.life_figures import MODELS, BatchFit, Model, standard_quantile
from analytics.estimate.rate import FloatArray

__all__ = [
    "FEWEST_FAILURES",
    "MODELS",
    "LifeData",
    "LifeFit",
    "Model",
    "fit_all",
    "fit_groups",
    "fit_life",
    "life_quantile",
    "life_survival",
]


@dataclass(frozen=True, slots=True, eq=False)
class LifeFit:
    """One fitted law of life; ages in the clock's unit, NaN where a field does not apply.

    Weibull: survival exp(-(age / scale) ** shape). Exponential: `scale` is the mean life.
    Lognormal: `mu`, `sigma` of the natural logarithm of life. `loglik` is the maximised
    log-likelihood with densities in the clock's unit and no constant dropped; `aicc` counts lives.
    `b10` is the age by which 10 % have failed. `covariance` (2, 2) is of location and scale of log
    life by the observed information: mu and sigma, for a Weibull log(scale) and 1 / shape.
    `model` is empty where nothing was fitted. `note` is a message key, empty when there is nothing
    to say.
    """

    model: str
    shape: float
    shape_lower: float
    shape_upper: float
    scale: float
    mu: float
    sigma: float
    loglik: float
    aicc: float
    lives: int
    failures: int
    b10: float
    b10_lower: float
    b10_upper: float
    median: float
    median_lower: float
    median_upper: float
    mean: float
    mean_lower: float
    mean_upper: float
    covariance: FloatArray
    level: float
    method: str
    note: str


def fit_life(data: LifeData, model: Model, *, level: float = 0.90) -> LifeFit:
    """Fit one law of life.

    Parameters
    ----------
    data : LifeData
    model : weibull, lognormal or exponential
    level : two-sided level of the profile-likelihood bounds

    Returns
    -------
    LifeFit

    Conventions
    -----------
    Each life adds log density at an exact failure, log(S(lower) - S(upper)) for an interval,
    log S(lower) without failure, less log S(entry) for a late entry. Bounds of shape, B10, median
    and mean are where the profile of twice the log-likelihood has fallen by the chi-square quantile
    with one degree of freedom.

    Limits
    ------
    Fewer than 3 failures: nothing fitted, `model` empty, note `survival.too_few_failures`. All
    lives explained by one single age of failure (the law would shrink to a point): NaN, note
    `survival.all_at_once`. No maximum that determines the parameters: NaN, note
    `survival.not_determined`. A bound that the profile never reaches: NaN, note
    `survival.open_bound`.

    Raises
    ------
    EstimateError
        An unknown model or a level outside (0, 1).

    References
    ----------
    Lawless, J.F. (2003), Statistical Models and Methods for Lifetime Data, 2nd ed., chapters 2 to
    5. Meeker, W.Q., Escobar, L.A. (1998), Statistical Methods for Reliability Data, chapters 7, 8,
    11. Hurvich, C.M., Tsai, C.-L. (1989), Biometrika 76, 297-307 (AICc).
    """
    check_model(model, level)
    fit = fit_batch(LifeBatch.of(data, size=1), model, level=level)
    return _one(fit, "" if data.failures < FEWEST_FAILURES else model, 0, level)


def fit_all(data: LifeData, *, level: float = 0.90) -> list[LifeFit]:
    """Fit all three laws, best AICc first; those that could not be fitted come last.

    Fewer than 3 failures: one `LifeFit` with an empty `model` and note
    `survival.too_few_failures`. Parameters, conventions and errors as in `fit_life`.
    """
    return fit_groups(LifeBatch.of(data, size=1), level=level)[0]


def fit_groups(batch: LifeBatch, *, level: float = 0.90) -> list[list[LifeFit]]:
    """Fit all three laws to each of many groups: for each what `fit_all` returns for one."""
    fits = {model: fit_batch(batch, model, level=level) for model in MODELS}
    few = fits["exponential"].failures < FEWEST_FAILURES
    return [
        [_one(fits["exponential"], "", at, level)]
        if few[at]
        else _ranked([_one(fit, model, at, level) for model, fit in fits.items()])
        for at in range(batch.size)
    ]


def _ranked(fits: list[LifeFit]) -> list[LifeFit]:
    # Where AICc does not exist (3 lives) the log-likelihood still says which could be fitted.
    return sorted(fits, key=lambda fit: (np.isnan(fit.loglik), np.isnan(fit.aicc), fit.aicc))


def _one(fit: BatchFit, model: str, at: int, level: float) -> LifeFit:
    """Take one group out of a batch."""
    whole = {"lives", "failures"}
    figures = {
        name: float(getattr(fit, name)[at])
        for name in BatchFit.__slots__
        if name not in whole | {"covariance", "note"}
    }
    counts = {name: int(round(float(getattr(fit, name)[at]))) for name in whole}
    return LifeFit(
        model=model,
        covariance=fit.covariance[..., at],
        level=level,
        method="" if np.isnan(fit.loglik[at]) else "maximum-likelihood, profile bounds",
        note=str(fit.note[at]),
        lives=counts["lives"],
        failures=counts["failures"],
        **figures,
    )


def life_survival(fit: LifeFit, age: ArrayLike) -> FloatArray:
    """Return the chance of living beyond each age (any shape, in the clock's unit) under a fit.

    Age 0 or less gives 1; a fit without parameters gives NaN.
    """
    ages = np.asarray(age, dtype=np.float64)
    location, scale = _location_scale(fit)
    log_age = np.log(ages, out=np.full(ages.shape, -np.inf), where=ages > 0)
    z = (log_age - location) / scale
    if fit.model == "lognormal":
        return np.asarray(special.ndtr(-z), dtype=np.float64)
    return np.asarray(np.exp(-np.exp(z)), dtype=np.float64)


def life_quantile(fit: LifeFit, share: ArrayLike) -> FloatArray:
    """Return the age by which each `share` (0 < share < 1) of lives has failed under a fit.

    Raises
    ------
    EstimateError
        A share outside (0, 1).
    """
    shares = np.asarray(share, dtype=np.float64)
    if not np.all((shares > 0) & (shares < 1)):
        raise EstimateError(f"A share of failures lies between 0 and 1, got {share!r}.")
    location, scale = _location_scale(fit)
    standard = standard_quantile(fit.model, shares)
    return np.asarray(np.exp(location + scale * standard), dtype=np.float64)


def _location_scale(fit: LifeFit) -> tuple[float, float]:
    if fit.model == "lognormal":
        return fit.mu, fit.sigma
    shape = 1.0 if fit.model == "exponential" else fit.shape
    return float(np.log(fit.scale)), 1.0 / shape
