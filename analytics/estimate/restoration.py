"""How long it takes to make a locomotive good again: the mean of a lognormal law, with bounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.lives import LifeData, fit_life
from analytics.estimate.rate import BoolArray, FloatArray, check_level, check_numbers

TOO_FEW_RESTORATIONS = "restoration.too_few"
ALL_EQUAL = "restoration.all_equal"
NOT_DETERMINED = "restoration.not_determined"
NOT_LOGNORMAL = "restoration.not_lognormal"
FEWEST_RESTORATIONS = 3


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
    hours: ArrayLike, restored: ArrayLike | None = None, *, level: float = 0.90
) -> RestorationTime:
    """Mean time to restoration under a lognormal law, with Cox's bounds, and the median.

    Parameters
    ----------
    hours : (n,) length of each down interval, above 0, in any unit
    restored : (n,) whether it ended; False: still down after that time. None: all ended
    level : two-sided confidence level

    Returns
    -------
    RestorationTime

    Conventions
    -----------
    mean = exp(mu + sigma^2 / 2), median = exp(mu). Bounds of log mean: plus and minus Student's
    quantile (restored - 1) times sqrt(s^2/n + s^4/(2(n-1))), Cox's interval with t for z, which
    holds its level better in small samples. With intervals still down mu and sigma by maximum
    likelihood, s^2 = sigma^2 r/(r-1) for r restored, and the variance from the observed
    information.

    Limits
    ------
    Fewer than 3 restored, or all lengths equal: NaN with a note. Where the plain average of
    complete samples lies outside the bounds, the lognormal law does not fit: figures stay, note
    says so. Intervals of one locomotive are taken as independent.

    Raises
    ------
    EstimateError
        A length that is not above 0, or arrays of different length.

    References
    ----------
    Land (1971), Annals of Mathematical Statistics 42, 1187-1205; Zhou & Gao (1997), Statistics in
    Medicine 16, 783-790 (Cox's interval); Olsson (2005), Journal of Statistics Education 13(1)
    (t for z).
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
    found = _complete(np.log(lengths)) if ended.all() else _censored(lengths, ended, level)
    if found is None:
        return _none(ended, level, NOT_DETERMINED)
    mu, sigma, variance = found
    middle = mu + sigma**2 / 2
    reach = float(special.stdtrit(number - 1, (1.0 + level) / 2.0)) * np.sqrt(variance)
    lower, upper = float(np.exp(middle - reach)), float(np.exp(middle + reach))
    plain = float(lengths.mean())
    fits = not ended.all() or lower <= plain <= upper
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
        note="" if fits else NOT_LOGNORMAL,
    )


def _complete(logs: FloatArray) -> tuple[float, float, float]:
    """Mean and standard deviation of the logs, and Cox's variance of the log mean."""
    size, square = logs.size, float(logs.var(ddof=1))
    return float(logs.mean()), square**0.5, square / size + square**2 / (2 * (size - 1))


def _censored(
    lengths: FloatArray, ended: BoolArray, level: float
) -> tuple[float, float, float] | None:
    """The same by maximum likelihood; None where no maximum determines both."""
    upper = np.where(ended, lengths, np.inf)
    fit = fit_life(LifeData(np.zeros(lengths.size), lengths, upper), "lognormal", level=level)
    if not fit.model:
        return None
    number = int(ended.sum())
    correction = number / (number - 1)
    square = fit.sigma**2 * correction
    slope = np.array([1.0, square**0.5])  # of mu + sigma^2 / 2 by mu and sigma
    return fit.mu, square**0.5, float(slope @ fit.covariance @ slope) * correction


def _none(ended: BoolArray, level: float, note: str) -> RestorationTime:
    number = int(ended.sum())
    none = (float("nan"),) * 6
    return RestorationTime(*none, number, int(ended.size - number), level, note)
