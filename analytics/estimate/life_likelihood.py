"""The log-likelihood of lives under a law of location and scale, with slope and curvature.

On the logarithm of age Weibull and lognormal lives are one family: z = (log age - location) /
scale, with z following the law of the smallest extreme value (Weibull: location = log of the
Weibull scale, scale = 1 / shape) or the normal law (lognormal: mu, sigma). Exact, right-, left- and
interval-censored lives and late entries each add one term.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimate.life_data import LifeData
from analytics.estimate.rate import FloatArray

_LOG_OF_ZERO = -1e6
_HALF_LOG_TWO_PI = 0.5 * np.log(2.0 * np.pi)

Curve = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Law:
    """A standard law: logs of survival and density at z, and the density's relative slope.

    `slope` is the derivative of the log density, `bend` the derivative of `slope`.
    """

    log_survival: Curve
    log_density: Curve
    slope: Curve
    bend: Curve


EXTREME_VALUE = Law(
    log_survival=lambda z: -np.exp(z),
    log_density=lambda z: z - np.exp(z),
    slope=lambda z: 1.0 - np.exp(z),
    bend=lambda z: -np.exp(z),
)
NORMAL = Law(
    log_survival=lambda z: special.log_ndtr(-z),
    log_density=lambda z: -0.5 * z * z - _HALF_LOG_TWO_PI,
    slope=lambda z: -z,
    bend=lambda z: np.full_like(z, -1.0),
)


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Log ages by what is known of them, measured from `unit`, the log of a typical age.

    `exact` are ages of failures; `low`, `high` the ends of intervals; `passed` ages survived, each
    counted `sign` times: 1 for a life that had not failed, -1 for a late entry.
    """

    exact: FloatArray
    low: FloatArray
    high: FloatArray
    passed: FloatArray
    sign: FloatArray
    unit: float

    @property
    def constant(self) -> float:
        """Return what turns densities of log age into densities of age in the clock's unit."""
        return -float(self.exact.sum()) - self.unit * self.exact.size


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """The log-likelihood at one location and log scale, its slope (2,) and curvature (2, 2)."""

    location: float
    log_scale: float
    value: float
    slope: FloatArray
    curvature: FloatArray


def read_sample(lives: LifeData) -> Sample:
    """Take logs of the ages, from a typical one so that nothing depends on the clock's unit."""
    seen = np.where(lives.failed, lives.upper, lives.lower)
    unit = float(np.log(np.median(seen)))
    exact, failed = lives.exact, lives.failed
    between = failed & ~exact
    late = lives.entry > 0
    low = lives.lower[between]
    passed = np.concatenate([lives.lower[~failed], lives.entry[late]])
    return Sample(
        exact=np.log(lives.lower[exact]) - unit,
        low=np.log(low, out=np.full(low.shape, _LOG_OF_ZERO), where=low > 0) - unit,
        high=np.log(lives.upper[between]) - unit,
        passed=np.log(passed) - unit,
        sign=np.repeat([1.0, -1.0], [int((~failed).sum()), int(late.sum())]),
        unit=unit,
    )


def log_likelihood(law: Law, sample: Sample, location: float, log_scale: float) -> Point:
    """Evaluate the log-likelihood of log ages with derivatives by location and log scale.

    Where a trial is so far off that the numbers overflow, the value is minus infinity.
    """
    scale = float(np.exp(log_scale))
    total = np.zeros(6)
    with np.errstate(all="ignore"):
        if sample.exact.size:
            total += _exact_terms(law, (sample.exact - location) / scale, scale)
            total[:3] -= (sample.exact.size * log_scale, 0.0, sample.exact.size)
        if sample.passed.size:
            total += _passed_terms(law, (sample.passed - location) / scale, sample.sign, scale)
        if sample.low.size:
            low, high = (sample.low - location) / scale, (sample.high - location) / scale
            total += _interval_terms(law, low, high, scale)
    if not np.isfinite(total).all():
        total = np.array([-np.inf, 0.0, 0.0, 0.0, 0.0, 0.0])
    curvature = np.array([[total[3], total[4]], [total[4], total[5]]])
    return Point(location, log_scale, float(total[0]), total[1:3], curvature)


def _exact_terms(law: Law, z: FloatArray, scale: float) -> FloatArray:
    return _chain(law.log_density(z).sum(), law.slope(z), law.bend(z), z=z, scale=scale)


def _passed_terms(law: Law, z: FloatArray, sign: FloatArray, scale: float) -> FloatArray:
    log_survival = law.log_survival(z)
    hazard = np.exp(law.log_density(z) - log_survival)
    rises = hazard * (law.slope(z) + hazard)
    value = float((sign * log_survival).sum())
    return _chain(value, -sign * hazard, -sign * rises, z=z, scale=scale)


def _chain(
    value: float, first: FloatArray, second: FloatArray, *, z: FloatArray, scale: float
) -> FloatArray:
    """Turn derivatives by z into value, slopes and curvatures by location and log scale."""
    bent = z * second
    return np.array(
        [
            value,
            -first.sum() / scale,
            -(z * first).sum(),
            second.sum() / scale**2,
            (first + bent).sum() / scale,
            (z * (first + bent)).sum(),
        ]
    )


def _interval_terms(law: Law, low: FloatArray, high: FloatArray, scale: float) -> FloatArray:
    """Add up log(S(low) - S(high)); all is taken relative to S(low), which may underflow."""
    log_low = law.log_survival(low)
    chance = -np.expm1(law.log_survival(high) - log_low)
    at_low, at_high = _edge(law, low, log_low, scale), _edge(law, high, log_low, scale)
    by_location, by_scale, *second = (at_low - at_high) / chance
    return np.array(
        [
            (log_low + np.log(chance)).sum(),
            by_location.sum(),
            by_scale.sum(),
            (second[0] - by_location**2).sum(),
            (second[1] - by_location * by_scale).sum(),
            (second[2] - by_scale**2).sum(),
        ]
    )


def _edge(law: Law, z: FloatArray, log_low: FloatArray, scale: float) -> FloatArray:
    """Return the derivatives of S(z) over S(low): location, log scale, and the three second."""
    density = np.exp(law.log_density(z) - log_low)
    leaning = density * law.slope(z)
    mixed = density + z * leaning
    return np.array([density / scale, z * density, -leaning / scale**2, -mixed / scale, -z * mixed])
