"""Survival of lives that an inspection knows only as "sound then, defective now".

The nonparametric maximum-likelihood estimate of Turnbull, with late entries. A step means that
survival falls somewhere within (interval_start, age], the data do not say where.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.cluster_variance import FEWEST_CLUSTERS
from analytics.estimate.inspected_lives import Cells, find_cells, keep_cells, spread_lives
from analytics.estimate.interval_hazard import most_likely_hazards
from analytics.estimate.life_data import LifeData
from analytics.estimate.rate import FloatArray, IntArray, check_level
from analytics.estimate.risk_sets import (
    LEAST_AT_RISK,
    Window,
    check_labels,
    loglog_bounds,
    observed_window,
    product_limit,
)

_NO_FAILURE = 1e-6
"""A cell that holds fewer expected failures than this is left out of the curve."""

_BOOTSTRAP_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class TurnbullCurve:
    """A step curve of survival by age, arrays of shape (k + 1,); the first row is the origin.

    Survival falls somewhere in (`interval_start`, `age`] (exactly at `age` where equal) and holds
    from `age` on. `at_risk` and `events` are expected numbers, not whole ones. Bounds are NaN
    unless `turnbull_bounds` made them. Other fields as in `survival.SurvivalCurve`; `lives` and
    `failures` count all that was handed in.
    """

    age: FloatArray
    interval_start: FloatArray
    survival: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: FloatArray
    events: FloatArray
    origin_age: float
    cut_age: float
    lives: int
    failures: int
    level: float
    method: str
    note: str


def turnbull(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    *,
    tolerance: float = 1e-10,
    least_at_risk: int = LEAST_AT_RISK,
) -> TurnbullCurve:
    """Estimate survival by age from interval-censored lives.

    Parameters
    ----------
    lower, upper : arrays of shape (n,), ages in the clock's unit: the failure lies in
        (lower, upper]; equal: exactly there; upper infinite: not failed by lower; lower 0: failed
        before the first look
    entry : array of shape (n,), the age from which each life was watched; 0 by default
    tolerance : stop when the log-likelihood is within this much a failure of the highest
    least_at_risk : draw only while so many are at risk (0 draws everything)

    Returns
    -------
    TurnbullCurve, without bounds

    Conventions
    -----------
    Late entries condition on survival to `entry`, so the curve is conditional on `origin_age` as in
    `survival.kaplan_meier`, with a life at risk until its `upper` (`lower` when not failed). Mass
    that no failure claims, beyond the last life watched, has no row. With exact and right-censored
    lives alone this is the Kaplan-Meier curve.

    Limits
    ------
    Notes, the first that applies: `survival.no_lives`, `survival.few_at_risk`,
    `survival.turnbull_not_settled`, `survival.no_failures`, `survival.conditional`.

    Raises
    ------
    EstimateError
        Ages that make no life, as in `life_data.LifeData`.

    References
    ----------
    Turnbull, B.W. (1976), The empirical distribution function with arbitrarily grouped, censored
    and truncated data, J. Roy. Statist. Soc. B 38, 290-295. Frydman, H. (1994), A note on
    nonparametric estimation of the distribution function from interval-censored and truncated
    observations, J. Roy. Statist. Soc. B 56, 71-74.
    """
    lives = LifeData.of(lower, upper, entry)
    window = _window(lives, least_at_risk)
    cells = find_cells(lives)
    found = most_likely_hazards(spread_lives(cells, np.ones(lives.lives)), tolerance=tolerance)
    keep = (
        (found.failures > _NO_FAILURE) & (cells.right > window.origin) & (cells.right <= window.cut)
    )
    survival = _conditional_survival(cells, found.hazard, window)[keep]
    open_bounds = np.full(int(keep.sum()) + 1, np.nan)
    return TurnbullCurve(
        age=np.concatenate([[window.origin], cells.right[keep]]),
        interval_start=np.concatenate([[window.origin], cells.left[keep]]),
        survival=np.concatenate([[1.0], survival]),
        lower=open_bounds,
        upper=open_bounds,
        at_risk=np.concatenate([[_watched(lives, window.origin)], found.at_risk[keep]]),
        events=np.concatenate([[0.0], found.failures[keep]]),
        origin_age=window.origin,
        cut_age=window.cut,
        lives=lives.lives,
        failures=lives.failures,
        level=np.nan,
        method="turnbull",
        note=_note(lives, window, settled=found.settled, failed=bool(keep.any())),
    )


def turnbull_bounds(
    lower: ArrayLike,
    upper: ArrayLike,
    entry: ArrayLike | None = None,
    *,
    cluster: ArrayLike,
    level: float = 0.90,
    repeats: int = 200,
    seed: int = 0,
) -> TurnbullCurve:
    """Return the Turnbull curve with approximate bounds by a bootstrap of locomotives.

    Whole locomotives are drawn with replacement `repeats` times, the curve is estimated again with
    steps where the first one has them, and the spread of survival at each age makes log-log bounds
    with Student's t on locomotives less one. Approximate: of a nominal 90 % they covered 82 to 92 %
    in simulation (120 lives on 20 locomotives, inspected every 7 or 30 days of a life of 180).

    Parameters
    ----------
    lower, upper, entry : as in `turnbull`
    cluster : array of shape (n,), the locomotive of each life
    level : two-sided level of the pointwise bounds
    repeats, seed : number of resamples and the seed of their draw

    Limits
    ------
    Fewer than 10 locomotives: no bounds, note `survival.few_clusters`.

    References
    ----------
    Davison, A.C., Hinkley, D.V. (1997), Bootstrap Methods and their Application, sections 3.5, 5.3.
    """
    check_level(level)
    if repeats < 2:
        raise EstimateError(f"A bootstrap needs at least two repeats, got {repeats!r}.")
    lives = LifeData.of(lower, upper, entry)
    curve = turnbull(lives.lower, lives.upper, lives.entry)
    owner = check_labels(cluster, lives.lives, "cluster")
    if int(owner.max(initial=-1)) + 1 < FEWEST_CLUSTERS:
        return replace(curve, level=level, note=curve.note or "survival.few_clusters")
    drawn = _resampled_curves(lives, curve, owner, repeats=repeats, seed=seed)
    survival = curve.survival[1:]
    error = drawn.std(axis=0, ddof=1) / np.maximum(survival, 1e-300)
    quantile = float(stats.t.ppf((1.0 + level) / 2.0, int(owner.max())))
    low, high = loglog_bounds(survival, error, quantile)
    return replace(
        curve,
        lower=np.concatenate([[1.0], low]),
        upper=np.concatenate([[1.0], high]),
        level=level,
        method="turnbull-bootstrap",
    )


def _resampled_curves(
    lives: LifeData, curve: TurnbullCurve, owner: IntArray, *, repeats: int, seed: int
) -> FloatArray:
    """Return survival at the ages of `curve` for each resample, shape (repeats, k)."""
    cells = find_cells(lives)
    found = most_likely_hazards(spread_lives(cells, np.ones(lives.lives)))
    held = found.failures > _NO_FAILURE
    cells = keep_cells(cells, held)
    support = np.ones(int(held.sum()), dtype=bool)
    window = Window(curve.origin_age, curve.cut_age, few=False)
    row = np.searchsorted(cells.right, curve.age[1:], side="right") - 1
    groups = int(owner.max()) + 1
    draws = np.random.default_rng(seed).multinomial(groups, np.full(groups, 1 / groups), repeats)
    drawn = np.empty((repeats, row.size))
    for number, counts in enumerate(draws):
        spread = spread_lives(cells, counts[owner].astype(np.float64))
        hazard = most_likely_hazards(spread, support=support, tolerance=_BOOTSTRAP_TOLERANCE).hazard
        drawn[number] = _conditional_survival(cells, hazard, window)[row]
    return drawn


def _conditional_survival(cells: Cells, hazard: FloatArray, window: Window) -> FloatArray:
    return product_limit(np.where(cells.right > window.origin, hazard, 0.0))


def _window(lives: LifeData, least_at_risk: int) -> Window:
    leaves = np.where(np.isfinite(lives.upper), lives.upper, lives.lower)
    return observed_window(lives.entry, leaves, lives=lives.lives, least_at_risk=least_at_risk)


def _watched(lives: LifeData, age: float) -> int:
    leaves = np.where(np.isfinite(lives.upper), lives.upper, lives.lower)
    return int(((lives.entry <= age) & (leaves > age)).sum())


def _note(lives: LifeData, window: Window, *, settled: bool, failed: bool) -> str:
    notes = (
        ("survival.no_lives", lives.lives == 0),
        ("survival.few_at_risk", window.few),
        ("survival.turnbull_not_settled", not settled),
        ("survival.no_failures", not failed),
        ("survival.conditional", window.origin > 0),
    )
    return next((key for key, applies in notes if applies), "")
