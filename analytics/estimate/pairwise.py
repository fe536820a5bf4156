"""Pairs of points within many segments at once: what rank tests and median slopes are made of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, IntArray, check_indices, check_numbers

MOST_PAIRS = 200_000
"""Pairs worked on at once, unless one segment has more: few enough for a processor's cache."""


@dataclass(frozen=True, slots=True)
class Block:
    """Segments of one length.

    `rows` (k,) are their numbers, `times` and `values` (k, n) in order of time, `slopes`
    (k, n (n - 1) / 2) those of all pairs in order of size.
    """

    rows: IntArray
    times: FloatArray
    values: FloatArray
    slopes: FloatArray

    @property
    def points(self) -> int:
        """The length of each segment."""
        return int(self.times.shape[1])

    def score(self) -> FloatArray:
        """Return Kendall's score S: pairs that rise less pairs that fall, (k,)."""
        rise, fall = (self.slopes > 0).sum(axis=1), (self.slopes < 0).sum(axis=1)
        found: FloatArray = (rise - fall).astype(np.float64)
        return found

    def middle(self) -> FloatArray:
        """Return the median of the slopes of each segment, (k,)."""
        half = self.slopes.shape[1] // 2
        found: FloatArray = (self.slopes[:, half] + self.slopes[:, -half - 1]) / 2
        return found

    def score_variance(self) -> FloatArray:
        """Return the variance of Kendall's score of independent values, ties allowed for, (k,).

        Kendall (1975), Rank Correlation Methods, chapter 4: n (n-1) (2n+5) / 18 less the same sum
        over the ties of each value.
        """
        n = self.points
        least, most = ranks(self.values)
        tied = most - least + 1
        lost = np.sum((tied - 1) * (2 * tied + 5), axis=1)
        found: FloatArray = (n * (n - 1) * (2 * n + 5) - lost) / 18.0
        return found


def ranks(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the least and the greatest rank of each value among its row's, from 1, both (k, n).

    Of equal values the mean of both is the middle rank, and their difference one less than their
    number.
    """
    size = values.shape[1]
    order = np.argsort(values, axis=1, kind="stable")
    ordered = np.take_along_axis(values, order, axis=1)
    place = np.broadcast_to(np.arange(1.0, size + 1), values.shape)
    step = np.ones((len(values), size + 1), dtype=bool)  # a new value begins at each True
    step[:, 1:-1] = ordered[:, 1:] != ordered[:, :-1]
    least, most = np.empty_like(values), np.empty_like(values)
    lower = np.maximum.accumulate(np.where(step[:, :-1], place, 0.0), axis=1)
    upper = np.where(step[:, 1:], place, np.inf)[:, ::-1]
    np.put_along_axis(least, order, lower, axis=1)
    np.put_along_axis(most, order, np.minimum.accumulate(upper, axis=1)[:, ::-1], axis=1)
    return least, most


def blocks(
    times: ArrayLike, values: ArrayLike, segment: ArrayLike, *, size: int, fewest: int
) -> Iterator[Block]:
    """Walk the segments of at least `fewest` points, those of one length together.

    Parameters
    ----------
    times, values : (n_points,) finite numbers, in any order
    segment : (n_points,) number of the segment of each point, 0..size-1
    size : number of segments
    fewest : segments with fewer points are passed over

    Raises
    ------
    EstimateError
        Arrays of different length, a number that is not finite, two points of one segment at the
        same time.
    """
    moment, height = check_numbers(times, "times"), check_numbers(values, "values")
    number = check_indices(segment, size, "segment")
    if not moment.size == height.size == number.size:
        raise EstimateError(
            "times, values and segment differ in length: "
            f"{moment.size}, {height.size}, {number.size}."
        )
    order = np.lexsort((moment, number))
    moment, height, number = moment[order], height[order], number[order]
    if np.any((number[1:] == number[:-1]) & (moment[1:] == moment[:-1])):
        raise EstimateError("Two points of one segment have the same time: take their median.")
    points = np.bincount(number, minlength=size)
    first = np.cumsum(points) - points
    for length in np.unique(points[points >= fewest]).tolist():
        rows = np.flatnonzero(points == length)
        early, late = np.triu_indices(length, 1)
        step = max(1, MOST_PAIRS // max(1, early.size))
        for start in range(0, rows.size, step):
            some = rows[start : start + step]
            at = first[some][:, None] + np.arange(length)
            x, y = moment[at], height[at]
            slopes = y.take(late, axis=1) - y.take(early, axis=1)
            slopes /= x.take(late, axis=1) - x.take(early, axis=1)
            slopes.sort(axis=1)
            yield Block(some, x, y, slopes)
