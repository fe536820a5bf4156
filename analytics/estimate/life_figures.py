"""The figures of fitted laws of life: quantiles, mean and shape with bounds, AICc, covariance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analytics.estimate.by_group import ByGroup
from analytics.estimate.life_bounds import profile_bounds
from analytics.estimate.life_climb import covariances
from analytics.estimate.life_clusters import Alike
from analytics.estimate.life_quantities import (
    LOG_SCALE,
    LOGNORMAL_LOG_MEAN,
    WEIBULL_LOG_MEAN,
    Quantity,
    log_quantile,
)
from analytics.estimate.life_terms import Law, Points, Sample, extreme_value, normal
from analytics.estimate.rate import FloatArray

Bounded = Callable[[Quantity], tuple[FloatArray, FloatArray]]
"""What finds the bounds of one quantity."""

Model = Literal["weibull", "lognormal", "exponential"]

MODELS: tuple[Model, ...] = ("weibull", "lognormal", "exponential")


@dataclass(frozen=True, slots=True, eq=False)
class BatchFit(ByGroup):
    """One law fitted to each of m groups: fields as in `lives.LifeFit`, each of shape (m,).

    `covariance` has shape (2, 2, m). `note` holds message keys: why a group has no figures, or
    `survival.open_bound`; empty when there is nothing to say.
    """

    shape: FloatArray
    shape_lower: FloatArray
    shape_upper: FloatArray
    scale: FloatArray
    mu: FloatArray
    sigma: FloatArray
    loglik: FloatArray
    aicc: FloatArray
    lives: FloatArray
    failures: FloatArray
    b10: FloatArray
    b10_lower: FloatArray
    b10_upper: FloatArray
    median: FloatArray
    median_lower: FloatArray
    median_upper: FloatArray
    mean: FloatArray
    mean_lower: FloatArray
    mean_upper: FloatArray
    covariance: FloatArray
    note: NDArray[Any]


def law_of(model: Model) -> Law:
    """Return the law that log lives follow."""
    return normal if model == "lognormal" else extreme_value


def standard_quantile(model: str, share: ArrayLike) -> FloatArray:
    """Return where the standard law of log lives reaches each share."""
    shares = np.asarray(share, dtype=np.float64)
    if model == "lognormal":
        return np.asarray(special.ndtri(shares), dtype=np.float64)
    return np.asarray(np.log(-np.log1p(-shares)), dtype=np.float64)


def finite_exp(log_value: FloatArray) -> FloatArray:
    """Return the exponential, NaN where it is beyond all numbers."""
    return np.exp(np.where(log_value > 700.0, np.nan, log_value))


def quantities(model: Model) -> dict[str, Quantity]:
    """Return what is bounded of every law."""
    return {
        "b10": log_quantile(float(standard_quantile(model, 0.1))),
        "median": log_quantile(float(standard_quantile(model, 0.5))),
        "mean": LOGNORMAL_LOG_MEAN if model == "lognormal" else WEIBULL_LOG_MEAN,
    }


def described(
    model: Model,
    sample: Sample,
    best: Points,
    counted: BatchFit,
    *,
    alike: Alike | None,
    drop: float | None,
) -> BatchFit:
    """Fill in the figures of groups whose highest point is known."""
    known_scale = model == "exponential"
    location, scale = best.place[0] + sample.unit, np.exp(best.place[1])
    loglik = best.value + sample.constant
    bounded = partial(_bounded, model, sample, best, alike=alike, drop=drop)
    figures = _age_figures(model, sample, best, bounded)
    if model == "weibull":
        figures |= _shape_figures(best, bounded)
    if model == "lognormal":
        figures |= {"mu": location, "sigma": scale}
    else:
        figures["scale"] = finite_exp(location)
    ends = [array for name, array in figures.items() if name.endswith(("_lower", "_upper"))]
    turn = np.stack([np.ones_like(scale), scale])
    covariance = covariances(best, fixed_scale=known_scale) * turn[:, None] * turn
    opened = np.isnan(ends).any(axis=0) if drop is not None else np.zeros(scale.size, dtype=bool)
    return replace(
        counted,
        **figures,
        loglik=loglik,
        aicc=aicc(loglik, 1 if known_scale else 2, counted.lives),
        covariance=covariance,
        note=np.where(opened, "survival.open_bound", counted.note),
    )


def _age_figures(
    model: Model, sample: Sample, best: Points, bounded: Bounded
) -> dict[str, FloatArray]:
    shared = bounded(log_quantile(0.0)) if model == "exponential" else None
    figures = {}
    for name, quantity in quantities(model).items():
        log_value = quantity.value(best.place)
        # The quantities of an exponential law are its location, moved.
        moved = log_value - best.place[0]
        ends = bounded(quantity) if shared is None else tuple(end + moved for end in shared)
        for key, log_age in zip(("", "_lower", "_upper"), (log_value, *ends), strict=True):
            figures[name + key] = finite_exp(log_age + sample.unit)
    return figures


def _shape_figures(best: Points, bounded: Bounded) -> dict[str, FloatArray]:
    lower, upper = bounded(LOG_SCALE)
    names = ("shape", "shape_lower", "shape_upper")
    logs = (best.place[1], upper, lower)
    return {name: finite_exp(-log) for name, log in zip(names, logs, strict=True)}


def _bounded(
    model: Model,
    sample: Sample,
    best: Points,
    quantity: Quantity,
    *,
    alike: Alike | None,
    drop: float | None,
) -> tuple[FloatArray, FloatArray]:
    if drop is None:
        return np.full(sample.size, np.nan), np.full(sample.size, np.nan)
    known_scale = model == "exponential"
    return profile_bounds(
        law_of(model), sample, best, quantity, drop=drop, alike=alike, fixed_scale=known_scale
    )


def aicc(loglik: FloatArray, parameters: int, lives: FloatArray) -> FloatArray:
    """Return Akaike's criterion for few lives, NaN where there are too few for it."""
    spare = lives - parameters - 1
    spare = np.where(spare > 0, spare, np.nan)
    return 2.0 * parameters - 2.0 * loglik + 2.0 * parameters * (parameters + 1) / spare
