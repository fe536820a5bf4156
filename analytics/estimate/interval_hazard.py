"""The most likely hazards of the cells that interval-censored lives may have failed in.

In the cumulative hazards of the cells the log-likelihood is concave, late entries included: it adds
up -L(lower) + L(entry) + log(1 - exp(-(L(upper) - L(lower)))). Few cells hold failures in the end,
so it begins with the fewest that give every failure a place, climbs by a primal-dual interior-point
Newton iteration (some twenty rounds where plain self-consistency needs thousands), and adds cells
as long as one of them would lead higher. A round of self-consistency at the end gives the expected
failures and lives at risk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import dia_array
from scipy.sparse.linalg import splu

from analytics.estimate.inspected_lives import Spread, count_by
from analytics.estimate.rate import BoolArray, FloatArray

_NOBODY_SURVIVES = 60.0
"""The cumulative hazard of a cell that no life survives; exp(-60) is nothing."""

_NEARLY_ONE = 1.0 - 1e-15
_NO_SLOPE = 1e-6
"""A cell is left out when its hazard would raise the log-likelihood more slowly than this."""

_TO_BOUNDARY = 0.99
_FIRST_ROUNDS = 5
_MOST_ROUNDS = 200
_MOST_CHOICES = 100


@dataclass(frozen=True, slots=True, eq=False)
class CellHazards:
    """Hazard, expected failures and expected number at risk of each cell, arrays of shape (m,)."""

    hazard: FloatArray
    failures: FloatArray
    at_risk: FloatArray
    settled: bool


def most_likely_hazards(
    spread: Spread,
    *,
    support: BoolArray | None = None,
    tolerance: float = 1e-10,
) -> CellHazards:
    """Estimate the hazard of each cell.

    Parameters
    ----------
    spread : the lives, from `inspected_lives.spread_lives`
    support : array of shape (m,), the cells to begin with; every failure must have one among them
    tolerance : a climb stops when its log-likelihood is within this much a failure of the highest

    Returns
    -------
    CellHazards; cells without hazard carry only those certainly at risk. `settled` is False where
    the climb or the choice of cells did not come to an end.
    """
    kept = _fewest_cells(spread) if support is None else support.copy()
    settled = False
    for _ in range(_MOST_CHOICES):
        part = _restrict(spread, kept)
        hazard, climbed = _climb(part, tolerance=tolerance)
        added = _worth_adding(spread, kept, hazard)
        settled = climbed and not added.any()
        if settled or not climbed:
            break
        kept |= added
    failures, at_risk = expected_counts(part, hazard)
    found = CellHazards(np.zeros(kept.size), np.zeros(kept.size), spread.certain.copy(), settled)
    found.hazard[kept] = _ratio(failures, at_risk)
    found.failures[kept], found.at_risk[kept] = failures, at_risk
    return found


def expected_counts(spread: Spread, hazard: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spread each life over its cells by the hazards: expected failures and at risk, (m,) each."""
    size = spread.certain.size
    length = spread.last - spread.first
    begin = np.cumsum(length) - length
    cell = np.arange(int(length.sum())) + np.repeat(spread.first - begin, length)
    survived = np.cumsum(np.log1p(-np.minimum(hazard, _NEARLY_ONE)))
    survived = np.concatenate([[0.0], survived])
    chance = hazard[cell] * np.exp(survived[cell] - np.repeat(survived[spread.first], length))
    total = np.maximum(np.add.reduceat(chance, begin), 1e-300)
    share = chance * np.repeat(spread.weight / total, length)
    running = np.cumsum(share)
    still = np.repeat(running[begin + length - 1], length) - running + share
    return count_by(cell, share, size), spread.certain + count_by(cell, still, size)


def _ratio(failures: FloatArray, at_risk: FloatArray) -> FloatArray:
    hazard = np.divide(failures, at_risk, out=np.zeros_like(failures), where=at_risk > 0)
    return np.minimum(hazard, 1.0)


def _restrict(spread: Spread, kept: BoolArray) -> Spread:
    place = np.concatenate([[0], np.cumsum(kept)])
    return Spread(place[spread.first], place[spread.last], spread.weight, spread.certain[kept])


def _fewest_cells(spread: Spread) -> BoolArray:
    """Choose cells from the left, each as late as the first failure without one allows."""
    kept = np.zeros(spread.certain.size, dtype=bool)
    latest = -1
    order = np.argsort(spread.last, kind="stable")
    for first, last in zip(spread.first[order].tolist(), spread.last[order].tolist(), strict=True):
        if first > latest:
            latest = last - 1
            kept[latest] = True
    return kept


def _worth_adding(spread: Spread, kept: BoolArray, hazard: FloatArray) -> BoolArray:
    """Choose, between each two cells kept, the one that would raise the log-likelihood fastest."""
    lam = np.zeros(kept.size)
    lam[kept] = -np.log1p(-np.minimum(hazard, _NEARLY_ONE))
    slope = np.where(kept, 0.0, _slope(spread, _spans(spread, lam)))
    added = np.zeros(kept.size, dtype=bool)
    rising = np.flatnonzero(slope > _NO_SLOPE)
    if rising.size:
        stretch = np.cumsum(kept)[rising]
        order = np.lexsort((slope[rising], stretch))
        fastest = np.append(stretch[order][1:] != stretch[order][:-1], True)
        added[rising[order][fastest]] = True
    return added


def _climb(spread: Spread, *, tolerance: float) -> tuple[FloatArray, bool]:
    """Maximise over cumulative hazards >= 0; `slack` is the multiplier of that bound."""
    hazard = np.full(spread.certain.size, 0.5)
    for _ in range(_FIRST_ROUNDS):
        hazard = _ratio(*expected_counts(spread, hazard))
    if np.all(spread.last - spread.first <= 1):
        return hazard, True
    # Where nobody is certainly at risk nothing holds the hazard down.
    free = spread.certain > 0
    lam = -np.log1p(-np.minimum(hazard, 0.999))
    lam = np.where(free, np.maximum(lam, 1e-8), _NOBODY_SURVIVES)
    slack = np.where(free, 1.0, 0.0)
    failures, cells = spread.weight.sum(), max(int(free.sum()), 1)
    for _ in range(_MOST_ROUNDS):
        slope, bands = _derivatives(spread, lam)
        slope[~free] = 0.0
        gap = float(lam[free] @ slack[free])
        imbalance = float(np.abs((slope + slack) * lam)[free].sum())
        if max(gap, imbalance) < tolerance * failures:
            return -np.expm1(-lam), True
        aim = 0.1 * gap / cells
        bands[0] += np.where(free, slack / lam, 1e30)
        move = _solve_banded(bands, slope + np.where(free, aim / lam, 0.0))
        turn = np.where(free, aim / lam - slack - slack / lam * move, 0.0)
        lam = lam + _longest_step(lam, move) * move
        slack = slack + _longest_step(slack[free], turn[free]) * turn
    return -np.expm1(-lam), False


def _longest_step(values: FloatArray, move: FloatArray) -> float:
    shrinks = move < 0
    return float(min(1.0, np.min(-_TO_BOUNDARY * values[shrinks] / move[shrinks], initial=1.0)))


def _spans(spread: Spread, lam: FloatArray) -> FloatArray:
    """Return the cumulative hazard over each kind of interval."""
    total = np.concatenate([[0.0], np.cumsum(lam)])
    span: FloatArray = np.minimum(total[spread.last] - total[spread.first], 500.0)
    return span


def _slope(spread: Spread, span: FloatArray) -> FloatArray:
    return spread.sum_over_cells(spread.weight / np.expm1(span)) - spread.certain


def _derivatives(spread: Spread, lam: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the slope (m,) and minus the curvature, its diagonals in (width, m)."""
    span = _spans(spread, lam)
    slope = _slope(spread, span)
    curvature = spread.weight / (2.0 * np.sinh(span / 2.0)) ** 2
    length = spread.last - spread.first
    width, size = int(length.max()), lam.size
    bands = np.zeros((width, size))
    for offset in range(width):
        wide = length > offset
        change = count_by(spread.first[wide] + offset, curvature[wide], size + 1)
        change -= count_by(spread.last[wide], curvature[wide], size + 1)
        # Column k of a diagonal above the main one holds row k - offset.
        bands[offset] = np.cumsum(change)[:size]
    return slope, bands


def _solve_banded(bands: FloatArray, right: FloatArray) -> FloatArray:
    """Solve a symmetric banded system of which the upper diagonals are given.

    SuperLU rather than LAPACK's banded Cholesky: the latter shares matrices of this size between
    threads, which on a busy machine made it up to a hundred times slower.
    """
    width, size = bands.shape
    above = bands.copy()
    above[0] /= 2.0
    half = dia_array((above, np.arange(width)), shape=(size, size)).tocsc()
    factors = splu((half + half.T).tocsc(), permc_spec="NATURAL", options={"SymmetricMode": True})
    solution: FloatArray = factors.solve(right)
    return solution
