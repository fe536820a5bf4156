"""How surely a count is too high: upper tails given the total, limits of a funnel plot."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, check_level, check_numbers

_REACH = 45.0  # standard deviations beyond which nothing is added up
_NARROW = 1e-12


def binomial_upper_tail(count: ArrayLike, total: ArrayLike, share: ArrayLike) -> FloatArray:
    """Return the chance of at least `count` of `total` events in a unit with a share of them.

    Parameters
    ----------
    count, total : arrays of whole numbers of a common shape, 0 <= count <= total
    share : chance of each event to fall into the unit, 0 to 1

    Raises
    ------
    EstimateError
        A count above its total, a share outside 0 to 1.

    References
    ----------
    Przyborowski & Wilenski (1940), Biometrika 31, 313-323: Poisson counts given their total.
    """
    counts, totals, shares = _checked(count, total, share)
    least = np.maximum(counts, 1.0)
    tail = special.betainc(least, np.maximum(totals - least, 0.0) + 1.0, shares)
    return np.where(counts <= 0, 1.0, tail)


def beta_binomial_upper_tail(
    count: ArrayLike, total: ArrayLike, share: ArrayLike, *, concentration: ArrayLike
) -> FloatArray:
    """Return the same chance where the units' shares vary: beta with mean `share`.

    Parameters
    ----------
    count, total, share : as `binomial_upper_tail`, shape (n,)
    concentration : one or (n,), sum of the two parameters of the beta law; the variance of a count
        is that of the binomial times (total + concentration) / (1 + concentration)

    Raises
    ------
    EstimateError
        As `binomial_upper_tail`; a concentration not above 0.

    References
    ----------
    Skellam (1948), J. R. Statist. Soc. B 10, 257-261.
    """
    counts, totals, shares = _checked(count, total, share)
    firm = np.broadcast_to(check_numbers(concentration, "concentration"), counts.shape)
    if np.any(firm <= 0):
        raise EstimateError(f"A concentration must be above 0, got {float(firm.min())!r}.")
    grow = (totals + firm) / (1.0 + firm)
    deviation = np.sqrt(totals * shares * (1.0 - shares) * grow)
    last = np.minimum(
        totals, np.ceil(np.maximum(totals * shares, counts) + _REACH * deviation + 10)
    )
    tail = np.ones(counts.size)
    inside = (counts > 0) & (shares > 0) & (shares < 1)
    for at in np.flatnonzero(inside):
        these = np.arange(counts[at], last[at] + 1)
        a, b = firm[at] * shares[at], firm[at] * (1.0 - shares[at])
        log_chance = (
            special.gammaln(totals[at] + 1)
            - special.gammaln(these + 1)
            - special.gammaln(totals[at] - these + 1)
            + special.betaln(these + a, totals[at] - these + b)
            - special.betaln(a, b)
        )
        tail[at] = min(1.0, float(np.exp(log_chance).sum()))
    return np.where((counts > 0) & (shares <= 0), 0.0, tail)


def funnel_limits(expected: ArrayLike, *, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Return the limits between which observed / expected lies by chance, for a funnel plot.

    Parameters
    ----------
    expected : (n,) expected counts, above 0
    level : two-sided share of units without a difference that lie between the limits

    Returns
    -------
    lower, upper : (n,) limits of the ratio; lower is 0 where no count is low enough

    Conventions
    -----------
    Poisson counts. Limits are interpolated between whole counts, so that they run smoothly: with r
    the least count whose lower tail reaches p, (r - (P(r) - p) / (P(r) - P(r - 1))) / expected.

    Raises
    ------
    EstimateError
        An expected count that is not above 0.

    References
    ----------
    Spiegelhalter (2005), Statistics in Medicine 24, 1185-1202, appendix A.1 (from memory).
    """
    means = check_numbers(expected, "expected")
    check_level(level)
    if np.any(means <= 0):
        raise EstimateError(f"expected must be above 0, got {float(means.min())!r}.")
    tail = (1.0 - level) / 2.0
    return _poisson_limit(means, tail), _poisson_limit(means, 1.0 - tail)


def _poisson_limit(means: FloatArray, chance: float) -> FloatArray:
    low, high = np.full(means.size, -1.0), np.ceil(means + 10.0 * np.sqrt(means) + 30.0)
    while np.any(high - low > 1):
        middle = np.floor(0.5 * (low + high))
        reached = special.pdtr(middle, means) >= chance
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    at = special.pdtr(high, means)
    below = np.where(high > 0, special.pdtr(np.maximum(high - 1, 0), means), 0.0)
    limit = high - (at - chance) / np.maximum(at - below, _NARROW)
    found: FloatArray = np.maximum(limit, 0.0) / means
    return found


def _checked(
    count: ArrayLike, total: ArrayLike, share: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    counts, totals = check_numbers(count, "count"), check_numbers(total, "total")
    shares = check_numbers(share, "share")
    counts, totals, shares = np.broadcast_arrays(counts, totals, shares)
    if np.any((counts < 0) | (counts > totals)):
        raise EstimateError("A count lies between 0 and its total.")
    if np.any((shares < 0) | (shares > 1)):
        raise EstimateError("A share lies between 0 and 1.")
    return counts, totals, shares
