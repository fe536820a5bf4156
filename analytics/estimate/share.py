"""Bounds of a share: so many of so many. Exact, score and the two approximations beside them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, check_level, check_numbers

Bounds = tuple[FloatArray, FloatArray]


def clopper_pearson(count: ArrayLike, total: ArrayLike, *, level: float = 0.90) -> Bounds:
    """Return exact bounds of a share, which hold it at least as often as the level says.

    Parameters
    ----------
    count, total : whole numbers of a common shape, 0 <= count <= total
    level : two-sided; one side alone at level g is the bound of that side at 2 g - 1

    Returns
    -------
    lower, upper : arrays of that shape, 0 to 1; NaN where total is 0

    Conventions
    -----------
    At either bound the tail beyond the count is half of what the level leaves. Nothing of all:
    lower 0. All of them: upper 1.

    Raises
    ------
    EstimateError
        A count that is not whole or not between 0 and its total.

    References
    ----------
    Clopper & Pearson (1934), Biometrika 26, 404-413; NIST/SEMATECH e-Handbook, section 7.2.4.1.
    """
    counts, totals, tail = _checked(count, total, level)
    rest = totals - counts
    with np.errstate(invalid="ignore"):
        low = special.betaincinv(np.maximum(counts, 1.0), rest + 1.0, tail)
        high = 1.0 - special.betaincinv(np.maximum(rest, 1.0), counts + 1.0, tail)
    return _within(np.where(counts > 0, low, 0.0), np.where(rest > 0, high, 1.0), totals)


def wilson(count: ArrayLike, total: ArrayLike, *, level: float = 0.90) -> Bounds:
    """Return Wilson's score bounds of a share: near the level on average, shorter than the exact.

    Parameters and returns as `clopper_pearson`; no correction for continuity.

    References
    ----------
    Wilson (1927), JASA 22, 209-212; Newcombe (1998), Statistics in Medicine 17, 857-872, method 3.
    """
    counts, totals, tail = _checked(count, total, level)
    z = float(special.ndtri(1.0 - tail))
    size = np.where(totals > 0, totals, 1.0)
    middle = (counts + z**2 / 2.0) / (size + z**2)
    half = z / (size + z**2) * np.sqrt(counts * (size - counts) / size + z**2 / 4.0)
    low, high = np.where(counts > 0, middle - half, 0.0), middle + half
    return _within(low, np.where(counts < totals, high, 1.0), totals)


def agresti_coull(count: ArrayLike, total: ArrayLike, *, level: float = 0.90) -> Bounds:
    """Return adjusted Wald bounds: plain ones after z^2 / 2 are added to both outcomes.

    Parameters and returns as `clopper_pearson`.

    References
    ----------
    Agresti & Coull (1998), The American Statistician 52, 119-126.
    """
    counts, totals, tail = _checked(count, total, level)
    z = float(special.ndtri(1.0 - tail))
    return _plain(counts + z**2 / 2.0, totals + z**2, z, totals)


def wald(count: ArrayLike, total: ArrayLike, *, level: float = 0.90) -> Bounds:
    """Return the plain normal bounds of a share, to compare others with.

    Parameters and returns as `clopper_pearson`.

    Limits
    ------
    They hold the share far less often than the level says where few are in or few are out, and
    have no length at 0 or all of them. No figure rests on them.

    References
    ----------
    Newcombe (1998), Statistics in Medicine 17, 857-872, method 1.
    """
    counts, totals, tail = _checked(count, total, level)
    size = np.where(totals > 0, totals, 1.0)
    return _plain(counts, size, float(special.ndtri(1.0 - tail)), totals)


def _plain(counts: FloatArray, size: FloatArray, z: float, totals: FloatArray) -> Bounds:
    share = counts / size
    half = z * np.sqrt(share * (1.0 - share) / size)
    return _within(share - half, share + half, totals)


def _within(low: FloatArray, high: FloatArray, totals: FloatArray) -> Bounds:
    none = totals == 0
    lower = np.where(none, np.nan, np.clip(low, 0.0, 1.0))
    return lower, np.where(none, np.nan, np.clip(high, 0.0, 1.0))


def _checked(
    count: ArrayLike, total: ArrayLike, level: float
) -> tuple[FloatArray, FloatArray, float]:
    tail = (1.0 - check_level(level)) / 2.0
    counts, totals = np.broadcast_arrays(
        check_numbers(count, "count"), check_numbers(total, "total")
    )
    bad = (counts < 0) | (counts > totals) | (counts != np.floor(counts))
    bad |= totals != np.floor(totals)
    if bad.any():
        at = int(np.argmax(bad))
        raise EstimateError(
            "A count is whole and lies between 0 and its total, but it is"
            f" {float(counts.flat[at])!r} of {float(totals.flat[at])!r}."
        )
    return counts, totals, tail
