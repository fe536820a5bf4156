"""Test and slope of many segments in one pass: their pairs are formed and sorted once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.estimate import monotone_trend, theil_sen
from analytics.estimate.monotone_trend import MonotoneTrend, TrendTable
from analytics.estimate.pairwise import blocks
from analytics.estimate.rate import check_level
from analytics.estimate.theil_sen import MedianSlope, SlopeTable


def drift(
    times: ArrayLike, values: ArrayLike, segment: ArrayLike, *, size: int, level: float = 0.90
) -> tuple[MonotoneTrend, MedianSlope]:
    """Test each segment for a trend and estimate its slope, autocorrelation allowed for in both.

    Parameters
    ----------
    times : (n_points,) instants in any one unit, in any order; within a segment all different
    values : (n_points,) measured values
    segment : (n_points,) number of the segment of each point, 0..size-1
    size : number of segments
    level : two-sided confidence level of the bounds of the slope

    Returns
    -------
    tuple[MonotoneTrend, MedianSlope]
        What `mann_kendall`, and `theil_sen` with its correction, return.

    Conventions, limits, errors and references are theirs.
    """
    check_level(level)
    test, fit = TrendTable.empty(segment, size), SlopeTable.empty(size)
    fewest = min(monotone_trend.FEWEST, theil_sen.FEWEST)
    for block in blocks(times, values, segment, size=size, fewest=fewest):
        widening = np.ones(block.rows.size)
        if block.points >= monotone_trend.FEWEST:
            widening = test.put(block)
        fit.put(block, widening, level)
    return test.done(), fit.done(level)
