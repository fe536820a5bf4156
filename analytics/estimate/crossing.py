"""When a value that drifts will reach its limit: a line carried on, with its bounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray
from analytics.estimate.theil_sen import MedianSlope

FURTHEST = 2.0
"""A line is carried on to so many times the length of its segment, counted from the start."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """When each segment's line reaches its limit, in the unit of time of the segments.

    `at` by the slope itself, `earliest` and `latest` by its bounds; NaN where none is told. With
    `earliest` alone all that is known is "not before".
    """

    at: FloatArray
    earliest: FloatArray
    latest: FloatArray


def project_crossing(
    fit: MedianSlope, *, first: ArrayLike, last: ArrayLike, above: ArrayLike, below: ArrayLike
) -> Crossing:
    """Carry the line of each segment on to its limit.

    Parameters
    ----------
    fit : slopes with bounds, from `theil_sen`
    first, last : (size,) first and last instant of each segment
    above, below : (size,) the limits of the good range in the unit of the values, NaN where none

    Returns
    -------
    Crossing

    Conventions
    -----------
    Only where the bounds of the slope leave out 0 on the side of a limit. All three lines go
    through the medians of time and value, and none is told before `last`: a line already past the
    limit is "now". What lies beyond twice the segment is left open.

    Limits
    ------
    The bounds are those of the slope; the height of the line has no part in them. Simulated with
    31 points of independent noise, bounds of 0.90 held the true instant in 0.85.

    Raises
    ------
    EstimateError
        Arrays of different length.

    References
    ----------
    Common practice, no published source; slopes and bounds as `theil_sen`.
    """
    begin, end, high, low = (np.asarray(part, dtype=float) for part in (first, last, above, below))
    if not begin.shape == end.shape == high.shape == low.shape == fit.slope.shape:
        raise EstimateError("first, last, above and below need one entry for each segment.")
    up = (fit.lower > 0) & ~np.isnan(high)
    down = (fit.upper < 0) & ~np.isnan(low)
    limit = np.where(up, high, np.where(down, low, np.nan))
    horizon = begin + FURTHEST * (end - begin)

    def reached(slope: FloatArray) -> FloatArray:
        way = np.divide(
            limit - fit.value, slope, out=np.full(slope.shape, np.nan), where=slope != 0
        )
        at = np.maximum(fit.time + way, end)
        return np.where(at <= horizon, at, np.nan)

    return Crossing(
        at=reached(fit.slope),
        earliest=reached(np.where(up, fit.upper, fit.lower)),
        latest=reached(np.where(up, fit.lower, fit.upper)),
    )
