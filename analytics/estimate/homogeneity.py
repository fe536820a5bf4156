"""Whether units look alike: a check before their intervals between failures are put together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, check_numbers

TOO_FEW_INTERVALS = "homogeneity.too_few_intervals"
FEWEST_INTERVALS = 4

# Scholz & Stephens (1987), table 2: critical value = b0 + b1 / sqrt(k-1) + b2 / (k-1).
_TAILS = np.array([0.25, 0.10, 0.05, 0.025, 0.01, 0.005, 0.001])
_B0 = np.array([0.675, 1.281, 1.645, 1.960, 2.326, 2.573, 3.085])
_B1 = np.array([-0.245, 0.250, 0.678, 1.149, 1.822, 2.364, 3.615])
_B2 = np.array([-0.105, -0.305, -0.362, -0.391, -0.396, -0.345, -0.154])


@dataclass(frozen=True, slots=True, eq=False)
class Homogeneity:
    """A k-sample Anderson-Darling test; `critical` holds the points exceeded by chance `tails`.

    `p` is known between 0.001 and 0.25. `p_means` says whether it is the chance itself or a
    bound of it. `note` is a message key, empty when there is nothing to say.
    """

    statistic: float
    p: float
    p_means: Literal["equal", "at least", "at most", ""]
    critical: FloatArray
    tails: FloatArray
    samples: int
    intervals: int
    note: str


def intervals_homogeneity(samples: Sequence[ArrayLike]) -> Homogeneity:
    """Test whether several units' intervals between failures come from one law, whatever it is.

    Parameters
    ----------
    samples : one array of complete intervals for each unit; units without intervals are skipped

    Returns
    -------
    Homogeneity
        A large statistic (small p) says that the units differ: do not pool them.

    Conventions
    -----------
    The Anderson-Darling statistic, tied intervals taken together, standardised by its mean k - 1
    and its exact standard deviation. p by interpolation of its logarithm, quadratic in the critical
    values; below the first or above the last of these it is only known to be at least 0.25 or at
    most 0.001.

    Limits
    ------
    Fewer than 2 units or 4 intervals, or all intervals equal: NaN with a note. Intervals cut off
    by the end of observation must be left out by the caller, which favours short ones in units
    with few failures.

    Raises
    ------
    EstimateError
        A negative or undefined interval.

    References
    ----------
    Scholz & Stephens (1987), JASA 82, 918-924, equations 4 and 6 and table 2.
    """
    arrays = [check_numbers(sample, "samples") for sample in samples]
    arrays = [array for array in arrays if array.size]
    pooled = np.sort(np.concatenate(arrays)) if arrays else np.zeros(0)
    if np.any(pooled < 0):
        raise EstimateError(f"An interval must not be negative, got {float(pooled[0])!r}.")
    units, size = len(arrays), pooled.size
    if units < 2 or size < FEWEST_INTERVALS or pooled[0] == pooled[-1]:
        none = np.full(_TAILS.size, np.nan)
        return Homogeneity(
            np.nan, np.nan, "", none, _TAILS.copy(), units, size, note=TOO_FEW_INTERVALS
        )
    sizes = np.array([array.size for array in arrays], dtype=np.float64)
    statistic = (_distance(arrays, pooled) - (units - 1)) / np.sqrt(_variance(sizes))
    critical = _B0 + _B1 / np.sqrt(units - 1) + _B2 / (units - 1)
    p, means = _tail(float(statistic), critical)
    return Homogeneity(
        statistic=float(statistic),
        p=p,
        p_means=means,
        critical=critical,
        tails=_TAILS.copy(),
        samples=units,
        intervals=size,
        note="",
    )


def _distance(arrays: list[FloatArray], pooled: FloatArray) -> float:
    """Anderson-Darling distance of the samples from the pooled one, ties taken together."""
    size = float(pooled.size)
    at = pooled[pooled < pooled[-1]]
    below = np.searchsorted(pooled, at, side="right")
    total = 0.0
    for array in arrays:
        own = np.searchsorted(np.sort(array), at, side="right")
        apart = (size * own - below * array.size) ** 2 / (below * (size - below))
        total += float(apart.sum()) / array.size
    return total / size


def _variance(sizes: FloatArray) -> float:
    """Exact variance of the distance when all samples come from one continuous law."""
    number, units = int(sizes.sum()), sizes.size
    inverse = 1.0 / np.arange(1, number)
    h = float(inverse.sum())
    tail_sums = np.cumsum(inverse[::-1])[:-1]  # of 1/(n-1), 1/(n-2), ... down to 1/(n-i)
    g = float(np.sum(tail_sums / np.arange(2, number)))
    spread = float(np.sum(1.0 / sizes))
    a = (4 * g - 6) * (units - 1) + (10 - 6 * g) * spread
    b = (2 * g - 4) * units**2 + 8 * h * units + (2 * g - 14 * h - 4) * spread - 8 * h + 4 * g - 6
    c = (6 * h + 2 * g - 2) * units**2 + (4 * h - 4 * g + 6) * units + (2 * h - 6) * spread + 4 * h
    d = (2 * h + 6) * units**2 - 4 * h * units
    cubic = a * number**3 + b * number**2 + c * number + d
    return cubic / ((number - 1) * (number - 2) * (number - 3))


def _tail(
    statistic: float, critical: FloatArray
) -> tuple[float, Literal["equal", "at least", "at most"]]:
    if statistic < critical[0]:
        return float(_TAILS[0]), "at least"
    if statistic > critical[-1]:
        return float(_TAILS[-1]), "at most"
    fitted = np.polyval(np.polyfit(critical, np.log(_TAILS), 2), statistic)
    return float(np.exp(fitted)), "equal"
