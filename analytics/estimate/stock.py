"""How many spares to keep for a service level."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, IntArray


def stock_level(mean: ArrayLike, *, service: float = 0.95, spread: ArrayLike = 1.0) -> IntArray:
    """Return the smallest stock that meets the demand of one lead time at a service level.

    Parameters
    ----------
    mean : (n,) demand expected in the lead time
    service : chance that the stock is enough, between 0 and 1
    spread : (n,) or one: variance over mean of such demands, 1 or more

    Conventions
    -----------
    Smallest s with P(demand <= s) >= service; demand is Poisson, above a spread of 1 negative
    binomial with that mean and variance.

    Raises
    ------
    EstimateError
        A mean that is negative or undefined, a spread below 1, a service outside (0, 1).

    References
    ----------
    Feeney & Sherbrooke (1966), Management Science 12, 391-411 (base stock, Poisson demand).
    """
    demand, over = np.broadcast_arrays(
        np.asarray(mean, dtype=np.float64), np.asarray(spread, dtype=np.float64)
    )
    if not 0 < service < 1:
        raise EstimateError(f"a service level lies between 0 and 1, not at {service!r}.")
    if not (np.all(demand >= 0) and np.all(np.isfinite(demand)) and np.all(over >= 1)):
        raise EstimateError("demand is 0 or more, and its spread 1 or more.")
    extra = np.maximum(over - 1.0, 1e-12)
    plain = stats.poisson.ppf(service, demand)
    bunched = stats.nbinom.ppf(service, np.maximum(demand, 1e-12) / extra, 1.0 / over)
    found: IntArray = np.where(over > 1 + 1e-9, bunched, plain).astype(np.int64)
    return np.maximum(found, 0)


def demand_bounds(
    mean: ArrayLike, failures: ArrayLike, *, level: float = 0.90
) -> tuple[FloatArray, FloatArray]:
    """Bound a mean demand by how many failures it was learned from.

    Conventions
    -----------
    The mean times the exact Poisson bounds of the failures over their number (Garwood 1936,
    Biometrika 28, 437-442): the shape of the law is taken as known. No failures: NaN.
    """
    demand, seen = (np.asarray(each, dtype=np.float64) for each in (mean, failures))
    tail = (1.0 - level) / 2.0
    some = seen > 0
    safe = np.where(some, seen, 1.0)
    lower = demand * stats.chi2.ppf(tail, 2 * safe) / (2 * safe)
    upper = demand * stats.chi2.ppf(1 - tail, 2 * safe + 2) / (2 * safe)
    return np.where(some, lower, np.nan), np.where(some, upper, np.nan)
