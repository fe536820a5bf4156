"""Do groups of lives survive alike? The log-rank test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.estimate.rate import FloatArray, IntArray
from analytics.estimate.risk_sets import Pieces, check_labels, check_pieces, risk_table


@dataclass(frozen=True, slots=True, eq=False)
class TestResult:
    """A chi-square test of groups, arrays of shape (g,) in the order of `groups`.

    `observed` and `expected` are failures by group, expected if all groups had one hazard. `p` and
    `chi2` are NaN with a `note` where nothing can be compared.
    """

    chi2: float
    df: int
    p: float
    observed: FloatArray
    expected: FloatArray
    groups: tuple[str, ...]
    note: str


def log_rank(entry: ArrayLike, exit: ArrayLike, failed: ArrayLike, group: ArrayLike) -> TestResult:
    """Test whether the hazards of two or more groups are equal at all ages.

    Parameters
    ----------
    entry, exit : arrays of shape (n,), ages in the clock's unit, 0 <= entry < exit
    failed : array of shape (n,), whether the row ends in a failure at `exit`
    group : array of shape (n,), the group of each row; groups come back sorted as text

    Returns
    -------
    TestResult

    Conventions
    -----------
    At risk at age a: entry < a <= exit. Expected failures and their hypergeometric covariance are
    added over the ages of failure. Rows count as independent: with several lives of one
    locomotive the p-value is too small.

    Limits
    ------
    Fewer than two groups, no failure, or no age at which two groups are at risk together: NaN, note
    `survival.nothing_to_compare`. A group never at risk beside another adds no degree of freedom.

    Raises
    ------
    EstimateError
        Undefined or negative ages, exit not after entry, unequal lengths.

    References
    ----------
    Mantel, N. (1966), Cancer Chemotherapy Reports 50, 163-170. Kalbfleisch, J.D., Prentice, R.L.
    (2002), The Statistical Analysis of Failure Time Data, 2nd ed., section 1.5.
    """
    pieces = check_pieces(entry, exit, failed)
    given = np.asarray(group).astype(str)
    labels = check_labels(given, pieces.exit.size, "group")
    names = tuple(str(name) for name in np.unique(given))
    age = risk_table(pieces).age
    at_risk, events = _by_group(pieces, labels, age, groups=len(names))
    total, failing = at_risk.sum(axis=0), events.sum(axis=0)
    share = at_risk / np.maximum(total, 1)
    observed, expected = events.sum(axis=1), (share * failing).sum(axis=1)
    spread = failing * (total - failing) / np.maximum(total - 1, 1)
    covariance = np.diag((share * spread).sum(axis=1)) - (share * spread) @ share.T
    chi2, df = quadratic_form(observed - expected, covariance)
    return TestResult(
        chi2=chi2,
        df=df,
        p=float(stats.chi2.sf(chi2, df)) if df else float("nan"),
        observed=observed,
        expected=expected,
        groups=names,
        note="" if df else "survival.nothing_to_compare",
    )


def _by_group(
    pieces: Pieces, labels: IntArray, age: FloatArray, *, groups: int
) -> tuple[FloatArray, FloatArray]:
    """Count those at risk and failing by group and age of failure, shape (groups, k)."""
    at_risk, events = np.zeros((groups, age.size)), np.zeros((groups, age.size))
    for number in range(groups):
        mine = labels == number
        entered = np.searchsorted(np.sort(pieces.entry[mine]), age, side="left")
        left = np.searchsorted(np.sort(pieces.exit[mine]), age, side="left")
        at_risk[number] = entered - left
        failures = pieces.exit[mine & pieces.failed]
        events[number] = np.bincount(np.searchsorted(age, failures), minlength=age.size)
    return at_risk, events


def quadratic_form(excess: FloatArray, covariance: FloatArray) -> tuple[float, int]:
    """Return excess' covariance^- excess and the rank, by eigenvectors."""
    if excess.size < 2:
        return float("nan"), 0
    values, vectors = np.linalg.eigh(covariance)
    kept = values > 1e-10 * max(float(values[-1]), 1e-300)
    kept &= values > 1e-12
    df = int(kept.sum())
    if df == 0:
        return float("nan"), 0
    along = vectors[:, kept].T @ excess
    return float((along**2 / values[kept]).sum()), df
