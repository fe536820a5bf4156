"""The chance of a defect over the next weeks, and how many defects to expect.

A position of age a that will run u more has H(a + u) - H(a) failures to expect by the intensity of
its kind; rho says how many times the usual its locomotive fails.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, check_level

FEWEST_EVENTS = 5
"""A kind of position with fewer failures on record has no percentage."""


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """What n positions have before them, arrays of shape (n,); NaN where it cannot be told.

    `chance` is that of at least one failure, NaN as well where the kind has too few failures;
    `expected` the expected number of failures.
    """

    chance: FloatArray
    expected: FloatArray


def forecast(usual: ArrayLike, ratio: ArrayLike, events: ArrayLike) -> Forecast:
    """Forecast the failures of positions over one horizon.

    Parameters
    ----------
    usual : (n,) failures that the intensity of its kind lets expect, H(a + u) - H(a)
    ratio : (n,) rho, the shrunk ratio of observed to expected failures of its locomotive
    events : (n,) failures on record of the position's kind

    Returns
    -------
    Forecast
        expected = rho [H(a + u) - H(a)], chance = 1 - exp(-expected).

    Conventions
    -----------
    Given its age a position fails as a Poisson process: what is restored keeps its age. What a
    failure in the horizon changes for the rest of it is left out: a matter of second order.

    Limits
    ------
    Fewer than 5 failures of its kind: no chance. `usual` NaN: both NaN.

    Raises
    ------
    EstimateError
        Unequal lengths, a number below 0.

    References
    ----------
    Cook & Lawless (2007), The Statistical Analysis of Recurrent Events, section 2.2 (counts over an
    interval of a Poisson process).
    """
    due, rho, found = (np.asarray(each, dtype=np.float64) for each in (usual, ratio, events))
    if not due.shape == rho.shape == found.shape:
        sizes = ", ".join(str(each.size) for each in (due, rho, found))
        raise EstimateError(f"usual, ratio and events differ in length: {sizes}.")
    for name, each in (("usual", due), ("ratio", rho), ("events", found)):
        if np.any(each < 0):
            at = int(np.argmax(each < 0))
            raise EstimateError(f"{name} is not below 0; at index {at} it is {each[at]!r}.")
    expected = rho * due
    chance = np.where(found >= FEWEST_EVENTS, -np.expm1(-expected), np.nan)
    return Forecast(chance, expected)


def dispersion(counts: ArrayLike, unit: ArrayLike) -> float:
    """Return how many times the chance spread counts have about the mean of their unit, 1 at least.

    Parameters
    ----------
    counts : (n,) failures of one unit over stretches of equal length
    unit : (n,) name or index of the unit (locomotive)

    Conventions
    -----------
    Squared deviations from each unit's mean over what a Poisson law lets expect of them, both added
    up over units: sum (x - m)^2 / sum m (1 - 1 / k), k stretches of the unit.

    Limits
    ------
    No unit with two stretches, or no failures: 1.

    References
    ----------
    Cox & Lewis (1966), The Statistical Analysis of Series of Events, section 6.2 (dispersion test).
    """
    values = np.asarray(counts, dtype=np.float64)
    _, of = np.unique(np.asarray(unit), return_inverse=True)
    of = of.ravel()
    if not values.size:
        return 1.0
    number = np.bincount(of)
    mean = np.bincount(of, values) / number
    due = float((mean * (number - 1)).sum())
    return max(1.0, float(((values - mean[of]) ** 2).sum()) / due) if due > 0 else 1.0


def count_bounds(
    usual: ArrayLike,
    ratio: ArrayLike,
    ratio_sd: ArrayLike,
    *,
    level: float = 0.90,
    spread: ArrayLike = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Bound the number of failures that locomotives will have over one horizon.

    Parameters
    ----------
    usual : (n,) failures that the intensities of its positions let expect of each, added up
    ratio, ratio_sd : (n,) mean and standard deviation of what is known of rho
    level : two-sided; each tail holds at most (1 - level) / 2
    spread : (n,) or one: `dispersion` of such counts, for failures that come in bunches

    Conventions
    -----------
    A negative binomial with mean m = rho x usual and variance spread x m + (sd x usual)^2; without
    bunches that is Poisson given rho, rho gamma. That the intensities are estimated too is left
    out; it matters where a kind has few failures.

    Limits
    ------
    Nothing to expect: 0 and 0. `usual` NaN: NaN.

    References
    ----------
    Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., section 2.6 (gamma-Poisson prediction).
    """
    check_level(level)
    due, rho, sd = (np.asarray(each, dtype=np.float64) for each in (usual, ratio, ratio_sd))
    due, rho, sd = np.broadcast_arrays(due, rho, sd)
    sized = (due > 0) & (rho > 0)
    mean = np.where(sized, due * rho, 1.0)
    bunched = np.maximum(np.asarray(spread, dtype=np.float64), 1.0) - 1.0
    beyond = bunched * mean + np.where(sized, sd * due, 0.0) ** 2
    beyond = np.maximum(beyond, 1e-9 * mean)  # Poisson is the limit
    number, share = mean**2 / beyond, mean / (mean + beyond)
    tail = (1.0 - level) / 2.0
    blank = np.where(np.isnan(due) | np.isnan(rho), np.nan, 0.0)
    lower, upper = (
        np.where(sized, stats.nbinom.ppf(chance, number, share), 0.0) + blank
        for chance in (tail, 1.0 - tail)
    )
    return lower, upper
