"""Failure rates and mean operating time between failures, with bounds that admit what they assume.

Three kinds of bounds. `exact-poisson` supposes one constant rate for all locomotives. Where the
counts by locomotive speak against that, `bootstrap` (10 or more locomotives) or `gamma-poisson`
(fewer) let the rate differ between locomotives. The kind used is part of the result.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analytics.errors import EstimateError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
RateMethod = Literal["exact-poisson", "bootstrap", "gamma-poisson"]

SAME_RATE_P = 0.10
"""Above this one-sided p the counts by locomotive are taken to share one rate."""

FEWEST_FOR_BOOTSTRAP = 10
RESAMPLES = 2_000
_DRAWS_AT_ONCE = 2_000_000
_FEW_FAILURES = 20
_TAIL_DRAWS = 1_999
_SPREADS = np.linspace(0.05, 2.0, 40)
_LOG_RATES = np.linspace(-4.0, 4.0, 241)


@dataclass(frozen=True, slots=True)
class RateEstimate:
    """A failure rate and its inverse, the mean operating time between failures.

    Times are in the unit of the exposure handed in, rates per one such unit. NaN stands for
    "undefined": no figure here is ever infinite. `dispersion` is the chi-square statistic of the
    counts by locomotive over its degrees of freedom, `dispersion_p` its one-sided p (up to 20
    failures it is drawn, and never below 1/2000).
    """

    exposure: float
    failures: int
    mtbf: float
    mtbf_lower: float
    mtbf_upper: float
    rate: float
    rate_lower: float
    rate_upper: float
    level: float
    method: RateMethod
    dispersion: float
    dispersion_p: float


@dataclass(frozen=True, slots=True)
class RateRatio:
    """The rate of population a over the rate of population b, with exact conditional bounds."""

    ratio: float
    lower: float
    upper: float
    p: float
    failures_a: int
    exposure_a: float
    failures_b: int
    exposure_b: float
    level: float


def check_level(level: float) -> float:
    """Return the confidence level, or raise EstimateError unless 0 < level < 1."""
    if not 0.0 < level < 1.0:
        raise EstimateError(f"A confidence level lies between 0 and 1, got {level!r}.")
    return float(level)


def check_numbers(values: ArrayLike, name: str) -> FloatArray:
    """Return `values` as a new one-dimensional float array, or raise unless all are finite."""
    numbers: FloatArray = np.array(values, dtype=np.float64, ndmin=1)
    if numbers.ndim != 1:
        raise EstimateError(f"{name} must be one-dimensional, got shape {numbers.shape!r}.")
    bad = ~np.isfinite(numbers)
    if bad.any():
        at = int(np.argmax(bad))
        raise EstimateError(f"{name} must be finite, got {float(numbers[at])!r} at index {at}.")
    return numbers


def check_indices(values: ArrayLike, size: int, name: str) -> IntArray:
    """Return `values` as integer indices, or raise unless all lie in 0..size-1."""
    given = np.asarray(values)
    if given.size == 0:
        return np.zeros(0, dtype=np.int64)
    if given.ndim != 1 or given.dtype.kind not in "iu":
        raise EstimateError(f"{name} must be a row of integers, got {given.dtype.name!r}.")
    bad = (given < 0) | (given >= size)
    if bad.any():
        raise EstimateError(f"{name} must lie in 0..{size - 1}, got {int(given[bad][0])!r}.")
    return given.astype(np.int64)


def sums_by(index: IntArray, values: ArrayLike, size: int) -> FloatArray:
    """Return the sum of `values` for each of the indices 0..size-1."""
    return np.bincount(index, weights=np.asarray(values), minlength=size).astype(np.float64)


def exact_mtbf_bounds(
    failures: ArrayLike,
    exposure: ArrayLike,
    *,
    level: float = 0.90,
    failure_truncated: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Chi-square bounds of the MTBF under one constant rate, for any number of groups at once.

    Parameters
    ----------
    failures : array of counts, any shape
    exposure : array of time on the clock, broadcastable against `failures`
    level : two-sided confidence level; one-sided where there is no failure
    failure_truncated : observation ended at the last failure instead of at a set time

    Returns
    -------
    lower, upper : arrays of the common shape, in the unit of the exposure

    Conventions
    -----------
    Time-truncated: 2T / chi2((1+g)/2; 2r+2) and 2T / chi2((1-g)/2; 2r); failure-truncated: 2r
    degrees of freedom in both. Every bound is at least as wide as its level.

    Limits
    ------
    No failure: the lower bound is one-sided, T / (-ln(1-g)), the upper is NaN (there is none).
    No exposure: NaN.

    Raises
    ------
    EstimateError
        A negative, broken or undefined count, or a negative or undefined exposure.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1; IEC 60605-4.
    """
    tail = (1.0 - check_level(level)) / 2.0
    counts, times = np.broadcast_arrays(
        np.asarray(failures, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    )
    _check_counts(counts)
    _check_exposure(times)
    some, used = counts > 0, times > 0
    shape_lower = counts if failure_truncated else counts + 1.0
    # Half a chi-square quantile with 2k degrees of freedom is a gamma quantile of shape k.
    lower = times / special.gammaincinv(np.where(some, shape_lower, 1.0), 1.0 - tail)
    lower = np.where(some, lower, times / -np.log1p(-level))
    upper = times / special.gammaincinv(np.where(some, counts, 1.0), tail)
    return np.where(used, lower, np.nan), np.where(used & some, upper, np.nan)


def estimate_rate(
    failures: ArrayLike, exposure: ArrayLike, *, level: float = 0.90, seed: int = 0
) -> RateEstimate:
    """Failure rate and MTBF of a group of locomotives, with bounds chosen by the evidence.

    Parameters
    ----------
    failures : (n_locomotives,) counted failures of each locomotive
    exposure : (n_locomotives,) time on the clock each was observed
    level : two-sided confidence level
    seed : start of the random draws; the same seed gives the same bounds, in whatever order the
        locomotives come

    Returns
    -------
    RateEstimate

    Conventions
    -----------
    MTBF = sum of exposure / sum of failures. The spread of the counts by locomotive is tested
    against one common rate; one-sided p above 0.10: `exact-poisson`. Otherwise the bounds allow
    the rate to differ between locomotives: BCa bootstrap over locomotives where 10 or more have
    exposure (normal quantiles replaced by Student's, widened by sqrt(n/(n-1)), since few
    locomotives otherwise give narrow bounds), else a gamma-mixed Poisson law with its spread
    integrated out. Neither is ever narrower than `exact-poisson`.

    Limits
    ------
    No failure: rate and rate_lower 0, rate_upper = 1 / mtbf_lower (one-sided), mtbf and
    mtbf_upper NaN. No exposure: all figures NaN. Fewer than 2 locomotives with exposure or fewer
    than 2 failures: dispersion_p NaN and `exact-poisson`. A bootstrap whose lower rate is 0
    leaves mtbf_upper NaN. The rate is supposed constant in time: see `trend`.

    Raises
    ------
    EstimateError
        Arrays of different length, a broken or negative count, a negative exposure.

    References
    ----------
    NIST/SEMATECH e-Handbook, 8.4.5.1; Efron (1987), JASA 82, 171-185 (BCa); Hesterberg (2015),
    The American Statistician 69, 371-386 (small-sample widening); Lawless (1987), Canadian
    Journal of Statistics 15, 209-225 (gamma-mixed Poisson).
    """
    counts, times = check_numbers(failures, "failures"), check_numbers(exposure, "exposure")
    if counts.shape != times.shape:
        raise EstimateError(
            f"One exposure per count is needed, got {times.size!r} for {counts.size!r}."
        )
    _check_counts(counts)
    _check_exposure(times)
    total, time = float(counts.sum()), float(times.sum())
    found_lower, found_upper = exact_mtbf_bounds(total, time, level=level)
    lower, upper = float(found_lower), float(found_upper)
    # One order whatever order they came in, so that the draws below give the same bounds.
    seen = np.lexsort((counts, times))
    seen = seen[times[seen] > 0]
    dispersion, p = dispersion_of_counts(counts[seen], times[seen], seed=seed)
    method: RateMethod = "exact-poisson"
    if p <= SAME_RATE_P:
        method, wide = _bounds_between_locomotives(
            counts[seen], times[seen], level=level, seed=seed
        )
        lower, upper = min(lower, 1.0 / wide[1]), _widest_mtbf(upper, wide[0])
    observed = time > 0
    return RateEstimate(
        exposure=time,
        failures=int(total),
        mtbf=time / total if observed and total else np.nan,
        mtbf_lower=lower,
        mtbf_upper=upper,
        rate=total / time if observed else np.nan,
        rate_lower=_rate_lower(upper, observed=observed),
        rate_upper=1.0 / lower,
        level=level,
        method=method,
        dispersion=dispersion,
        dispersion_p=p,
    )


def compare_rates(
    failures_a: ArrayLike,
    exposure_a: ArrayLike,
    failures_b: ArrayLike,
    exposure_b: ArrayLike,
    *,
    level: float = 0.90,
) -> RateRatio:
    """Ratio of two constant failure rates, a over b, with exact bounds and p-value.

    For a change made at each locomotive's own date, two classes, two depots.

    Parameters
    ----------
    failures_a, failures_b : counts; arrays are added up
    exposure_a, exposure_b : time on the clock; arrays are added up
    level : two-sided confidence level

    Returns
    -------
    RateRatio
        `p` is twice the smaller tail, at most 1, so that the bounds at level 1 - p touch 1.

    Conventions
    -----------
    Given the total of failures, those of a are binomial; Clopper-Pearson bounds of that share.

    Limits
    ------
    No failure in b: ratio and upper NaN (no infinity), lower stays. No failure in a: ratio and
    lower 0. No failure in either, or no exposure in one: all NaN. Supposes one constant rate
    within each population; where locomotives differ the bounds are too narrow. When those
    changed were chosen for being bad, part of any drop is regression to the mean.

    Raises
    ------
    EstimateError
        A broken or negative count, a negative exposure.

    References
    ----------
    Przyborowski & Wilenski (1940), Biometrika 31, 313-323; Clopper & Pearson (1934).
    """
    tail = (1.0 - check_level(level)) / 2.0
    counts = [check_numbers(given, "failures") for given in (failures_a, failures_b)]
    times = [check_numbers(given, "exposure") for given in (exposure_a, exposure_b)]
    for count, time in zip(counts, times, strict=True):
        _check_counts(count)
        _check_exposure(time)
    a, b = (float(count.sum()) for count in counts)
    time_a, time_b = (float(time.sum()) for time in times)
    ratio = lower = upper = p = np.nan
    if a + b > 0 and time_a > 0 and time_b > 0:
        even = time_a / (time_a + time_b)
        p = min(1.0, 2.0 * min(_share_at_most(a, a + b, even), _share_at_most(b, a + b, 1 - even)))
        share = special.betaincinv(a, b + 1.0, tail) if a else 0.0
        lower = float(share / (1.0 - share) * time_b / time_a)
        if b:
            ratio = (a / time_a) / (b / time_b)
            above = special.betaincinv(b, a + 1.0, tail)  # 1 - upper share, without rounding
            upper = float((1.0 - above) / above * time_b / time_a)
    return RateRatio(
        ratio=ratio,
        lower=lower,
        upper=upper,
        p=p,
        failures_a=int(a),
        exposure_a=time_a,
        failures_b=int(b),
        exposure_b=time_b,
        level=level,
    )


def _check_counts(counts: FloatArray) -> None:
    bad = ~((counts >= 0) & (counts == np.floor(counts)) & np.isfinite(counts))
    if bad.any():
        raise EstimateError(
            f"Failures must be whole and not negative, got {float(counts[bad][0])!r}."
        )


def _check_exposure(times: FloatArray) -> None:
    bad = ~((times >= 0) & np.isfinite(times))
    if bad.any():
        raise EstimateError(
            f"Exposure must be finite and not negative, got {float(times[bad][0])!r}."
        )


def _share_at_most(count: float, total: float, chance: float) -> float:
    """Return the chance of at most `count` successes in `total` draws."""
    if count >= total:
        return 1.0
    return float(special.betainc(total - count, count + 1.0, 1.0 - chance))


def _widest_mtbf(upper: float, rate_lower: float) -> float:
    return max(upper, 1.0 / rate_lower) if rate_lower > 0 else np.nan


def _rate_lower(mtbf_upper: float, *, observed: bool) -> float:
    if not observed:
        return np.nan
    return 0.0 if np.isnan(mtbf_upper) else 1.0 / mtbf_upper


def dispersion_of_counts(
    counts: FloatArray, times: FloatArray, *, seed: int = 0
) -> tuple[float, float]:
    """Chi-square statistic of counts over its degrees of freedom, and one-sided p given the total.

    NaN below 2 units; p NaN below 2 failures. Up to 20 failures p is by 1,999 draws of where they
    fall; beyond that the statistic is compared with a chi-square law scaled to its exact mean and
    variance (Haldane 1939, Biometrika 31, 346-355). Units with next to no exposure count with the
    least seen other one.
    """
    counts, times = _merge_barely_seen(counts, times)
    total, units = int(counts.sum()), counts.size
    if units < 2 or total < 1:
        return np.nan, np.nan
    share = times / times.sum()
    statistic = float((np.square(counts - total * share) / (total * share)).sum())
    free = units - 1.0
    if total < 2:
        return statistic / free, np.nan
    if total <= _FEW_FAILURES:
        return statistic / free, _drawn_tail(statistic, share, total, seed=seed)
    variance = 2 * free + (np.sum(1 / share) - units**2 - 2 * free) / total
    scale = variance / (2 * free)
    return statistic / free, float(special.chdtrc(free / scale, statistic / scale))


def _drawn_tail(statistic: float, share: FloatArray, total: int, *, seed: int) -> float:
    random = np.random.default_rng(seed).random((_TAIL_DRAWS, total))
    units = share.size
    unit = np.minimum(np.searchsorted(np.cumsum(share), random, side="right"), units - 1)
    row = np.arange(_TAIL_DRAWS)[:, None] * units
    drawn = np.bincount((unit + row).ravel(), minlength=_TAIL_DRAWS * units)
    found = np.square(drawn.reshape(_TAIL_DRAWS, units)) @ (1.0 / (total * share)) - total
    beyond = np.sum(found >= statistic * (1.0 - 1e-9) - 1e-9)
    return float((1 + beyond) / (1 + _TAIL_DRAWS))


def _merge_barely_seen(counts: FloatArray, times: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Add up locomotives seen for under a tenth of the mean time with the least seen other one.

    A locomotive with next to no exposure would otherwise rule the variance of the statistic.
    """
    seen = times >= 0.1 * times.mean() if times.size else np.ones(0, dtype=bool)
    if seen.all():
        return counts, times
    host = np.argmin(np.where(seen, times, np.inf))
    counts, times = counts.copy(), times.copy()
    counts[host] += counts[~seen].sum()
    times[host] += times[~seen].sum()
    return counts[seen], times[seen]


def _bounds_between_locomotives(
    counts: FloatArray, times: FloatArray, *, level: float, seed: int
) -> tuple[RateMethod, tuple[float, float]]:
    if counts.size >= FEWEST_FOR_BOOTSTRAP:
        return "bootstrap", _bca_rate(counts, times, level=level, seed=seed)
    return "gamma-poisson", _gamma_poisson_rate(counts, times, level=level)


def _bca_rate(
    counts: FloatArray, times: FloatArray, *, level: float, seed: int
) -> tuple[float, float]:
    """Bias-corrected and accelerated bootstrap bounds of the rate, resampling locomotives."""
    units = counts.size
    rate = counts.sum() / times.sum()
    resampled = _resampled_rates(counts, times, seed=seed)
    below = (np.sum(resampled < rate) + 0.5 * np.sum(resampled == rate)) / RESAMPLES
    edge = 0.5 / RESAMPLES
    bias = special.ndtri(np.clip(below, edge, 1.0 - edge))
    without = (counts.sum() - counts) / (times.sum() - times)
    pull = without.mean() - without
    spread = np.sum(pull**2) ** 1.5
    acceleration = np.sum(pull**3) / (6.0 * spread) if spread > 0 else 0.0
    reach = special.stdtrit(units - 1, (1.0 + level) / 2.0) * np.sqrt(units / (units - 1.0))
    wanted = bias + np.array([-reach, reach])
    # Beyond 1 the correction has no meaning; hold the denominator positive.
    chance = special.ndtr(bias + wanted / np.maximum(1.0 - acceleration * wanted, 0.05))
    lower, upper = np.quantile(resampled, chance)
    return float(lower), float(max(upper, rate))


def _resampled_rates(counts: FloatArray, times: FloatArray, *, seed: int) -> FloatArray:
    random = np.random.default_rng(seed)
    units = counts.size
    at_once = max(1, _DRAWS_AT_ONCE // units)
    parts = []
    for start in range(0, RESAMPLES, at_once):
        rows = min(at_once, RESAMPLES - start)
        drawn = random.integers(0, units, size=(rows, units))
        parts.append(counts[drawn].sum(axis=1) / times[drawn].sum(axis=1))
    return np.concatenate(parts)


def _gamma_poisson_rate(
    counts: FloatArray, times: FloatArray, *, level: float
) -> tuple[float, float]:
    """Bounds of the mean rate when each locomotive's own rate is gamma distributed.

    Flat prior on the logarithm of the mean rate and on the coefficient of variation of the
    locomotives' rates up to 2, both integrated on a grid.
    """
    rate = counts.sum() / times.sum()
    expected = rate * times[:, None, None] * np.exp(_LOG_RATES)[None, None, :]
    size = (_SPREADS**-2)[None, :, None]
    count = counts[:, None, None]
    terms = (
        special.gammaln(count + size)
        - special.gammaln(size)
        + special.xlogy(count, expected)
        - (count + size) * np.log(size + expected)
        + size * np.log(size)
    )
    likelihood = terms.sum(axis=0)
    weight = np.exp(likelihood - likelihood.max()).sum(axis=0)
    below = np.cumsum(weight) - 0.5 * weight
    tails = np.array([(1.0 - level) / 2.0, (1.0 + level) / 2.0]) * weight.sum()
    lower, upper = rate * np.exp(np.interp(tails, below, _LOG_RATES))
    return float(lower), float(upper)
