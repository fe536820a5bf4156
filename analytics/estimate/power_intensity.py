"""Power-law intensities of many groups at once: one Newton iteration over all of them.

The intensity at age a is lambda * shape * a ** (shape - 1). Logarithms of ages are relative to the
oldest age of the group, its top, so that no power overflows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimate.rate import BoolArray, FloatArray, sums_by
from analytics.estimate.risk_intervals import RiskIntervals

FEWEST_CLUSTERS = 10
"""Below this many locomotives the variance between them is not used."""

_LOG_SHAPES = (np.log(1e-3), np.log(1e2))  # beyond these a shape says nothing of wear
_WIDER = np.log(1e3)  # how much farther a bound is looked for
_STEPS = 200
_NEAR = 1e-13


@dataclass(frozen=True, slots=True, eq=False)
class PowerIntensities:
    """Fitted power laws, arrays of shape (groups,); NaN where there is no maximum.

    `log_level` is the logarithm of the cumulative intensity at the age exp(`log_top`), `middle` the
    mean logarithm of age (relative to it) at risk; there the estimates of level and shape are
    independent, with `level_variance` and `shape_variance`. The `robust_` ones are those between
    clusters, 0 where there are too few of them.
    """

    shape: FloatArray
    shape_lower: FloatArray
    shape_upper: FloatArray
    log_level: FloatArray
    log_top: FloatArray
    middle: FloatArray
    level_variance: FloatArray
    shape_variance: FloatArray
    robust_level: FloatArray
    robust_both: FloatArray
    robust_shape: FloatArray


def fit_power_intensities(
    data: RiskIntervals, *, level: float, bounds: bool = True
) -> PowerIntensities:
    """Fit the intensity of every group by maximum likelihood, with profile-likelihood bounds.

    Parameters
    ----------
    data : intervals whose events all have an age above 0
    level : two-sided confidence level of the bounds of the shape
    bounds : whether the shape is bounded, which takes most of the time; else NaN

    Conventions
    -----------
    Where 10 or more clusters show more variance than the model, the likelihood ratio is divided by
    the ratio of the two (never multiplied).
    """
    moments = _Moments.of(data)
    known = moments.has_maximum
    bracket = (np.where(known, end, 0.0) for end in _LOG_SHAPES)  # nothing to find elsewhere
    log_shape = falling_roots(moments.slope, *bracket)
    shape = np.where(known, np.exp(log_shape), np.nan)
    safe = np.where(known, shape, 1.0)
    area, first, second = moments.areas(safe)
    with np.errstate(divide="ignore", invalid="ignore"):
        middle, curve = first / area, second / area - (first / area) ** 2
        shape_variance = 1.0 / (moments.count / safe**2 + moments.count * curve)
        level_variance = 1.0 / moments.count
        log_level = np.log(moments.count / area)
    robust = _between_clusters(data, moments, safe, (area, middle, shape_variance))
    ratio = np.maximum(1.0, robust[2] / shape_variance)
    best = np.where(known, log_shape, 0.0)
    low = high = np.full(data.groups, np.nan)
    if bounds:
        low, high = _profile_bounds(moments, best, level, ratio)
    blank = np.where(known, 0.0, np.nan)
    return PowerIntensities(
        shape=shape,
        shape_lower=np.exp(low) + blank,
        shape_upper=np.exp(high) + blank,
        log_level=log_level + blank,
        log_top=moments.log_top,
        middle=middle + blank,
        level_variance=level_variance + blank,
        shape_variance=shape_variance + blank,
        robust_level=robust[0],
        robust_both=robust[1],
        robust_shape=robust[2],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Moments:
    data: RiskIntervals
    log_top: FloatArray  # of each group
    log_start: FloatArray  # of each interval, relative to the top; 0 where it starts at age 0
    log_stop: FloatArray
    from_birth: FloatArray
    count: FloatArray  # events of each group
    log_sum: FloatArray  # of relative log ages at the events

    @classmethod
    def of(cls, data: RiskIntervals) -> _Moments:
        top = np.zeros(data.groups)
        np.maximum.at(top, data.group, data.stop)
        log_top = np.log(np.where(top > 0, top, 1.0))
        from_birth = data.start == 0
        safe_stop = np.where(data.stop > 0, data.stop, 1.0)
        log_start = np.log(np.where(from_birth, safe_stop, data.start)) - log_top[data.group]
        log_stop = np.log(safe_stop) - log_top[data.group]
        return cls(
            data,
            log_top,
            log_start,
            log_stop,
            from_birth,
            data.by_group(data.events),
            data.by_group(data.events * log_stop),
        )

    def area_terms(self, shape: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return stop^b - start^b of each interval, and its first two derivatives by b."""
        each = shape[self.data.group]
        up = np.exp(each * self.log_stop)
        down = np.where(self.from_birth, 0.0, np.exp(each * self.log_start))
        narrow = -np.expm1(each * (self.log_start - self.log_stop))
        return (
            up * np.where(self.from_birth, 1.0, narrow) * (self.data.stop > 0),
            up * self.log_stop - down * self.log_start,
            up * self.log_stop**2 - down * self.log_start**2,
        )

    def areas(self, shape: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the sums of `area_terms` by group."""
        zero, first, second = self.area_terms(shape)
        by = self.data.by_group
        return by(zero), by(first), by(second)

    def profile(self, log_shape: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the profile log-likelihood up to a constant, and two derivatives of it.

        They are by the logarithm of the shape.
        """
        shape = np.exp(log_shape)
        area, first, second = self.areas(shape)
        with np.errstate(divide="ignore", invalid="ignore"):
            value = self.count * log_shape + shape * self.log_sum - self.count * np.log(area)
            bend = shape * (self.log_sum - self.count * first / area)
            score = self.count + bend
            bend = bend - shape**2 * self.count * (second / area - (first / area) ** 2)
        return value, score, bend

    def slope(self, log_shape: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return two derivatives of the profile log-likelihood by the log of the shape."""
        return self.profile(log_shape)[1:]

    @property
    def has_maximum(self) -> BoolArray:
        """Whether the likelihood rises from the least shape on and falls towards the greatest."""
        low, high = (np.full(self.count.size, end) for end in _LOG_SHAPES)
        with np.errstate(invalid="ignore"):
            found: BoolArray = (self.slope(low)[0] > 0) & (self.slope(high)[0] < 0)
        return found


def falling_roots(
    evaluate: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    low: FloatArray,
    high: FloatArray,
) -> FloatArray:
    """Find where functions, one an element, fall through zero: Newton steps kept in a bracket.

    `evaluate` returns value and slope at one point an element. One that has settled stays where it
    is: rounding would send it out of its bracket, and half-way across that.
    """
    low, high = low.copy(), high.copy()
    at = 0.5 * (low + high)
    settled = np.zeros(at.shape, dtype=np.bool_)
    for _ in range(_STEPS):
        value, slope = evaluate(at)
        above = value > 0
        low, high = np.where(above, at, low), np.where(above, high, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = at - value / slope
        near = _NEAR * (1.0 + np.abs(at))
        settled |= (np.abs(newton - at) <= near) | (high - low <= near) | np.isnan(value)
        inside = (newton > low) & (newton < high)
        following = np.where(inside, newton, 0.5 * (low + high))
        at = np.where(settled, at, following)
        if settled.all():
            break
    return at


def _profile_bounds(
    moments: _Moments, best: FloatArray, level: float, ratio: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the logs of the shapes at which the likelihood has fallen by the level's amount."""
    least = moments.profile(best)[0] - 0.5 * float(special.chdtri(1, 1.0 - level)) * ratio

    def rising(negative: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope, _ = moments.profile(-negative)
        return value - least, -slope

    def falling(log_shape: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope, _ = moments.profile(log_shape)
        return value - least, slope

    # Near the maximum the slope is 0: a first step out keeps Newton's method from leaving.
    lower = -falling_roots(rising, -best, -best + _WIDER)
    upper = falling_roots(falling, best, best + _WIDER)
    open_below = lower <= best - _WIDER + 1e-6
    open_above = upper >= best + _WIDER - 1e-6
    return np.where(open_below, -np.inf, lower), np.where(open_above, np.nan, upper)


def _between_clusters(
    data: RiskIntervals,
    moments: _Moments,
    shape: FloatArray,
    at_best: tuple[FloatArray, FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the variances of level and shape, and their covariance, as clusters show them.

    The sum over clusters of the squared influence of each (Lin & Wei 1989), times C / (C - 1).
    """
    area, middle, shape_variance = at_best
    many = int(data.cluster.max(initial=0)) + 1
    pairs, pair = np.unique(data.group * many + data.cluster, return_inverse=True)
    of = pairs // many
    size = of.size
    zero, first, _ = moments.area_terms(shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.nan_to_num(moments.count / area)[of]
        count = sums_by(pair, data.events, size)
        level_score = count - rate * sums_by(pair, zero, size)
        shape_score = (
            count / shape[of]
            + sums_by(pair, data.events * moments.log_stop, size)
            - rate * sums_by(pair, first, size)
            - middle[of] * level_score
        )
        level = np.nan_to_num(level_score / moments.count[of])
        bend = np.nan_to_num(shape_score * shape_variance[of])
        clusters = sums_by(of, sums_by(pair, zero, size) > 0, data.groups)
        grow = np.where(clusters >= FEWEST_CLUSTERS, clusters / (clusters - 1.0), 0.0)
    return (
        sums_by(of, level * level, data.groups) * grow,
        sums_by(of, level * bend, data.groups) * grow,
        sums_by(of, bend * bend, data.groups) * grow,
    )
