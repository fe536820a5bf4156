"""How much wider bounds of a law of life must be where lives of one locomotive are alike.

A likelihood takes lives as independent. Where those of one locomotive are alike, the score adds up
over its lives and varies more than the curvature says. The profile keeps its shape; the fall at
which a bound lies is scaled by how much more the quantity varies than it should.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analytics.estimate.by_group import ByGroup
from analytics.estimate.life_data import LifeData
from analytics.estimate.life_terms import Law, Points, log_likelihoods, read_sample
from analytics.estimate.rate import FloatArray, IntArray

FEWEST_CLUSTERS = 10
"""With fewer, how alike their lives are cannot be told; bounds then take lives as independent."""


@dataclass(frozen=True, slots=True, eq=False)
class Belonging:
    """Whose n lives are: `group` and `cluster` (n,), and how often each counts, `weight` (n,)."""

    group: IntArray
    cluster: IntArray
    weight: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Alike(ByGroup):
    """How the scores of m groups vary between the clusters of each.

    `meat` (3, m): sums over clusters of the score's outer product (location twice, both, log scale
    twice), brought up by G / (G - 1); `clusters` (m,) is G.
    """

    meat: FloatArray
    clusters: FloatArray

    def widened(self, drop: float, error: FloatArray, direction: FloatArray) -> FloatArray:
        """Return `drop` as each group needs it for one quantity, never below `drop`.

        Parameters
        ----------
        drop : normal quantile of the level
        error : (m,) standard errors of the quantity by the curvature
        direction : (2, m) how location and log scale move with it along its profile

        Conventions
        -----------
        The quantity's robust over its curvature's variance, as in Chandler & Bate (2007),
        Biometrika 94, 167-183, and Student's quantile for G - 1.
        """
        twice, mixed, both = self.meat
        first, second = direction
        spread = error**2 * (twice * first**2 + 2.0 * mixed * first * second + both * second**2)
        few = np.maximum(self.clusters - 1.0, 1.0)
        quantile = stats.t.ppf(stats.norm.cdf(drop), few)
        wide = np.where(spread > 1.0, quantile * np.sqrt(np.fmax(spread, 1.0)), drop)
        enough: FloatArray = np.where(self.clusters >= FEWEST_CLUSTERS, np.fmax(wide, drop), drop)
        return enough


def find_alike(
    law: Law, lives: LifeData, best: Points, unit: FloatArray, *, of: Belonging
) -> Alike:
    """Add up scores by cluster at the highest points.

    Parameters
    ----------
    law : the law of log lives
    lives : n lives
    best : the highest point of each of m groups, log ages measured from `unit`
    unit : (m,) log ages
    of : whose the lives are
    """
    group = of.group
    own = read_sample(lives, np.arange(lives.lives), lives.lives, of.weight)
    location = best.place[0][group] + unit[group] - own.unit
    scores = log_likelihoods(law, own, np.stack([location, best.place[1][group]])).total[1:3]
    clusters = int(of.cluster.max(initial=0)) + 1
    named, number = np.unique(group * clusters + of.cluster, return_inverse=True)
    first, second = (np.bincount(number, row, minlength=named.size) for row in scores)
    holder = named // clusters
    count = np.bincount(holder, minlength=unit.size).astype(np.float64)
    products = (first**2, first * second, second**2)
    meat = np.stack([np.bincount(holder, product, minlength=unit.size) for product in products])
    return Alike(meat * count / np.maximum(count - 1.0, 1.0), count)
