"""When a value that drifts will reach its limit: a line carried on, with its bounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import BoolArray, FloatArray, check_indices
from analytics.estimate.theil_sen import MedianSlope

FURTHEST = 2.0
"""A line is carried on to so many times the length of its segment, counted from the start."""

_NODES = 15
_AT_ONCE = 4_000_000
_MEDIAN_COSTS = np.sqrt(np.pi / 2.0)  # standard error of a median beside that of a mean


@dataclass(frozen=True, slots=True)
class Crossing:
    """When each segment reaches its limit, in the unit of time of the segments.

    `at` by the line itself; before `earliest` no reading is to be expected beyond the limit, after
    `latest` the line is beyond it. NaN where none is told. With `earliest` alone all that is known
    is "not before".
    """

    at: FloatArray
    earliest: FloatArray
    latest: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """How readings lie about the line of their segment, one entry each.

    `offset` is the median of readings less the line through the medians, `deviation` the standard
    deviation of one reading about it, `gap` the mean time from one reading to the next, `points`
    how many there are.
    """

    offset: FloatArray
    deviation: FloatArray
    gap: FloatArray
    points: FloatArray


def scatter_about(
    fit: MedianSlope, times: ArrayLike, values: ArrayLike, segment: ArrayLike
) -> Scatter:
    """Tell how the readings of each segment lie about its line.

    Parameters
    ----------
    fit : from `theil_sen` of the same readings
    times, values, segment : (n_points,) as `theil_sen`

    Limits
    ------
    Fewer than 3 readings: NaN.
    """
    size = fit.slope.size
    t, v = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    of = check_indices(segment, size, "segment")
    rest = v - fit.value[of] - fit.slope[of] * (t - fit.time[of])
    points = np.bincount(of, minlength=size).astype(np.float64)
    some = points > 2
    ordered = rest[np.lexsort((rest, of))]
    begin = np.cumsum(points) - points
    low, high = (
        np.where(some, begin + np.floor((points - 1 + up) / 2), 0).astype(int) for up in (0, 1)
    )
    offset = np.full(size, np.nan)
    deviation, gap = offset.copy(), offset.copy()
    if some.any():
        offset[some] = (ordered[low] + ordered[high])[some] / 2.0
        squares = np.bincount(of, (rest - offset[of]) ** 2, size)
        deviation[some] = np.sqrt(squares[some] / (points[some] - 2.0))
        first, last = np.full(size, np.inf), np.full(size, -np.inf)
        np.minimum.at(first, of, t)
        np.maximum.at(last, of, t)
        gap[some] = (last[some] - first[some]) / (points[some] - 1.0)
    return Scatter(offset, deviation, gap, points)


def project_crossing(
    fit: MedianSlope,
    *,
    first: ArrayLike,
    last: ArrayLike,
    above: ArrayLike,
    below: ArrayLike,
    scatter: Scatter | None = None,
) -> Crossing:
    """Carry the line of each segment on to its limit.

    Parameters
    ----------
    fit : slopes with bounds, from `theil_sen`
    first, last : (size,) first and last instant of each segment
    above, below : (size,) the limits of the good range in the unit of the values, NaN where none
    scatter : from `scatter_about`; None: readings lie on the line, whose height is known

    Returns
    -------
    Crossing

    Conventions
    -----------
    Only where the bounds of the slope leave out 0 on the side of a limit. The line has the median
    slope and leaves half of the readings above. Its own bounds at a distance x from the median of
    time add the squares of (bound of the slope less slope) x and of the height's z deviation
    sqrt(pi / (2 n)). `earliest`: the first instant, one mean gap after another, by which the chance
    of a reading beyond the limit exceeds the lower tail; readings independent and normal about the
    line, averaged over where the line may be. None is told before `last`: what is past the limit is
    "now". What lies beyond twice the segment is left open.

    Limits
    ------
    Simulated with 16 to 61 readings, bounds of 0.90 held the first reading beyond the limit in 0.88
    to 0.96 of independent noise and the instant of the true line in 0.94 to 0.98; where each
    reading took 0.3 of the one before, in 0.82 to 0.94 and 0.88 to 0.97. Without `scatter` it was
    0.25 to 0.77 and 0.75 to 0.97.

    Raises
    ------
    EstimateError
        Arrays of different length.

    References
    ----------
    Common practice, no published source; slopes and bounds as `theil_sen`. Two roots of a line's
    bounds at a height: Fieller (1954), J. R. Statist. Soc. B 16, 175-185.
    """
    begin, end, high, low = (np.asarray(part, dtype=float) for part in (first, last, above, below))
    if not begin.shape == end.shape == high.shape == low.shape == fit.slope.shape:
        raise EstimateError("first, last, above and below need one entry for each segment.")
    up = (fit.lower > 0) & ~np.isnan(high)
    down = (fit.upper < 0) & ~np.isnan(low)
    sign = np.where(up, 1.0, np.where(down, -1.0, np.nan))
    line = _Line.of(fit, sign, np.where(up, high, low), scatter)
    horizon = begin + FURTHEST * (end - begin)

    def told(at: FloatArray) -> FloatArray:
        at = np.maximum(at, end)
        return np.where(at <= horizon, at, np.nan)

    earliest = told(fit.time + line.root(-1))
    if scatter is not None:
        sooner = _first_reading(line, scatter, end - fit.time, horizon - fit.time, fit.level)
        earliest = np.fmin(earliest, told(fit.time + sooner))
    return Crossing(told(fit.time + line.root(0)), earliest, told(fit.time + line.root(1)))


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """Lines turned so that all rise: how far below the limit at time 0, and how fast.

    `faster` and `slower` are how much the bounds of the slope are away from it, `height` half the
    width of the bounds at time 0.
    """

    way: FloatArray
    slope: FloatArray
    faster: FloatArray
    slower: FloatArray
    height: FloatArray

    @classmethod
    def of(
        cls, fit: MedianSlope, sign: FloatArray, limit: FloatArray, scatter: Scatter | None
    ) -> _Line:
        offset, height = np.zeros(sign.size), np.zeros(sign.size)
        if scatter is not None:
            z = special.ndtri((1.0 + fit.level) / 2.0)
            offset = scatter.offset
            height = z * _MEDIAN_COSTS * scatter.deviation / np.sqrt(scatter.points)
        slopes = [sign * each for each in (fit.slope, fit.lower, fit.upper)]
        return cls(
            way=sign * (limit - fit.value - offset),
            slope=slopes[0],
            faster=np.maximum(slopes[1], slopes[2]) - slopes[0],
            slower=slopes[0] - np.minimum(slopes[1], slopes[2]),
            height=height,
        )

    def root(self, side: int) -> FloatArray:
        """Return where the line (0), its upper bound (-1) or its lower one (1) is at the limit."""
        if side == 0:
            return self.way / np.where(self.slope > 0, self.slope, np.nan)
        apart = self.faster if side < 0 else self.slower
        square = self.slope**2 - apart**2
        beyond = self.way**2 - self.height**2
        product = self.slope * self.way
        inside = np.sqrt(np.maximum(product**2 - square * beyond, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            if side > 0:
                return (product + inside) / square
            near = np.where(product > 0, beyond / (product + inside), (product - inside) / square)
            # where the bound is at the limit at time 0 already, it was there before
            return np.where((beyond < 0) & (product > 0), 0.0, near)


def _first_reading(
    line: _Line, scatter: Scatter, end: FloatArray, horizon: FloatArray, level: float
) -> FloatArray:
    """Return from when on a reading beyond the limit is likelier than the lower tail; else NaN."""
    found = np.full(end.size, np.nan)
    usable = np.isfinite(line.way) & (scatter.deviation > 0) & (scatter.gap > 0)
    steps = np.zeros(end.size)
    steps[usable] = np.floor((horizon - end)[usable] / scatter.gap[usable])
    rows = np.flatnonzero(usable & (steps >= 1))
    rows = rows[np.argsort(steps[rows], kind="stable")]
    while rows.size:
        most = max(1, int(_AT_ONCE / (_NODES * steps[rows[-1]])))
        part, rows = rows[-most:], rows[:-most]
        number = np.arange(1.0, steps[part].max() + 1)
        at = end[part, None] + number * scatter.gap[part, None]
        passed = _passed(line, part, at, scatter.deviation, level) > (1.0 - level) / 2.0
        passed &= number <= steps[part, None]
        first = np.argmax(passed, axis=1)
        found[part] = np.where(passed.any(axis=1), at[np.arange(part.size), first], np.nan)
    return found


def _passed(
    line: _Line, part: np.ndarray[tuple[int], np.dtype[np.int64]], at: FloatArray,
    deviation: FloatArray, level: float,
) -> FloatArray:  # fmt: skip
    """Return the chance of a reading beyond the limit up to each instant, (segments, instants)."""
    place, weight = np.polynomial.hermite_e.hermegauss(_NODES)
    z = special.ndtri((1.0 + level) / 2.0)
    way, slope, height, own = (
        each[part, None] for each in (line.way, line.slope, line.height, deviation)
    )
    chance = np.zeros(at.shape)
    for node, share in zip(place / z, weight / weight.sum(), strict=True):
        later: BoolArray = at > 0
        apart = np.where(later == (node > 0), line.faster[part, None], line.slower[part, None])
        away = way - slope * at - node * np.sqrt(height**2 + (apart * at) ** 2)
        none = np.exp(np.cumsum(special.log_ndtr(away / own), axis=1))
        chance += share * (1.0 - none)
    return chance
