"""How good forecasts were: what the top of a list caught, proper scores, calibration, by clusters.

All bounds are from a bootstrap over clusters (locomotives), whose positions and dates go together;
two methods are compared within the same draws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, IntArray, check_level

DRAWS = 1000
SEED = 20_240
_SMALLEST = 1e-6  # a chance of nothing would cost without end


@dataclass(frozen=True, slots=True)
class Score:
    """One figure with percentile bounds; NaN where it is not defined."""

    value: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """Chances told beside what came, arrays of shape (bins,), lowest chances first.

    `n` forecasts had the mean chance `predicted`; `observed` is the share that came, with bounds.
    """

    n: FloatArray
    predicted: FloatArray
    observed: FloatArray
    lower: FloatArray
    upper: FloatArray


def chosen_most(score: ArrayLike, group: ArrayLike, most: ArrayLike) -> FloatArray:
    """Return how much of each item is among the `most` highest of its group, shape (n,), 0 to 1.

    Parameters
    ----------
    score : (n,) higher is chosen first
    group : (n,) index of the list each item is on
    most : (groups,) how many are chosen of each list

    Conventions
    -----------
    Items of one score that do not all fit share what is left evenly: the mean over all ways to
    break the tie.
    """
    value, of = np.asarray(score, dtype=np.float64), np.asarray(group, dtype=np.int64)
    places = np.asarray(most, dtype=np.float64)
    if value.size != of.size:
        raise EstimateError(f"score and group differ in length: {value.size}, {of.size}.")
    if not value.size:
        return np.zeros(0)
    order = np.lexsort((-value, of))
    sorted_value, sorted_of = value[order], of[order]
    begins = np.r_[True, (np.diff(sorted_of) != 0) | (np.diff(sorted_value) != 0)]
    block = np.cumsum(begins) - 1
    first = np.flatnonzero(begins)
    size = np.diff(np.append(first, value.size))
    list_begins = np.r_[True, np.diff(sorted_of) != 0]
    start_of_list = np.maximum.accumulate(np.where(list_begins, np.arange(value.size), 0))
    before = first - start_of_list[first]
    share = np.clip((places[sorted_of[first]] - before) / size, 0.0, 1.0)
    found = np.empty(value.size)
    found[order] = share[block]
    return found


def brier_terms(chance: ArrayLike, came: ArrayLike, weight: ArrayLike) -> FloatArray:
    """Return weight x (chance - came)^2 of each forecast (Brier 1950)."""
    p, y, w = (np.asarray(each, dtype=np.float64) for each in (chance, came, weight))
    found: FloatArray = w * (p - y) ** 2
    return found


def log_terms(chance: ArrayLike, came: ArrayLike, weight: ArrayLike) -> FloatArray:
    """Return weight x minus the log of the chance told for what came (Good 1952).

    Chances are kept between 0.000001 and 0.999999.
    """
    p, y, w = (np.asarray(each, dtype=np.float64) for each in (chance, came, weight))
    p = np.clip(p, _SMALLEST, 1.0 - _SMALLEST)
    found: FloatArray = -w * (special.xlogy(y, p) + special.xlog1py(1.0 - y, -p))
    return found


def clustered(
    parts: ArrayLike,
    cluster: ArrayLike,
    figure: Callable[[FloatArray], FloatArray],
    *,
    level: float = 0.90,
    draws: int = DRAWS,
) -> Score:
    """Bound a figure made of sums by drawing clusters with replacement.

    Parameters
    ----------
    parts : (n, m) what each forecast adds to each of m sums
    cluster : (n,) index of its cluster
    figure : turns sums of shape (..., m) into the figure, shape (...)
    level : of the percentile bounds

    Limits
    ------
    Fewer than 2 clusters: no bounds. The seed is fixed: equal data give equal bounds.

    References
    ----------
    Davison & Hinkley (1997), Bootstrap Methods and their Application, section 3.8 (clusters).
    """
    check_level(level)
    rows, of = np.asarray(parts, dtype=np.float64), np.asarray(cluster, dtype=np.int64)
    if rows.ndim != 2 or len(rows) != of.size:
        raise EstimateError("parts needs one row for each index of cluster.")
    size = int(of.max(initial=-1)) + 1
    sums = np.stack([np.bincount(of, column, size) for column in rows.T], axis=1).astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = float(figure(sums.sum(axis=0)))
        if size < 2 or not np.isfinite(value):
            return Score(value if np.isfinite(value) else np.nan, np.nan, np.nan)
        rng = np.random.default_rng(SEED)
        times = rng.multinomial(size, np.full(size, 1.0 / size), size=draws).astype(np.float64)
        drawn = figure(times @ sums)
    drawn = drawn[np.isfinite(drawn)]
    if not drawn.size:
        return Score(value, np.nan, np.nan)
    tail = (1.0 - level) / 2.0
    lower, upper = np.quantile(drawn, [tail, 1.0 - tail])
    return Score(value, float(lower), float(upper))


def calibrate(
    chance: ArrayLike,
    came: ArrayLike,
    weight: ArrayLike,
    cluster: ArrayLike,
    *,
    bins: int = 10,
    level: float = 0.90,
) -> Calibration:
    """Compare chances with what came, in bins that hold equally many forecasts.

    Parameters
    ----------
    chance, came, weight : (n,) chance told, 1 where it came else 0, share of the horizon followed
    cluster : (n,) index of the locomotive
    bins : ten for deciles; fewer forecasts than bins: one bin each
    level : of the bounds of `observed`
    """
    p, y, w = (np.asarray(each, dtype=np.float64) for each in (chance, came, weight))
    of = np.asarray(cluster, dtype=np.int64)
    kept = min(bins, p.size)
    order = np.argsort(p, kind="stable")
    rows = np.array_split(order, kept) if kept else []
    scores = [
        clustered(np.stack([w[r] * y[r], w[r]], axis=1), of[r], _ratio, level=level) for r in rows
    ]
    return Calibration(
        n=np.array([float(r.size) for r in rows]),
        predicted=np.array([float(np.average(p[r], weights=w[r])) for r in rows]),
        observed=np.array([s.value for s in scores]),
        lower=np.array([s.lower for s in scores]),
        upper=np.array([s.upper for s in scores]),
    )


def _ratio(sums: FloatArray) -> FloatArray:
    found: FloatArray = sums[..., 0] / sums[..., 1]
    return found


def numbered(names: ArrayLike) -> tuple[IntArray, int]:
    """Number names in their order, and say how many there are."""
    known, number = np.unique(np.asarray(names), return_inverse=True)
    return number.astype(np.int64).ravel(), known.size
