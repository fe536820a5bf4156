"""Weibull, lognormal and exponential lives by maximum likelihood, with profile-likelihood bounds.

Lives may be known exactly, from the right, from the left or between two inspections, and may enter
late. Bounds by the curvature alone (delta method) covered 0.86 or 0.95 instead of 0.90 depending on
censoring in simulation; profile bounds keep their level better, so they are the only ones given.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from analytics.errors import EstimateError
from analytics.estimate.life_data import LifeData
from analytics.estimate.life_likelihood import (
    EXTREME_VALUE,
    NORMAL,
    Point,
    Sample,
    log_likelihood,
    read_sample,
)
from analytics.estimate.life_profile import (
    LOG_SCALE,
    Quantity,
    highest_point,
    lognormal_log_mean,
    profile_bounds,
    quantile_of,
    weibull_log_mean,
)
from analytics.estimate.rate import FloatArray, check_level

__all__ = [
    "FEWEST_FAILURES",
    "MODELS",
    "LifeData",
    "LifeFit",
    "Model",
    "fit_all",
    "fit_life",
    "life_quantile",
    "life_survival",
]

Model = Literal["weibull", "lognormal", "exponential"]

MODELS: tuple[Model, ...] = ("weibull", "lognormal", "exponential")

FEWEST_FAILURES = 3
"""With fewer failures nothing is fitted (METHODS section 4)."""


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


@dataclass(frozen=True, slots=True)
class _Bounded:
    """A figure and its bounds, NaN where there is none."""

    value: float
    lower: float
    upper: float


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
    if model not in MODELS:
        raise EstimateError(f"A model of life is one of {', '.join(MODELS)}, got {model!r}.")
    check_level(level)
    if data.failures < FEWEST_FAILURES:
        return _no_fit("", data, level, "survival.too_few_failures")
    if model != "exponential" and _explained_by_one_age(data):
        return _no_fit(model, data, level, "survival.all_at_once")
    sample = read_sample(data)
    law = NORMAL if model == "lognormal" else EXTREME_VALUE
    evaluate = partial(log_likelihood, law, sample)
    known_scale = model == "exponential"
    best = highest_point(evaluate, _starts(model, data, sample), fixed_scale=known_scale)
    if best is None:
        return _no_fit(model, data, level, "survival.not_determined")
    drop = float(stats.norm.ppf((1.0 + level) / 2.0))
    bounds = partial(profile_bounds, evaluate, best, drop=drop, fixed_scale=known_scale)
    figures = {
        name: _age_figure(quantity, best, bounds(quantity), sample.unit)
        for name, quantity in _quantities(model).items()
    }
    shape = _NOTHING
    if model == "weibull":
        shape = _shape_figure(best, bounds(LOG_SCALE))
    return _described(
        model, data, sample=sample, best=best, shape=shape, figures=figures, level=level
    )


def fit_all(data: LifeData, *, level: float = 0.90) -> list[LifeFit]:
    """Fit all three laws, best AICc first; those that could not be fitted come last.

    Fewer than 3 failures: one `LifeFit` with an empty `model` and note
    `survival.too_few_failures`. Parameters, conventions and errors as in `fit_life`.
    """
    if data.failures < FEWEST_FAILURES:
        return [_no_fit("", data, check_level(level), "survival.too_few_failures")]
    fits = [fit_life(data, model, level=level) for model in MODELS]
    # Where AICc does not exist (3 lives) the log-likelihood still says which could be fitted.
    return sorted(fits, key=lambda fit: (np.isnan(fit.loglik), np.isnan(fit.aicc), fit.aicc))


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
    standard = _standard_quantile(fit.model, shares)
    return np.asarray(np.exp(location + scale * standard), dtype=np.float64)


def _location_scale(fit: LifeFit) -> tuple[float, float]:
    if fit.model == "lognormal":
        return fit.mu, fit.sigma
    shape = 1.0 if fit.model == "exponential" else fit.shape
    return float(np.log(fit.scale)), 1.0 / shape


_NOTHING = _Bounded(np.nan, np.nan, np.nan)


def _explained_by_one_age(data: LifeData) -> bool:
    """Tell whether one age of failure fits every life: then no spread can be estimated."""
    exact = data.lower[data.exact]
    floor = float(np.max(data.lower[~data.exact], initial=0.0))
    ceiling = float(np.min(data.upper[~data.exact], initial=np.inf))
    if not exact.size:
        return floor < ceiling
    return bool(exact.min() == exact.max() and floor <= exact[0] <= ceiling and floor < exact[0])


def _starts(model: Model, data: LifeData, sample: Sample) -> list[tuple[float, float]]:
    failed = data.failed
    middle = np.where(failed, 0.5 * (data.lower + np.where(failed, data.upper, 0.0)), data.lower)
    log_middle = np.log(middle) - sample.unit
    spread = float(np.clip(np.std(log_middle[failed]), 0.05, 2.0))
    scales = [1.0] if model == "exponential" else [0.8 * spread, 1.0, 0.3, 3.0]
    if model == "lognormal":
        return [(float(log_middle[failed].mean()), float(np.log(scale))) for scale in scales]
    starts = []
    for scale in scales:
        # The best location for a given scale, failures taken in the middle of their interval.
        exposure = np.exp(log_middle / scale).sum() / data.failures
        starts.append((float(scale * np.log(exposure)), float(np.log(scale))))
    return starts


def _quantities(model: Model) -> dict[str, Quantity]:
    lognormal = model == "lognormal"
    return {
        "b10": quantile_of(float(_standard_quantile(model, np.array(0.1)))),
        "median": quantile_of(float(_standard_quantile(model, np.array(0.5)))),
        "mean": lognormal_log_mean() if lognormal else weibull_log_mean(),
    }


def _standard_quantile(model: str, share: FloatArray) -> FloatArray:
    if model == "lognormal":
        return np.asarray(special.ndtri(share), dtype=np.float64)
    return np.asarray(np.log(-np.log1p(-share)), dtype=np.float64)


def _finite_exp(log_value: float | None) -> float:
    """Return the exponential, or NaN where there is none or it is beyond all numbers."""
    if log_value is None or log_value > 700.0:
        return float("nan")
    return float(np.exp(log_value))


def _age_figure(
    quantity: Quantity, best: Point, bounds: tuple[float | None, float | None], unit: float
) -> _Bounded:
    lower, upper = (None if bound is None else bound + unit for bound in bounds)
    value = quantity.value(best) + unit
    return _Bounded(_finite_exp(value), _finite_exp(lower), _finite_exp(upper))


def _shape_figure(best: Point, bounds: tuple[float | None, float | None]) -> _Bounded:
    lower, upper = (None if bound is None else -bound for bound in bounds[::-1])
    return _Bounded(_finite_exp(-best.log_scale), _finite_exp(lower), _finite_exp(upper))


def _described(
    model: Model,
    data: LifeData,
    *,
    sample: Sample,
    best: Point,
    shape: _Bounded,
    figures: dict[str, _Bounded],
    level: float,
) -> LifeFit:
    lognormal = model == "lognormal"
    parameters = 1 if model == "exponential" else 2
    location, scale = best.location + sample.unit, float(np.exp(best.log_scale))
    loglik = best.value + sample.constant
    ends = [end for figure in figures.values() for end in (figure.lower, figure.upper)]
    if model == "weibull":
        ends += [shape.lower, shape.upper]
    return LifeFit(
        model=model,
        shape=shape.value,
        shape_lower=shape.lower,
        shape_upper=shape.upper,
        scale=np.nan if lognormal else _finite_exp(location),
        mu=location if lognormal else np.nan,
        sigma=scale if lognormal else np.nan,
        loglik=loglik,
        aicc=_aicc(loglik, parameters, data.lives),
        lives=data.lives,
        failures=data.failures,
        b10=figures["b10"].value,
        b10_lower=figures["b10"].lower,
        b10_upper=figures["b10"].upper,
        median=figures["median"].value,
        median_lower=figures["median"].lower,
        median_upper=figures["median"].upper,
        mean=figures["mean"].value,
        mean_lower=figures["mean"].lower,
        mean_upper=figures["mean"].upper,
        covariance=_covariance(best, known_scale=parameters == 1),
        level=level,
        method="maximum-likelihood, profile bounds",
        note="survival.open_bound" if np.isnan(ends).any() else "",
    )


def _aicc(loglik: float, parameters: int, lives: int) -> float:
    spare = lives - parameters - 1
    if spare <= 0:
        return float("nan")
    return 2.0 * parameters - 2.0 * loglik + 2.0 * parameters * (parameters + 1) / spare


def _covariance(best: Point, *, known_scale: bool) -> FloatArray:
    if known_scale:
        return np.array([[-1.0 / best.curvature[0, 0], 0.0], [0.0, 0.0]])
    turn = np.diag([1.0, np.exp(best.log_scale)])
    covariance: FloatArray = turn @ np.linalg.inv(-best.curvature) @ turn
    return covariance


def _no_fit(model: str, data: LifeData, level: float, note: str) -> LifeFit:
    undefined = {
        name: float("nan")
        for name in LifeFit.__slots__
        if name not in {"model", "lives", "failures", "covariance", "level", "method", "note"}
    }
    return LifeFit(
        model=model,
        lives=data.lives,
        failures=data.failures,
        covariance=np.full((2, 2), np.nan),
        level=level,
        method="",
        note=note,
        **undefined,
    )
