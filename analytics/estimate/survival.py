"""Survival read straight from the lives: Kaplan-Meier, Nelson-Aalen, the median off a curve.

Lives may enter late (records that begin after the part went in) and may be handed in as several
pieces; ties, entries and exits follow `risk_sets`. Bounds are pointwise. With a `cluster` (the
locomotive of each row) the variance admits that lives of one locomotive resemble each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.estimate.cluster_variance import FEWEST_CLUSTERS, clustered_variance
from analytics.estimate.rate import FloatArray, IntArray, check_level
from analytics.estimate.risk_sets import (
    LEAST_AT_RISK,
    Pieces,
    RiskTable,
    Window,
    check_labels,
    check_pieces,
    loglog_bounds,
    number_at_risk,
    observed_window,
    product_limit,
    risk_table,
    within,
)


@dataclass(frozen=True, slots=True, eq=False)
class SurvivalCurve:
    """A step curve of survival by age, arrays of shape (k + 1,).

    The first row is the origin (survival 1, number at risk just after it); each further row is a
    distinct age of failure, its survival holding from there on. The curve says nothing beyond
    `cut_age`. With `origin_age` above 0 every survival is conditional on reaching that age.
    `lives` and `failures` count all that was handed in, also outside the drawn ages.
    `low_failure_bound` is the exact one-sided lower bound on survival to `cut_age` when no failure
    lies in the drawn ages, NaN otherwise. `note` is a message key, empty when there is nothing to
    say.
    """

    age: FloatArray
    survival: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: IntArray
    events: IntArray
    origin_age: float
    cut_age: float
    lives: int
    failures: int
    low_failure_bound: float
    level: float
    method: str
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class HazardCurve:
    """A step curve of cumulative hazard by age; rows and fields as in `SurvivalCurve`."""

    age: FloatArray
    cumulative_hazard: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: IntArray
    events: IntArray
    origin_age: float
    cut_age: float
    lives: int
    failures: int
    level: float
    method: str
    note: str


@dataclass(frozen=True, slots=True)
class SurvivalAt:
    """Survival to one age with its bounds; NaN with a `note` where it was not watched."""

    age: float
    survival: float
    lower: float
    upper: float
    at_risk: int
    lives: int
    failures: int
    level: float
    method: str
    note: str


@dataclass(frozen=True, slots=True)
class MedianLife:
    """The age at which a curve falls to one half; NaN where it (or a bound) is not reached."""

    median: float
    lower: float
    upper: float
    level: float
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class _Counted:
    """What both estimators start from."""

    pieces: Pieces
    window: Window
    table: RiskTable
    at_origin: int
    cluster: IntArray | None
    lives: int
    note: str

    @property
    def failures(self) -> int:
        return int(self.pieces.failed.sum())


def kaplan_meier(
    entry: ArrayLike,
    exit: ArrayLike,
    failed: ArrayLike,
    *,
    level: float = 0.90,
    cluster: ArrayLike | None = None,
    life: ArrayLike | None = None,
    least_at_risk: int = LEAST_AT_RISK,
) -> SurvivalCurve:
    """Estimate survival by age from lives that may be censored on the right and enter late.

    Parameters
    ----------
    entry, exit : arrays of shape (n,), ages in the clock's unit, 0 <= entry < exit
    failed : array of shape (n,), whether the row ends in a failure at `exit`
    level : confidence level of the pointwise two-sided bounds
    cluster : array of shape (n,), the locomotive of each row, for a clustered variance
    life : array of shape (n,), which life a row is a piece of; by default each row is one life
    least_at_risk : draw only while so many are at risk (0 draws everything)

    Returns
    -------
    SurvivalCurve

    Conventions
    -----------
    At risk at age a: entry < a <= exit. Bounds: survival ** exp(-+ z se / log survival), se by
    Greenwood's formula or, with `cluster`, from sums of each locomotive's influence, corrected by
    g / (g - 1) and read with Student's t on g - 1 degrees of freedom. Where survival is 0 the lower
    bound is 0 and the upper stays where it was before the last failure (survival cannot rise).
    Delayed entry: see `risk_sets.observed_window`.

    Limits
    ------
    No lives: the origin alone, note `survival.no_lives`. Fewer at risk than `least_at_risk`
    throughout: everything is drawn, note `survival.few_at_risk`. Fewer than 10 clusters: Greenwood,
    note `survival.few_clusters`. No failure: the origin alone with `low_failure_bound`, note
    `survival.no_failures`. Origin above 0: note `survival.conditional`. One note, the first of
    these that applies.

    Raises
    ------
    EstimateError
        Undefined or negative ages, exit not after entry, unequal lengths.

    References
    ----------
    Kaplan, E.L., Meier, P. (1958), Nonparametric estimation from incomplete observations, J. Amer.
    Statist. Assoc. 53, 457-481. Kalbfleisch, J.D., Prentice, R.L. (2002), The Statistical Analysis
    of Failure Time Data, 2nd ed., section 1.4 (log-log bounds). Clustered: `cluster_variance`.
    """
    counted = _count(
        check_pieces(entry, exit, failed), cluster=cluster, life=life, least_at_risk=least_at_risk
    )
    table = counted.table
    survival = product_limit(table.hazard)
    survivors = (table.at_risk - table.events).astype(np.float64)
    # Where all at risk fail at once survival is 0 and has no log; the bounds treat that apart.
    survivors[survivors == 0] = np.inf
    error, quantile = _error(counted, survivors, level)
    lower, upper = loglog_bounds(survival, error, quantile)
    return SurvivalCurve(
        age=np.concatenate([[counted.window.origin], table.age]),
        survival=np.concatenate([[1.0], survival]),
        lower=np.concatenate([[1.0], lower]),
        upper=np.concatenate([[1.0], upper]),
        at_risk=np.concatenate([[counted.at_origin], table.at_risk]),
        events=np.concatenate([[0], table.events]),
        origin_age=counted.window.origin,
        cut_age=counted.window.cut,
        lives=counted.lives,
        failures=counted.failures,
        low_failure_bound=_low_failure_bound(counted, level),
        level=level,
        method="kaplan-meier" if counted.cluster is None else "kaplan-meier-clustered",
        note=counted.note,
    )


def nelson_aalen(
    entry: ArrayLike,
    exit: ArrayLike,
    failed: ArrayLike,
    *,
    level: float = 0.90,
    cluster: ArrayLike | None = None,
    life: ArrayLike | None = None,
    least_at_risk: int = LEAST_AT_RISK,
) -> HazardCurve:
    """Estimate the cumulative hazard by age (a straight line means a constant hazard).

    Parameters, conventions on risk sets, limits and errors as in `kaplan_meier`. The variance is
    the sum of d / Y squared (or clustered); bounds are H exp(-+ z se / H), positive always.

    Returns
    -------
    HazardCurve

    References
    ----------
    Nelson, W. (1972), Theory and applications of hazard plotting for censored failure data,
    Technometrics 14, 945-966. Aalen, O. (1978), Nonparametric inference for a family of counting
    processes, Annals of Statistics 6, 701-726.
    """
    counted = _count(
        check_pieces(entry, exit, failed), cluster=cluster, life=life, least_at_risk=least_at_risk
    )
    table = counted.table
    hazard = np.cumsum(table.hazard)
    error, quantile = _error(counted, table.at_risk.astype(np.float64), level)
    spread = np.exp(quantile * error / hazard)
    return HazardCurve(
        age=np.concatenate([[counted.window.origin], table.age]),
        cumulative_hazard=np.concatenate([[0.0], hazard]),
        lower=np.concatenate([[0.0], hazard / spread]),
        upper=np.concatenate([[0.0], hazard * spread]),
        at_risk=np.concatenate([[counted.at_origin], table.at_risk]),
        events=np.concatenate([[0], table.events]),
        origin_age=counted.window.origin,
        cut_age=counted.window.cut,
        lives=counted.lives,
        failures=counted.failures,
        level=level,
        method="nelson-aalen" if counted.cluster is None else "nelson-aalen-clustered",
        note=counted.note,
    )


def survival_at(
    entry: ArrayLike,
    exit: ArrayLike,
    failed: ArrayLike,
    age: float,
    *,
    level: float = 0.90,
    cluster: ArrayLike | None = None,
) -> SurvivalAt:
    """Read Kaplan-Meier survival at one age, with a bound also before the first failure.

    Parameters as in `kaplan_meier`; nothing is cut. Where nothing failed up to `age`, the lower
    bound is the exact one-sided one of no failure among the number at risk at `age`,
    (1 - level) ** (1 / at_risk), and the upper bound 1. Beyond the last exit, or before the first
    entry, survival is NaN with note `survival.beyond_observation`.

    Returns
    -------
    SurvivalAt
    """
    curve = kaplan_meier(entry, exit, failed, level=level, cluster=cluster, least_at_risk=0)
    at_risk = int(number_at_risk(entry, exit, age))
    row = int(np.searchsorted(curve.age, age, side="right")) - 1
    survival, lower, upper = np.nan, np.nan, np.nan
    note = curve.note
    # Where the curve has reached 0 it stays there, watched or not.
    if row < 0 or (age > curve.cut_age and curve.survival[row] > 0):
        note = "survival.beyond_observation"
    elif row == 0:
        survival, upper = 1.0, 1.0
        lower = lower_bound_without_failure(at_risk, level)
        lower = 1.0 if age == curve.origin_age else lower
    else:
        survival, lower, upper = curve.survival[row], curve.lower[row], curve.upper[row]
    return SurvivalAt(
        float(age), float(survival), float(lower), float(upper), at_risk, curve.lives,
        curve.failures, level, curve.method, note,
    )  # fmt: skip


def median_from_curve(curve: SurvivalCurve) -> MedianLife:
    """Read the median life off a curve: the first age at which survival is one half or less.

    Its bounds are the first ages at which the curve's lower and upper bounds are one half or less.
    Not reached: NaN, with note `survival.median_not_reached` when that is the median itself. A
    curve with an origin above 0 gives the median of lives that reach that age.

    References
    ----------
    Brookmeyer, R., Crowley, J. (1982), A confidence interval for the median survival time,
    Biometrics 38, 29-41.
    """
    median = _first_at_half(curve.age, curve.survival)
    return MedianLife(
        median=median,
        lower=_first_at_half(curve.age, curve.lower),
        upper=_first_at_half(curve.age, curve.upper),
        level=curve.level,
        note="survival.median_not_reached" if np.isnan(median) else "",
    )


def _first_at_half(age: FloatArray, values: FloatArray) -> float:
    # A product such as 3/4 * 2/3 is one half but for the last bit.
    reached = values <= 0.5 + 1e-12
    return float(age[np.argmax(reached)]) if reached.any() else float("nan")


def _count(
    pieces: Pieces, *, cluster: ArrayLike | None, life: ArrayLike | None, least_at_risk: int
) -> _Counted:
    size = pieces.exit.size
    lives = size if life is None else int(check_labels(life, size, "life").max(initial=-1)) + 1
    window = observed_window(pieces.entry, pieces.exit, lives=lives, least_at_risk=least_at_risk)
    table = within(risk_table(pieces), window)
    clusters = None if cluster is None else check_labels(cluster, size, "cluster")
    few_clusters = clusters is not None and int(clusters.max(initial=-1)) + 1 < FEWEST_CLUSTERS
    notes = (
        ("survival.no_lives", lives == 0),
        ("survival.few_at_risk", window.few),
        ("survival.few_clusters", few_clusters),
        ("survival.no_failures", table.age.size == 0),
        ("survival.conditional", window.origin > 0),
    )
    return _Counted(
        pieces=pieces,
        window=window,
        table=table,
        at_origin=int(((pieces.entry <= window.origin) & (pieces.exit > window.origin)).sum()),
        cluster=None if few_clusters else clusters,
        lives=lives,
        note=next((key for key, applies in notes if applies), ""),
    )


def lower_bound_without_failure(at_risk: float, level: float) -> float:
    """Return the exact one-sided lower bound on survival while none of `at_risk` lives failed.

    It is the p with p ** at_risk = 1 - level (binomial, no failure); NaN with nobody at risk.

    References
    ----------
    Clopper, C.J., Pearson, E.S. (1934), The use of confidence or fiducial limits illustrated in the
    case of the binomial, Biometrika 26, 404-413.
    """
    chance = 1.0 - check_level(level)
    return float(chance ** (1.0 / at_risk)) if at_risk > 0 else float("nan")


def _low_failure_bound(counted: _Counted, level: float) -> float:
    if counted.table.age.size or not counted.lives:
        return float("nan")
    at_cut = int(number_at_risk(counted.pieces.entry, counted.pieces.exit, counted.window.cut))
    return lower_bound_without_failure(at_cut, level)


def _error(counted: _Counted, weight: FloatArray, level: float) -> tuple[FloatArray, float]:
    """Return the standard error of a cumulative sum of hazards and the quantile to read it with."""
    table, tail = counted.table, (1.0 + check_level(level)) / 2.0
    if counted.cluster is None:
        variance = np.cumsum(table.hazard / weight)
        return np.sqrt(variance), float(stats.norm.ppf(tail))
    variance = clustered_variance(
        counted.pieces, table, counted.window, cluster=counted.cluster, weight=weight
    )
    return np.sqrt(variance), float(stats.t.ppf(tail, int(counted.cluster.max())))
