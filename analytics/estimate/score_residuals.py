"""Score and Schoenfeld residuals of a proportional-hazards model with one covariate.

What each row adds to the score of the partial likelihood, so that rows of one locomotive can be
added up before they are squared. Entries may be late and ages tied.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimate.rate import FloatArray, IntArray, sums_by
from analytics.estimate.risk_sets import Pieces


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """Residuals of n rows: `score` (n,), `schoenfeld` (n,) NaN without a failure, and information.

    The scores add up to the score of the partial likelihood; the Schoenfeld residual of a failure
    is its covariate less the mean of those at risk.
    """

    score: FloatArray
    schoenfeld: FloatArray
    information: float


def score_residuals(
    pieces: Pieces, covariate: FloatArray, *, slope: float = 0.0, efron: bool = False
) -> Scores:
    """Return what each row adds to the score at a slope.

    Parameters
    ----------
    pieces : rows at risk over (entry, exit]
    covariate : array of shape (n,)
    slope : the log hazard ratio at which the residuals are taken
    efron : whether tied failures share their risk set as Efron has it; else as Breslow, with which
        the score at slope 0 is observed less expected failures of the log-rank test

    References
    ----------
    Lin, D.Y., Wei, L.J. (1989), J. Amer. Statist. Assoc. 84, 1074-1078. Therneau, T.M., Grambsch,
    P.M. (2000), Modeling Survival Data, sections 3.3 and 4.6. Efron, B. (1977), J. Amer. Statist.
    Assoc. 72, 557-565.
    """
    size = covariate.size
    age, at = np.unique(pieces.exit[pieces.failed], return_inverse=True)
    if not age.size:
        return Scores(np.zeros(size), np.full(size, np.nan), 0.0)
    weight = np.exp(slope * covariate)
    moments = [weight * covariate**power for power in range(3)]
    at_risk = [_at_risk(pieces, age, moment) for moment in moments]
    failing = [sums_by(at, moment[pieces.failed], age.size) for moment in moments]
    # Each failure is a step of its own; with Efron's weights the k-th of d tied ones removes k/d.
    count = np.bincount(at, minlength=age.size)
    step = np.repeat(np.arange(age.size), count)
    turn = np.arange(step.size) - np.repeat(np.cumsum(count) - count, count)
    gone = turn / count[step] if efron else np.zeros(step.size)
    zero, one, two = (
        total[step] - gone * lost[step] for total, lost in zip(at_risk, failing, strict=True)
    )
    mean = one / zero
    sums = {
        name: sums_by(step, part, age.size)
        for name, part in (
            ("hazard", 1.0 / zero),
            ("pull", mean / zero),
            ("own_hazard", (1.0 - gone) / zero),
            ("own_pull", (1.0 - gone) * mean / zero),
            ("mean", mean / count[step]),
        )
    }
    schoenfeld = np.full(size, np.nan)
    schoenfeld[pieces.failed] = covariate[pieces.failed] - sums["mean"][at]
    hazard = _watched(pieces, age, sums["hazard"])
    pull = _watched(pieces, age, sums["pull"])
    hazard[pieces.failed] += (sums["own_hazard"] - sums["hazard"])[at]
    pull[pieces.failed] += (sums["own_pull"] - sums["pull"])[at]
    score = np.where(pieces.failed, schoenfeld, 0.0) - weight * (covariate * hazard - pull)
    return Scores(score, schoenfeld, float((two / zero - mean**2).sum()))


def added_by(cluster: IntArray, score: FloatArray) -> FloatArray:
    """Add up scores (n,) or (n, k) by cluster, numbered 0 .. g - 1: (g,) or (g, k)."""
    sums = np.zeros((int(cluster.max(initial=-1)) + 1, *score.shape[1:]))
    np.add.at(sums, cluster, score)
    return sums


def _at_risk(pieces: Pieces, age: FloatArray, moment: FloatArray) -> FloatArray:
    """Return the sum of `moment` over the rows with entry < age <= exit."""
    first = np.searchsorted(age, pieces.entry, side="right")
    past = np.searchsorted(age, pieces.exit, side="right")
    joined = sums_by(first, moment, age.size + 1) - sums_by(past, moment, age.size + 1)
    return np.asarray(np.cumsum(joined)[: age.size], dtype=np.float64)


def _watched(pieces: Pieces, age: FloatArray, steps: FloatArray) -> FloatArray:
    """Return the sum of `steps` over the ages of failure at which each row is at risk."""
    total = np.append(0.0, np.cumsum(steps))
    first = np.searchsorted(age, pieces.entry, side="right")
    past = np.searchsorted(age, pieces.exit, side="right")
    return np.asarray(total[past] - total[first], dtype=np.float64)
