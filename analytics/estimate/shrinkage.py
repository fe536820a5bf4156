"""Ratios of observed to expected counts, drawn towards their like as far as the counts are few."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, check_level, check_numbers

CLEARLY_ABOVE = 1.25
"""A ratio above this is worth a workshop's time."""

USUAL_SPREAD = 0.5
"""Scale of the half-Cauchy prior of the coefficient of variation between units."""

_SPREADS = np.geomspace(1.05, 3.5, 24) - 1.03  # 0.02 to 2.47
_STANDARD = np.linspace(-3.2, 3.2, 9)  # of the logarithm of the mean, in standard deviations
_WORTH_KEEPING = 1e-3  # of the likeliest point of the grid
_STEPS = 60
_NEAR = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class ShrunkRatios:
    """Shrunk ratios of n units, arrays of shape (n,), and what was learnt of all of them.

    `ratio` is the posterior mean, `sd` the posterior standard deviation, `lower` and `upper` the
    equal-tailed bounds, `chance_above` the posterior chance of a ratio above `above`. `spread` is
    the posterior mean of the coefficient of variation between units, `mean` that of their mean
    ratio.
    """

    ratio: FloatArray
    lower: FloatArray
    upper: FloatArray
    chance_above: FloatArray
    spread: float
    mean: float
    above: float
    level: float
    sd: FloatArray


def shrunk_ratios(
    observed: ArrayLike,
    expected: ArrayLike,
    *,
    level: float = 0.90,
    above: float = CLEARLY_ABOVE,
) -> ShrunkRatios:
    """Shrink ratios of Poisson counts to their expectation, units alike but not the same.

    Parameters
    ----------
    observed : (n,) counts
    expected : (n,) expected counts, above 0
    level : of the bounds
    above : ratio of which the chance to lie above is wanted

    Returns
    -------
    ShrunkRatios

    Conventions
    -----------
    Count i is Poisson with mean expected x ratio, ratios are gamma with a common mean and
    coefficient of variation. Both are integrated over a grid (9 x 24), not plugged in: prior flat
    in the logarithm of the mean, half-Cauchy of scale 0.5 for the coefficient of variation.

    Limits
    ------
    No units: empty arrays. One unit has nothing to be drawn to: its ratio is its own, with wide
    bounds.

    Raises
    ------
    EstimateError
        Unequal lengths, a count below 0, an expected count not above 0.

    References
    ----------
    Clayton & Kaldor (1987), Biometrics 43, 671-681 (the gamma-Poisson model); Gelman (2006),
    Bayesian Analysis 1, 515-534 (half-Cauchy prior).
    """
    check_level(level)
    counts, means = check_numbers(observed, "observed"), check_numbers(expected, "expected")
    if counts.size != means.size:
        raise EstimateError(f"observed and expected differ in length: {counts.size}, {means.size}.")
    if np.any(counts < 0) or np.any(means <= 0):
        raise EstimateError("Observed counts are not below 0, expected ones are above 0.")
    if not counts.size:
        none = np.zeros(0)
        return ShrunkRatios(none, none, none, none, np.nan, np.nan, above, level, none)
    grid = _Grid.of(counts, means)
    # what is the same for several units is worked out once
    pairs, place = np.unique(np.stack([counts, means]), axis=1, return_inverse=True)
    place = np.asarray(place).ravel()
    shape, rate = grid.shape + pairs[0][:, None], grid.rate + pairs[1][:, None]
    tail = (1.0 - level) / 2.0
    ratio = (shape / rate) @ grid.weight
    second = (shape * (shape + 1.0) / rate**2) @ grid.weight
    return ShrunkRatios(
        ratio=ratio[place],
        lower=_quantile(shape, rate, grid.weight, tail)[place],
        upper=_quantile(shape, rate, grid.weight, 1.0 - tail)[place],
        chance_above=(special.gammaincc(shape, above * rate) @ grid.weight)[place],
        spread=float(grid.spread @ grid.weight),
        mean=float((grid.shape / grid.rate) @ grid.weight),
        above=above,
        level=level,
        sd=np.sqrt(np.maximum(second - ratio**2, 0.0))[place],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """Points of the two hyperparameters with their posterior weights, each of shape (points,)."""

    shape: FloatArray
    rate: FloatArray
    spread: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, counts: FloatArray, means: FloatArray) -> _Grid:
        total, area = counts.sum(), means.sum()
        centre = np.log(max(total, 0.5) / area)
        width = np.sqrt(1.0 / max(total, 0.5) + _SPREADS**2 / counts.size)
        log_mean = centre + width[:, None] * _STANDARD
        spread = np.repeat(_SPREADS, _STANDARD.size)
        shape = 1.0 / spread**2
        rate = shape / np.exp(log_mean.ravel())
        steps = np.gradient(_SPREADS)
        prior = np.log(
            np.repeat(steps * width / (1.0 + (_SPREADS / USUAL_SPREAD) ** 2), _STANDARD.size)
        )
        fit = prior + _log_likelihood(counts, means, shape, rate)
        weight = np.exp(fit - fit.max())
        kept = weight > _WORTH_KEEPING
        weight = weight[kept] / weight[kept].sum()
        return cls(shape[kept], rate[kept], spread[kept], weight)


def _log_likelihood(
    counts: FloatArray, means: FloatArray, shape: FloatArray, rate: FloatArray
) -> FloatArray:
    """Return the log-likelihood of all counts at each point, up to a constant."""
    found = np.zeros(shape.size)
    kinds, number = np.unique(counts, return_counts=True)
    for count, units in zip(kinds, number, strict=True):
        found += units * (special.gammaln(shape + count) - special.gammaln(shape))
    distinct, place = np.unique(means, return_inverse=True)
    units = np.bincount(np.asarray(place).ravel(), minlength=distinct.size).astype(np.float64)
    failures = np.bincount(np.asarray(place).ravel(), weights=counts, minlength=distinct.size)
    for mean, many, events in zip(distinct, units, failures, strict=True):
        found += many * shape * np.log(rate / (rate + mean)) - events * np.log(rate + mean)
    return found


def _quantile(shape: FloatArray, rate: FloatArray, weight: FloatArray, chance: float) -> FloatArray:
    """Return where each unit's mixture of gamma laws reaches a chance: bracketed Newton."""
    first, second = shape / rate, shape * (shape + 1.0) / rate**2
    mean = first @ weight
    variance = np.maximum(second @ weight - mean**2, 1e-300)
    at = np.maximum(special.gammaincinv(mean**2 / variance, chance) * variance / mean, 1e-12)
    low, high = np.zeros(at.size), np.full(at.size, np.inf)
    open_ = np.arange(at.size)  # units that have not settled yet
    for _ in range(_STEPS):
        now, a, b = at[open_], shape[open_], rate[open_] if rate.ndim > 1 else rate
        x = now[:, None] * b
        excess = special.gammainc(a, x) @ weight - chance
        low[open_] = below = np.where(excess < 0, now, low[open_])
        high[open_] = above = np.where(excess >= 0, now, high[open_])
        density = np.exp(special.xlogy(a, x) - x - special.gammaln(a)) @ weight / now
        newton = now - excess / np.maximum(density, 1e-300)
        halfway = np.where(np.isfinite(above), 0.5 * (below + np.minimum(above, 1e300)), 2 * now)
        following = np.where((newton > below) & (newton < above), newton, halfway)
        at[open_] = following
        open_ = open_[np.abs(following - now) > _NEAR * now]
        if not open_.size:
            break
    return at
