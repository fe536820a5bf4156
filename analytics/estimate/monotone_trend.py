"""Whether values rise or fall with time: the Mann-Kendall test, autocorrelation allowed for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.estimate.pairwise import Block, blocks, ranks
from analytics.estimate.rate import FloatArray, IntArray, check_indices

TOO_FEW = "monotone.too_few"
FEWEST = 3
MOST_EXACT = 10
"""Up to this many points without ties the p-value is exact."""
SIGNIFICANT_LAG = 0.05
"""An autocorrelation counts where a test at this level finds it."""
_DIGITS = 9  # what is equal to so many digits of the spread is a tie


@dataclass(frozen=True, slots=True)
class MonotoneTrend:
    """Mann-Kendall test of each segment; every array has one entry per segment.

    `score` is S, pairs that rise less pairs that fall; `tau` is S by pairs; `variance` that of S
    for independent values and `correction` what autocorrelation multiplies it by; `z` and two-sided
    `p`. NaN with fewer than 3 points, where `note` holds a message key.
    """

    points: IntArray
    score: FloatArray
    tau: FloatArray
    variance: FloatArray
    correction: FloatArray
    z: FloatArray
    p: FloatArray
    note: tuple[str, ...]


def mann_kendall(
    times: ArrayLike,
    values: ArrayLike,
    segment: ArrayLike,
    *,
    size: int,
    autocorrelation: bool = True,
    may_narrow: bool = False,
) -> MonotoneTrend:
    """Test each segment for a monotone trend.

    Parameters
    ----------
    times : (n_points,) instants in any one unit, in any order; within a segment all different
    values : (n_points,) measured values
    segment : (n_points,) number of the segment of each point, 0..size-1
    size : number of segments
    autocorrelation : whether the variance of S is corrected for autocorrelation
    may_narrow : whether the correction may fall below 1, as in the paper

    Returns
    -------
    MonotoneTrend

    Conventions
    -----------
    z = (S - sign S) / sqrt(variance x correction), 0 where S = 0. The correction is that of Hamed &
    Rao: ranks of the values less their median slope, autocorrelations of all lags that are
    significant at 5 %, lag = places in the order of time, so that points should be about evenly
    spaced. Up to 10 points without ties and without a correction p is exact, else normal.

    Limits
    ------
    A correction below 1 is taken as 1 unless `may_narrow`: chance gives some negative lags, and a
    variance near or below 0 would make a trend of nothing (simulated, 30 points of independent
    noise: p < 0.05 in 0.11 as in the paper, in 0.05 so). Autocorrelation is only partly seen: with
    0.3 the share was 0.04 to 0.14, with 0.6 0.06 to 0.25. Values all equal: S = 0, p = 1. Short
    segments hide their autocorrelation. Time and memory grow with the square of a segment's points.

    Raises
    ------
    EstimateError
        Arrays of different length, a number that is not finite, two points at one time.

    References
    ----------
    Mann (1945), Econometrica 13, 245-259; Kendall (1975), Rank Correlation Methods; Gilbert (1987),
    Statistical Methods for Environmental Pollution Monitoring, chapter 16; Hamed & Rao (1998),
    Journal of Hydrology 204, 182-196.
    """
    score, variance, correction, z, p = (np.full(size, np.nan) for _ in range(5))
    table = TrendTable.empty(segment, size)
    for block in blocks(times, values, segment, size=size, fewest=FEWEST):
        table.put(block, autocorrelation=autocorrelation, may_narrow=may_narrow)
    return table.done()


@dataclass(frozen=True, slots=True)
class TrendTable:
    """The tests of all segments while they are being made, NaN where not yet."""

    points: IntArray
    score: FloatArray
    variance: FloatArray
    correction: FloatArray
    z: FloatArray
    p: FloatArray

    @classmethod
    def empty(cls, segment: ArrayLike, size: int) -> TrendTable:
        """Begin with nothing but the number of points of each segment."""
        points = np.bincount(check_indices(segment, size, "segment"), minlength=size)
        blank = [np.full(size, np.nan) for _ in range(5)]
        return cls(points, *blank)

    def put(
        self, block: Block, *, autocorrelation: bool = True, may_narrow: bool = False
    ) -> FloatArray:
        """Test the segments of one block, and return their correction."""
        score, variance = block.score(), block.score_variance()
        correction = hamed_rao(block) if autocorrelation else np.ones(block.rows.size)
        if not may_narrow:
            correction = np.maximum(correction, 1.0)
        z, p = _normal(score, variance * correction)
        n = block.points
        if n <= MOST_EXACT:
            exact = (variance == n * (n - 1) * (2 * n + 5) / 18.0) & (correction == 1.0)
            p[exact] = _exact(score[exact], n)
        for name, found in (("score", score), ("variance", variance), ("correction", correction)):
            getattr(self, name)[block.rows] = found
        self.z[block.rows], self.p[block.rows] = z, p
        return correction

    def done(self) -> MonotoneTrend:
        """Return what was made."""
        pairs = self.points * (self.points - 1) / 2
        tau = np.divide(self.score, pairs, out=np.full(pairs.shape, np.nan), where=pairs > 0)
        note = tuple("" if n >= FEWEST else TOO_FEW for n in self.points.tolist())
        return MonotoneTrend(
            self.points, self.score, tau, self.variance, self.correction, self.z, self.p, note
        )


def hamed_rao(block: Block) -> FloatArray:
    """Return what autocorrelation multiplies the variance of S by, (k,); 1 where there is none."""
    n = block.points
    rest = block.values - block.middle()[:, None] * (block.times - block.times[:, :1])
    rest = rest - rest.min(axis=1, keepdims=True)
    spread = np.maximum(rest.max(axis=1), np.ptp(block.values, axis=1) * 10.0**-_DIGITS)[:, None]
    share = np.divide(rest, spread, out=np.zeros_like(rest), where=spread > 0)
    least, most = ranks(np.round(share, _DIGITS))
    apart = (least + most - n - 1) / 2  # the mean rank is (n + 1) / 2
    length = 1 << int(2 * n - 1).bit_length()
    power = np.abs(np.fft.rfft(apart, length, axis=1)) ** 2
    lagged = np.fft.irfft(power, length, axis=1)[:, :n]
    whole = lagged[:, :1]
    related = np.divide(lagged, whole, out=np.zeros_like(lagged), where=whole > 0.5)
    related[np.abs(related) <= special.ndtri(1 - SIGNIFICANT_LAG / 2) / np.sqrt(n)] = 0.0
    lag = np.arange(1, n)
    weight = (n - lag) * (n - lag - 1) * (n - lag - 2) / (n * (n - 1) * (n - 2) / 2)
    found: FloatArray = 1.0 + related[:, 1:] @ weight
    return found


def _normal(score: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return z and two-sided p, continuity corrected; a variance of 0 or less gives p 1 or NaN."""
    z = np.zeros_like(score)
    near = score - np.sign(score)
    with np.errstate(invalid="ignore"):
        np.divide(near, np.sqrt(variance), out=z, where=(variance != 0) & (score != 0))
    return z, 2.0 * special.ndtr(-np.abs(z))


def _exact(score: FloatArray, points: int) -> FloatArray:
    upper = _upper_tail(points)
    falls = ((points * (points - 1) / 2 - np.abs(score)) / 2).round().astype(int)
    found: FloatArray = np.minimum(1.0, 2.0 * upper[falls])
    return found


@cache
def _upper_tail(points: int) -> FloatArray:
    """Return the chance that at most 0, 1, 2, ... pairs of `points` in random order fall."""
    share = np.ones(1)
    for number in range(2, points + 1):
        share = np.convolve(share, np.full(number, 1.0 / number))
    return np.cumsum(share)
