"""How much a cumulative sum over ages varies when lives of one locomotive resemble each other."""

from __future__ import annotations

import numpy as np

from analytics.estimate.rate import FloatArray, IntArray
from analytics.estimate.risk_sets import Pieces, RiskTable, Window

FEWEST_CLUSTERS = 10
"""With fewer locomotives a clustered variance is itself too uncertain to be used."""

_CELLS_AT_ONCE = 2_000_000


def clustered_variance(
    pieces: Pieces, table: RiskTable, window: Window, *, cluster: IntArray, weight: FloatArray
) -> FloatArray:
    """Return the variance, at each age of failure, of the cumulative sum of events / at risk.

    The influence of a row is the sum, over ages of failure, of (failed there - at risk there x
    hazard) / weight. Influences are added up by cluster, squared, added, and corrected by
    g / (g - 1) for g clusters. With a cluster a row and no correction it is Greenwood's variance
    (weight: survivors) or that of the cumulative hazard.

    Parameters
    ----------
    pieces, table, window : the counted lives, as `risk_sets` makes them
    cluster : array of shape (n,), numbers 0 .. g - 1 of the rows of `pieces`
    weight : array of shape (k,), at risk less events for log survival, at risk for the hazard

    Returns
    -------
    array of shape (k,)

    References
    ----------
    Williams, R.L. (1995), Product-limit survival functions with correlated survival times,
    Lifetime Data Analysis 1, 171-186.
    """
    groups = int(cluster.max()) + 1
    steps = table.age.size
    total = np.zeros(steps)
    # Locomotives are taken in blocks to bound the memory.
    block = max(1, _CELLS_AT_ONCE // max(steps, 1))
    for first in range(0, groups, block):
        size = min(block, groups - first)
        rows = (cluster >= first) & (cluster < first + size)
        part = Pieces(pieces.entry[rows], pieces.exit[rows], pieces.failed[rows])
        excess = _excess_failures(part, table, window, cluster=cluster[rows] - first, groups=size)
        influence = np.cumsum(excess / weight, axis=1)
        total += (influence**2).sum(axis=0)
    return total * groups / (groups - 1)


def _excess_failures(
    pieces: Pieces, table: RiskTable, window: Window, *, cluster: IntArray, groups: int
) -> FloatArray:
    """Return failures less expected failures by cluster and age, shape (groups, k)."""
    steps = table.age.size
    entered = np.searchsorted(table.age, pieces.entry, side="right")
    left = np.searchsorted(table.age, pieces.exit, side="right")
    at_risk = np.zeros((groups, steps + 1))
    np.add.at(at_risk, (cluster, entered), 1.0)
    np.add.at(at_risk, (cluster, left), -1.0)
    drawn = pieces.failed & (pieces.exit > window.origin) & (pieces.exit <= window.cut)
    failures = np.zeros((groups, steps))
    np.add.at(failures, (cluster[drawn], left[drawn] - 1), 1.0)
    excess: FloatArray = failures - np.cumsum(at_risk[:, :steps], axis=1) * table.hazard
    return excess
