"""Bands of age with equally many failures expected, to tell whether a power law holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimate.power_intensity import PowerIntensities
from analytics.estimate.rate import FloatArray
from analytics.estimate.risk_intervals import RiskIntervals

BANDS = 5
FEWEST_TO_TEST = 20
"""Below this many failures a power law is not tested: under 4 would be expected in a band."""


@dataclass(frozen=True, slots=True, eq=False)
class AgeBands:
    """Bands of age of every group; rows of NaN where a group has too few failures to test.

    `edges` has shape (groups, bands + 1) from 0 to the oldest age; `events`, `exposure` and
    `expected` (under the power law) shape (groups, bands). `statistic` is chi-square with bands - 1
    degrees of freedom if the power law holds, `p` its upper tail.
    """

    edges: FloatArray
    events: FloatArray
    exposure: FloatArray
    expected: FloatArray
    statistic: FloatArray
    p: FloatArray


def band_ages(data: RiskIntervals, fit: PowerIntensities) -> AgeBands:
    """Cut ages into bands and test the power law against a step in each.

    The alternative multiplies the intensity by a factor of its own in each band; the score test of
    all factors being equal, level and shape estimated (Rao 1948; Cox & Hinkley 1974, section 9.3),
    is to first order the likelihood-ratio test.
    """
    count = data.by_group(data.events)
    tested = (count >= FEWEST_TO_TEST) & np.isfinite(fit.shape)
    used = data.only(tested[data.group])
    shape = np.where(tested, fit.shape, 1.0)
    edges = _equal_edges(used, shape, np.exp(fit.log_top))
    events, exposure, area, turned = _by_band(used, edges, shape, np.exp(fit.log_top))
    statistic = np.full(data.groups, np.nan)
    statistic[tested] = _score(
        events[tested],
        area[tested],
        turned[tested],
        (fit.middle[tested], 1.0 / fit.shape_variance[tested]),
    )
    blank = np.where(tested, 0.0, np.nan)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = area * (count / area.sum(axis=1))[:, None]
    return AgeBands(
        edges=edges + blank,
        events=events + blank,
        exposure=exposure + blank,
        expected=expected + blank,
        statistic=statistic,
        p=np.asarray(special.chdtrc(BANDS - 1, statistic), dtype=np.float64),
    )


def _by_band(
    data: RiskIntervals, edges: FloatArray, shape: FloatArray, top: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return events, exposure, power of age at risk and its derivative, of each group and band."""
    figures = np.zeros((4, data.groups, BANDS))
    each, oldest = shape[data.group], top[data.group]
    for band in range(BANDS):
        low, high = edges[data.group, band], edges[data.group, band + 1]
        start, stop = np.clip(data.start, low, high), np.clip(data.stop, low, high)
        inside = (data.stop > low) & (data.stop <= high)
        up, down = (_powers(age / oldest, each) for age in (stop, start))
        columns = (data.events * inside, stop - start, up[0] - down[0], up[1] - down[1])
        figures[:, :, band] = [data.by_group(column) for column in columns]
    return figures[0], figures[1], figures[2], figures[3]


def _powers(ratio: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return age ** shape and its derivative by the shape, ages relative to the oldest one."""
    log_age = np.log(ratio, out=np.zeros_like(ratio), where=ratio > 0)
    power = np.where(ratio > 0, np.exp(shape * log_age), 0.0)
    return power, power * log_age


def _equal_edges(data: RiskIntervals, shape: FloatArray, top: FloatArray) -> FloatArray:
    """Find the ages below which one, two, ... fifths of the failures are expected.

    On the scale of age ** shape the failures expected grow evenly between two ages at which the
    number at risk changes, and groups stand one after the other: nobody is at risk between them.
    """
    ages, group = np.concatenate([data.start, data.stop]), np.concatenate([data.group] * 2)
    moves = np.repeat([1, -1], data.start.size)
    order = np.lexsort((ages, group))
    at_risk, group = np.cumsum(moves[order]), group[order]
    power = (ages[order] / top[group]) ** shape[group]
    area = np.append(0.0, np.cumsum(at_risk[:-1] * np.diff(power)))[: power.size]
    filled = np.flatnonzero(np.bincount(group, minlength=data.groups))
    first, last = (np.searchsorted(group, filled, side=side) for side in ("left", "right"))
    begin, end = area[first][:, None], area[last - 1][:, None]
    wanted = begin + (end - begin) * np.arange(1, BANDS) / BANDS
    before = np.maximum(np.searchsorted(area, wanted) - 1, first[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        reached = power[before] + (wanted - area[before]) / at_risk[before]
    edges: FloatArray = np.zeros((data.groups, BANDS + 1))
    edges[filled, 1:-1] = reached ** (1.0 / shape[filled, None]) * top[filled, None]
    edges[:, -1] = np.nextafter(top, np.inf)  # the oldest failure lies inside
    return edges


def _score(
    events: FloatArray,
    area: FloatArray,
    turned: FloatArray,
    at_best: tuple[FloatArray, FloatArray],
) -> FloatArray:
    middle, information = at_best
    total = events.sum(axis=1)
    rate = (total / area.sum(axis=1))[:, None]
    expected = rate * area
    pull = rate * turned - middle[:, None] * expected
    spread = expected[:, :, None] * np.eye(BANDS)
    spread -= expected[:, :, None] * expected[:, None, :] / total[:, None, None]
    spread -= pull[:, :, None] * pull[:, None, :] / information[:, None, None]
    excess = events - expected
    inverse = np.linalg.pinv(spread, rcond=1e-9, hermitian=True)
    found: FloatArray = np.einsum("gi,gij,gj->g", excess, inverse, excess)
    return found
