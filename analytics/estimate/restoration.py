"""How long it takes to make a locomotive good again: the mean of a lognormal law, with bounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.cluster_variance import FEWEST_CLUSTERS
from analytics.estimate.life_batch import LifeBatch, fit_batch
from analytics.estimate.life_data import LifeData
from analytics.estimate.rate import (
    BoolArray,
    FloatArray,
    IntArray,
    check_level,
    check_numbers,
    sums_by,
)
from analytics.estimate.risk_sets import check_labels

TOO_FEW_RESTORATIONS = "restoration.too_few"
ALL_EQUAL = "restoration.all_equal"
NOT_DETERMINED = "restoration.not_determined"
NOT_LOGNORMAL = "restoration.not_lognormal"
FEW_FOR_BOUNDS = "restoration.few_for_bounds"
FEWEST_RESTORATIONS, FEWEST_FOR_BOUNDS = 3, 5


@dataclass(frozen=True, slots=True)
class RestorationTime:
    """Mean and median time to restoration, in the unit handed in; NaN where undefined.

    `mu` and `sigma` are of the natural logarithm; `sigma` is corrected for its bias. `note` is a
    message key, empty when there is nothing to say.
    """

    mean: float
    mean_lower: float
    mean_upper: float
    median: float
    mu: float
    sigma: float
    restored: int
    still_down: int
    level: float
    note: str


def estimate_restoration(
    hours: ArrayLike,
    restored: ArrayLike | None = None,
    *,
    level: float = 0.90,
    cluster: ArrayLike | None = None,
) -> RestorationTime:
    """Mean time to restoration under a lognormal law, with Cox's bounds, and the median.

    Parameters
    ----------
    hours : (n,) length of each down interval, above 0, in any unit
    restored : (n,) whether it ended; False: still down after that time. None: all ended
    level : two-sided confidence level
    cluster : (n,) optional, the locomotive of each interval, any labels

    Returns
    -------
    RestorationTime

    Conventions
    -----------
    mean = exp(mu + sigma^2 / 2), median = exp(mu). Bounds of log mean: plus and minus Student's
    quantile (restored - 1) times sqrt(s^2/n + s^4/(2(n-1))), Cox's interval with t for z, which
    holds its level better in small samples. With intervals still down mu and sigma by maximum
    likelihood, s^2 = sigma^2 r/(r-1) for r restored, and the variance from the observed
    information. With 10 or more clusters the bounds are the wider of these and of those from the
    sums, by cluster, of what each interval adds to log mean, times n/(n-1) and with Student's
    quantile (n - 1) for n clusters.

    Limits
    ------
    Fewer than 3 restored, or all lengths equal: NaN with a note. Fewer than 5: no bounds, with a
    note. They would hold their level but say nothing: simulated with a log deviation of 0.9, the
    upper one is over 36 times the mean in one of ten samples of 3, over 9 times of 4, over 5 times
    of 5. Where the plain average of
    complete samples lies outside the bounds, the lognormal law does not fit: figures stay, note
    says so. Without a cluster, or with fewer than 10, intervals are taken as independent: where
    locomotives differ, bounds of 0.90 then covered 0.35 to 0.85 in simulation.

    Raises
    ------
    EstimateError
        A length that is not above 0, or arrays of different length.

    References
    ----------
    Land (1971), Annals of Mathematical Statistics 42, 1187-1205; Zhou & Gao (1997), Statistics in
    Medicine 16, 783-790 (Cox's interval); Olsson (2005), Journal of Statistics Education 13(1)
    (t for z); Lin & Wei (1989), JASA 84, 1074-1078 (sums by cluster).
    """
    check_level(level)
    lengths = check_numbers(hours, "hours") if np.size(hours) else np.zeros(0)
    ended = np.ones(lengths.size, bool) if restored is None else np.asarray(restored, dtype=bool)
    if ended.shape != lengths.shape:
        raise EstimateError(
            f"One length per interval is needed, got {lengths.size} for {ended.size}."
        )
    if np.any(lengths <= 0):
        raise EstimateError("A down interval must last longer than 0.")
    number = int(ended.sum())
    if number < FEWEST_RESTORATIONS:
        return _none(ended, level, TOO_FEW_RESTORATIONS)
    if np.ptp(lengths[ended]) <= 1e-9 * float(lengths[ended].max()):
        return _none(ended, level, ALL_EQUAL)
    found = _complete(np.log(lengths)) if ended.all() else _censored(lengths, ended)
    if found is None:
        return _none(ended, level, NOT_DETERMINED)
    mu, sigma, variance = found.mu, found.sigma, found.variance
    middle = mu + sigma**2 / 2
    reach = float(special.stdtrit(number - 1, (1.0 + level) / 2.0)) * np.sqrt(variance)
    if cluster is not None:
        labels = check_labels(cluster, lengths.size, "cluster")
        reach = max(reach, _reach_between(found, np.log(lengths), ended, labels, level=level))
    lower, upper = float(np.exp(middle - reach)), float(np.exp(middle + reach))
    fits = not ended.all() or lower <= float(lengths.mean()) <= upper
    note = "" if fits else NOT_LOGNORMAL
    if number < FEWEST_FOR_BOUNDS:
        lower, upper, note = float("nan"), float("nan"), FEW_FOR_BOUNDS
    return RestorationTime(
        mean=float(np.exp(middle)),
        mean_lower=lower,
        mean_upper=upper,
        median=float(np.exp(mu)),
        mu=mu,
        sigma=sigma,
        restored=number,
        still_down=int(ended.size - number),
        level=level,
        note=note,
    )


def point_availability(failure_rate: float, restoration_rate: float, time: ArrayLike) -> FloatArray:
    """Return the chance that a unit is up at instants after it was put up as new.

    Parameters
    ----------
    failure_rate, restoration_rate : above 0, failures per unit of time up, restorations per unit
        of time down
    time : (n,) instants, 0 or more, in that unit; infinite: what it comes to in the long run

    Returns
    -------
    (n,) array, 1 at time 0

    Conventions
    -----------
    Up and down in turn, both at constant rates l and m: A(t) = (m + l exp(-(l + m) t)) / (l + m).
    What is measured over a long record comes near m / (l + m).

    Raises
    ------
    EstimateError
        A rate not above 0, an instant below 0.

    References
    ----------
    IEC 61703, point availability of a unit with two states.
    """
    instants = np.atleast_1d(np.asarray(time, dtype=np.float64))
    if not (failure_rate > 0 and restoration_rate > 0):
        raise EstimateError(
            f"Both rates must be above 0, got {failure_rate!r} and {restoration_rate!r}."
        )
    if not np.all(instants >= 0):
        raise EstimateError(f"An instant must not be below 0, got {float(instants.min())!r}.")
    both = failure_rate + restoration_rate
    found: FloatArray = (restoration_rate + failure_rate * np.exp(-both * instants)) / both
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """Mean and deviation of the logs, variance of the log mean, covariance of mu and sigma."""

    mu: float
    sigma: float
    variance: float
    covariance: FloatArray


def _complete(logs: FloatArray) -> _Found:
    """From all lengths, with Cox's variance."""
    size, square = logs.size, float(logs.var(ddof=1))
    variance = square / size + square**2 / (2 * (size - 1))
    return _Found(
        float(logs.mean()), square**0.5, variance, np.diag([square / size, square / (2 * size)])
    )


def _censored(lengths: FloatArray, ended: BoolArray) -> _Found | None:
    """By maximum likelihood; None where no maximum determines both."""
    upper = np.where(ended, lengths, np.inf)
    lives = LifeBatch.of(LifeData(np.zeros(lengths.size), lengths, upper), size=1)
    fit = fit_batch(lives, "lognormal", bounds=False)
    mu, sigma = float(fit.mu[0]), float(fit.sigma[0])
    if np.isnan(sigma):
        return None
    number = int(ended.sum())
    correction = number / (number - 1)
    square = sigma**2 * correction
    slope = np.array([1.0, square**0.5])  # of mu + sigma^2 / 2 by mu and sigma
    covariance = fit.covariance[..., 0] * correction
    return _Found(mu, square**0.5, float(slope @ covariance @ slope), covariance)


def _reach_between(
    found: _Found, logs: FloatArray, ended: BoolArray, labels: IntArray, *, level: float
) -> float:
    """Half width of the bounds of the log mean between clusters, 0 where they are too few."""
    clusters = int(labels.max()) + 1
    if clusters < FEWEST_CLUSTERS:
        return 0.0
    z = (logs - found.mu) / found.sigma
    # Scores of mu and sigma; of an interval still running, of its chance to last longer.
    lasting = np.exp(-0.5 * z**2 - special.log_ndtr(-z)) / np.sqrt(2.0 * np.pi)
    scores = np.stack([np.where(ended, z, lasting), np.where(ended, z**2 - 1.0, z * lasting)])
    pull = np.array([1.0, found.sigma]) @ found.covariance @ scores / found.sigma
    between = np.sum(sums_by(labels, pull - pull.mean(), clusters) ** 2)
    quantile = special.stdtrit(clusters - 1, (1.0 + level) / 2.0)
    return float(quantile * np.sqrt(between * clusters / (clusters - 1)))


def _none(ended: BoolArray, level: float, note: str) -> RestorationTime:
    number = int(ended.sum())
    none = (float("nan"),) * 6
    return RestorationTime(*none, number, int(ended.size - number), level, note)
