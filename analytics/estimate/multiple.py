"""Many tests at once: how many of those that look clear are chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray


def benjamini_hochberg(p: ArrayLike) -> FloatArray:
    """Adjust p-values so that those at or below q hold at most a share q of false discoveries.

    Parameters
    ----------
    p : (n,) p-values; NaN for a test that could not be made

    Returns
    -------
    (n,) array of adjusted values q, never below p, NaN where p is

    Conventions
    -----------
    Step-up: q of the k-th smallest of m is the least of m p / k over it and all larger ones.
    NaN do not count as tests. Holds for independent tests and many positively dependent ones.

    Limits
    ------
    No p-value: an empty array. One: q = p.

    Raises
    ------
    EstimateError
        A value outside 0..1.

    References
    ----------
    Benjamini & Hochberg (1995), Journal of the Royal Statistical Society B 57, 289-300.
    """
    values: FloatArray = np.array(p, dtype=np.float64, ndmin=1)
    made = np.flatnonzero(~np.isnan(values))
    if np.any((values[made] < 0) | (values[made] > 1)):
        raise EstimateError("A p-value lies between 0 and 1.")
    order = made[np.argsort(-values[made], kind="stable")]
    rank = np.arange(made.size, 0, -1)
    values[order] = np.minimum.accumulate(values[order] * (made.size / np.maximum(rank, 1)))
    return np.minimum(values, 1.0)
