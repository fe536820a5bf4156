"""How much shorter or longer one group of lives lasts than another, by locomotive.

Two models of the ratio: Cox (of the hazards, whatever their course) and Weibull (of the lives
themselves). The estimates are those of lifelines; the errors are made here, because lifelines'
robust ones leave out late entries and ties and know no clusters for a Weibull model.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from analytics.errors import EstimateError
from analytics.estimate.clustered_score import FEW_CLUSTERS, FEWEST_CLUSTERS
from analytics.estimate.lifelines_fits import cox_slope, weibull_slopes
from analytics.estimate.rate import FloatArray, IntArray, check_level
from analytics.estimate.risk_sets import Pieces, check_labels
from analytics.estimate.score_residuals import added_by, score_residuals

COX = "cox"
WEIBULL = "weibull aft"
FEWEST_FAILURES = 3
_SETTLED = 1e-3  # a score at the maximum, in standard errors


@dataclass(frozen=True, slots=True)
class GroupRatio:
    """The ratio of one group to another with bounds; NaN with a `note` where there is none.

    Cox: hazard over hazard, above 1 fails sooner; `proportional_p` is that of the check that the
    ratio is one for all ages. Weibull: life over life, above 1 lasts longer. `statistic` is the
    squared Wald statistic and `p` two-sided, both by locomotive.
    """

    model: str
    ratio: float
    lower: float
    upper: float
    statistic: float
    p: float
    proportional_p: float
    clusters: int
    failures: int
    level: float
    note: str


def group_ratio(
    pieces: Pieces, inside: ArrayLike, cluster: ArrayLike, model: str, *, level: float = 0.90
) -> GroupRatio:
    """Estimate the ratio of the rows inside a group to the other rows.

    Parameters
    ----------
    pieces : rows at risk over (entry, exit], as `risk_sets.check_pieces` makes them
    inside : array of shape (n,), whether a row belongs to the group
    cluster : array of shape (n,), the locomotive of each row
    model : `cox` or `weibull aft`
    level : two-sided level of the bounds

    Returns
    -------
    GroupRatio

    Conventions
    -----------
    Variance between locomotives: what each adds to the score, squared, between the inverse
    information, times g / (g - 1) for g locomotives; bounds and p with Student's t on g - 1
    degrees of freedom. Ties by Efron's method. The check of proportional hazards takes the slope of
    the scaled Schoenfeld residuals over the rank of the age, rows as independent.

    Limits
    ------
    Notes with NaN: fewer than 3 failures `differ.too_few`, none on one side `differ.none_failed`,
    lives of one side on fewer than 2 locomotives `differ.one_locomotive`, no maximum
    `differ.not_determined`. Figures with a note: fewer than 10 locomotives `differ.few`.

    Raises
    ------
    EstimateError
        An unknown model or unequal lengths.

    References
    ----------
    Lin & Wei (1989), J. Amer. Statist. Assoc. 84, 1074-1078; Grambsch & Therneau (1994), Biometrika
    81, 515-526; Kalbfleisch & Prentice (2002), 2nd ed., chapters 2 and 3 (accelerated life).
    """
    check_level(level)
    if model not in (COX, WEIBULL):
        raise EstimateError(f"A model is {COX} or {WEIBULL}, got {model!r}.")
    mine = np.asarray(inside, dtype=bool)
    places = check_labels(cluster, pieces.exit.size, "cluster")
    failures = pieces.failed
    found = GroupRatio(
        model=model,
        ratio=np.nan,
        lower=np.nan,
        upper=np.nan,
        statistic=np.nan,
        p=np.nan,
        proportional_p=np.nan,
        clusters=int(places.max(initial=-1)) + 1,
        failures=int(failures.sum()),
        level=level,
        note="",
    )
    sides = [np.unique(places[side]).size for side in (mine, ~mine)]
    reasons = (
        ("differ.too_few", found.failures < FEWEST_FAILURES),
        ("differ.none_failed", failures[mine].sum() * failures[~mine].sum() == 0),
        ("differ.one_locomotive", min(sides) < FEWEST_CLUSTERS),
    )
    reason = next((key for key, applies in reasons if applies), "")
    if reason:
        return replace(found, note=reason)
    fit = _cox if model == COX else _weibull
    return _with_bounds(found, *fit(pieces, mine.astype(np.float64), places))


def _with_bounds(found: GroupRatio, slope: float, error: float, checked_p: float) -> GroupRatio:
    if not (np.isfinite(slope) and np.isfinite(error) and error > 0):
        return replace(found, note="differ.not_determined")
    free = found.clusters - 1
    reach = float(special.stdtrit(free, (1.0 + found.level) / 2.0)) * error
    return replace(
        found,
        ratio=float(np.exp(slope)),
        lower=float(np.exp(slope - reach)),
        upper=float(np.exp(slope + reach)),
        statistic=(slope / error) ** 2,
        p=float(2.0 * stats.t.sf(abs(slope / error), free)),
        proportional_p=checked_p,
        note="differ.few" if found.clusters < FEW_CLUSTERS else "",
    )


def _cox(pieces: Pieces, covariate: FloatArray, cluster: IntArray) -> tuple[float, float, float]:
    """Return log hazard ratio, its standard error by cluster, and p of proportional hazards."""
    nothing = (np.nan, np.nan, np.nan)
    slope = cox_slope(pieces.entry, pieces.exit, pieces.failed, covariate)
    if not np.isfinite(slope):
        return nothing
    found = score_residuals(pieces, covariate, slope=slope, efron=True)
    if not found.information > 0 or abs(found.score.sum()) > _SETTLED * found.information**0.5:
        return nothing
    sums = added_by(cluster, found.score)
    error = np.sqrt(np.sum(sums**2) * _corrected(sums)) / found.information
    checked = proportional_p(pieces, found.schoenfeld, found.information)
    return slope, float(error), checked


def proportional_p(pieces: Pieces, schoenfeld: FloatArray, information: float) -> float:
    """Return the p of the check that a hazard ratio is the same at all ages; NaN below 3 failures.

    Parameters
    ----------
    pieces : rows at risk
    schoenfeld : array of shape (n,), residuals at the estimate, NaN without a failure
    information : that of the partial likelihood at the estimate

    References
    ----------
    Grambsch & Therneau (1994), Biometrika 81, 515-526, equation 3.1 with the rank of the age.
    """
    residual = schoenfeld[pieces.failed]
    rank = stats.rankdata(pieces.exit[pieces.failed])
    apart = rank - rank.mean()
    spread = float(np.sum(apart**2))
    if residual.size < FEWEST_FAILURES or spread == 0 or not information > 0:
        return float("nan")
    statistic = residual.size * float(apart @ residual) ** 2 / (information * spread)
    return float(stats.chi2.sf(statistic, 1))


def _weibull(
    pieces: Pieces, covariate: FloatArray, cluster: IntArray
) -> tuple[float, float, float]:
    """Return log life ratio and its standard error by cluster; there is no check."""
    nothing = (np.nan, np.nan, np.nan)
    found = weibull_slopes(pieces.entry, pieces.exit, pieces.failed, covariate)
    if not np.isfinite(found).all():
        return nothing
    score, information = _weibull_scores(pieces, covariate, *found)
    try:
        inverse = np.linalg.inv(information)
    except np.linalg.LinAlgError:
        return nothing
    total = score.sum(axis=0)
    if not 0 <= total @ inverse @ total < _SETTLED**2 * total.size:
        return nothing
    sums = added_by(cluster, score) @ inverse
    error = np.sqrt(np.sum(sums[:, 1] ** 2) * _corrected(sums))
    return found[1], float(error), np.nan


def _corrected(sums: FloatArray) -> float:
    return float(sums.shape[0] / (sums.shape[0] - 1))


def _weibull_scores(
    pieces: Pieces, covariate: FloatArray, intercept: float, slope: float, log_scale: float
) -> tuple[FloatArray, FloatArray]:
    """Return each row's score (n, 3) by intercept, slope and log scale, and the information."""
    scale = np.exp(log_scale)
    location = intercept + slope * covariate
    failed = pieces.failed.astype(np.float64)
    at_exit = (np.log(pieces.exit) - location) / scale
    late = pieces.entry > 0
    at_entry = (np.log(np.where(late, pieces.entry, 1.0)) - location) / scale
    # Powers of the standardised age times the hazard it has gathered, less that before the entry.
    gained = [
        at_exit**power * np.exp(at_exit) - np.where(late, at_entry**power * np.exp(at_entry), 0.0)
        for power in range(3)
    ]
    by_location = (gained[0] - failed) / scale
    by_scale = -failed * (1.0 + at_exit) + gained[1]
    score = np.column_stack([by_location, covariate * by_location, by_scale])
    twice = gained[0] / scale**2
    mixed = (gained[0] + gained[1] - failed) / scale
    both = gained[1] + gained[2] - failed * at_exit
    rows = ((twice, twice * covariate, mixed), (twice * covariate, twice * covariate**2))
    information = np.empty((3, 3))
    information[0] = [part.sum() for part in rows[0]]
    information[1] = [rows[1][0].sum(), rows[1][1].sum(), (mixed * covariate).sum()]
    information[2] = [mixed.sum(), (mixed * covariate).sum(), both.sum()]
    return score, information
