"""The most likely hazards of the cells that interval-censored lives may have failed in.

In the cumulative hazards of the cells the log-likelihood is concave, late entries included: it adds
up -L(lower) + L(entry) + log(1 - exp(-(L(upper) - L(lower)))). A primal-dual interior-point Newton
iteration climbs it in some twenty rounds, where plain self-consistency needs thousands; one round
of self-consistency at the end gives the expected failures and lives at risk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import dia_array
from scipy.sparse.linalg import splu

from analytics.estimate.inspected_lives import Spread, count_by
from analytics.estimate.rate import FloatArray

_NOBODY_SURVIVES = 60.0
"""The cumulative hazard of a cell that no life survives; exp(-60) is nothing."""

_TO_BOUNDARY = 0.99
_FIRST_ROUNDS = 5


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
    start: FloatArray | None = None,
    tolerance: float = 1e-10,
    most_rounds: int = 200,
) -> CellHazards:
    """Estimate the hazard of each cell.

    Parameters
    ----------
    spread : the lives, from `inspected_lives.spread_lives`
    start : array of shape (m,) of hazards to begin with
    tolerance : stop when the log-likelihood is within this much a failure of the highest
    most_rounds : rounds of Newton's method before giving up (`settled` is then False)
    """
    hazard = np.full(spread.certain.size, 0.5) if start is None else start
    if not spread.weight.size:
        nothing = np.zeros_like(hazard)
        return CellHazards(nothing, nothing, spread.certain, settled=True)
    for _ in range(_FIRST_ROUNDS):
        hazard = _ratio(*expected_counts(spread, hazard))
    settled = True
    if np.any(spread.last - spread.first > 1):
        hazard, settled = _climb(spread, hazard, tolerance=tolerance, most_rounds=most_rounds)
    failures, at_risk = expected_counts(spread, hazard)
    return CellHazards(_ratio(failures, at_risk), failures, at_risk, settled)


def expected_counts(spread: Spread, hazard: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spread each life over its cells by the hazards: expected failures and at risk, (m,) each."""
    size = spread.certain.size
    length = spread.last - spread.first
    begin = np.cumsum(length) - length
    cell = np.arange(int(length.sum())) + np.repeat(spread.first - begin, length)
    survived = np.cumsum(np.log1p(-np.minimum(hazard, 1.0 - 1e-15)))
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


def _climb(
    spread: Spread, hazard: FloatArray, *, tolerance: float, most_rounds: int
) -> tuple[FloatArray, bool]:
    """Maximise over cumulative hazards >= 0; `slack` is the multiplier of that bound."""
    # Where nobody is certainly at risk nothing holds the hazard down.
    free = spread.certain > 0
    lam = -np.log1p(-np.minimum(hazard, 0.999))
    lam = np.where(free, np.maximum(lam, 1e-8), _NOBODY_SURVIVES)
    slack = np.where(free, 1.0, 0.0)
    failures, cells = spread.weight.sum(), max(int(free.sum()), 1)
    for _ in range(most_rounds):
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


def _derivatives(spread: Spread, lam: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the slope (m,) and minus the curvature, its diagonals in (width, m)."""
    total = np.concatenate([[0.0], np.cumsum(lam)])
    span = np.minimum(total[spread.last] - total[spread.first], 500.0)
    slope = spread.sum_over_cells(spread.weight / np.expm1(span)) - spread.certain
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
