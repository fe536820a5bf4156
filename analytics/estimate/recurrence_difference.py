"""Does one fix hold as well as another: two recurrence rates set against each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.estimate.clustered_score import clustered_score_test
from analytics.estimate.rate import BoolArray, FloatArray, IntArray, sums_by
from analytics.estimate.recurrence import RecurrenceEstimate, recurrence_rate
from analytics.estimate.risk_sets import check_labels


@dataclass(frozen=True, slots=True)
class RecurrenceDifference:
    """Rate of the closings inside a group less that of the others, and a clustered score test.

    `statistic` has `df` degrees of freedom. NaN with a `note`, a message key.
    """

    first: RecurrenceEstimate
    second: RecurrenceEstimate
    difference: float
    lower: float
    upper: float
    statistic: float
    df: int
    p: float
    note: str


def recurrence_difference(
    gap: ArrayLike,
    recurred: ArrayLike,
    cluster: ArrayLike,
    inside: ArrayLike,
    *,
    window: float,
    level: float = 0.90,
) -> RecurrenceDifference:
    """Difference of two recurrence rates at a window, and whether they differ within it at all.

    Parameters
    ----------
    gap, recurred, cluster, window, level : as in `recurrence.recurrence_rate`
    inside : array of shape (n_closings,), whether a closing belongs to the group

    Returns
    -------
    RecurrenceDifference

    Conventions
    -----------
    Bounds are put together from those of the two rates, whose distances from the rates are added as
    squares, less twice their product times the correlation that common locomotives bring: they stay
    between -1 and 1 and exist also where nothing came back. The test compares how soon and how
    often it came back up to the window (`clustered_score.clustered_score_test`).

    Limits
    ------
    A rate that is not known: NaN difference. Notes of the test as there.

    Raises
    ------
    EstimateError
        As `recurrence.recurrence_rate`.

    References
    ----------
    Zou, G.Y., Donner, A. (2008), Construction of confidence limits about effect measures: a general
    approach, Statistics in Medicine 27, 1693-1702. Lee, Wei & Amato (1992): see `clustered_score`.
    """
    gaps = np.asarray(gap, dtype=np.float64)
    mine, places = np.asarray(inside, dtype=bool), np.asarray(cluster)
    back = np.asarray(recurred).astype(bool)
    rates = [
        recurrence_rate(gaps[side], back[side], places[side], window=window, level=level)
        for side in (mine, ~mine)
    ]
    within = back & (gaps <= window)
    labels = check_labels(places, gaps.size, "cluster")
    # A gap of 0 is a life of zero length to the test, which only asks for the order of the gaps.
    ends = 1.0 + np.where(within, gaps, np.minimum(gaps, window))
    test = clustered_score_test(np.zeros(gaps.size), ends, within, mine, places)
    first, second = rates
    together = _correlation(gaps, within, labels, mine)
    down = _reach(first.rate - first.lower, second.upper - second.rate, together)
    up = _reach(first.upper - first.rate, second.rate - second.lower, together)
    difference = first.rate - second.rate
    return RecurrenceDifference(
        first=first,
        second=second,
        difference=difference,
        lower=max(difference - down, -1.0) if np.isfinite(down) else np.nan,
        upper=min(difference + up, 1.0) if np.isfinite(up) else np.nan,
        statistic=test.chi2,
        df=test.df,
        p=test.p,
        note=test.note,
    )


def _reach(one: float, other: float, together: float) -> float:
    return float(np.sqrt(max(one**2 + other**2 - 2.0 * together * one * other, 0.0)))


def _correlation(gaps: FloatArray, within: BoolArray, labels: IntArray, mine: BoolArray) -> float:
    """Return how the two rates' errors go together over locomotives; 0 where nothing tells."""
    count = int(labels.max(initial=-1)) + 1
    pulls = [
        sums_by(labels[side], _pull(gaps[side], within[side]), count) for side in (mine, ~mine)
    ]
    size = float(np.sqrt(np.sum(pulls[0] ** 2) * np.sum(pulls[1] ** 2)))
    return float(np.clip(pulls[0] @ pulls[1] / size, -1.0, 1.0)) if size > 0 else 0.0


def _pull(gaps: FloatArray, within: BoolArray) -> FloatArray:
    """Return each closing's pull on the cumulative hazard: failed less expected, over at risk."""
    distinct, at = np.unique(gaps[within], return_inverse=True)
    if not distinct.size:
        return np.zeros(gaps.size)
    events = np.bincount(at, minlength=distinct.size).astype(np.float64)
    at_risk = gaps.size - np.searchsorted(np.sort(gaps), distinct, side="left")
    pull = -np.append(0.0, np.cumsum(events / at_risk**2))
    pull = pull[np.searchsorted(distinct, gaps, side="right")]
    pull[within] += 1.0 / at_risk[at]
    return np.asarray(pull, dtype=np.float64)
