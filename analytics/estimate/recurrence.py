"""How often a defect comes back: the chance of a new episode within a window after a closing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import (
    BoolArray,
    FloatArray,
    IntArray,
    check_level,
    check_numbers,
    sums_by,
)

RecurrenceMethod = Literal["clustered by locomotive", "treats closings as independent", ""]

CLUSTERED: RecurrenceMethod = "clustered by locomotive"
INDEPENDENT: RecurrenceMethod = "treats closings as independent"
NO_CLOSINGS = "recurrence.no_closings"
WINDOW_NOT_REACHED = "recurrence.window_not_reached"
FEWEST_CLUSTERS = 10
_WIDEST = 50.0  # in logarithms: beyond it the bounds are 0 and 1 to every digit


@dataclass(frozen=True, slots=True)
class RecurrenceEstimate:
    """Chance that a closing is followed by a new episode within `window`, with bounds.

    `recurrences` and `matured` count closings: followed by an episode within the window, and
    watched for all of it. `matured_share` is the plain share of the matured that came back.
    `note` is a message key, empty when there is nothing to say.
    """

    rate: float
    lower: float
    upper: float
    window: float
    at_risk_at_window: int
    closings: int
    recurrences: int
    matured: int
    matured_share: float
    clusters: int
    method: RecurrenceMethod
    level: float
    note: str


def recurrence_rate(
    gap: ArrayLike,
    recurred: ArrayLike,
    cluster: ArrayLike,
    *,
    window: float,
    level: float = 0.90,
    follow_up: ArrayLike | None = None,
) -> RecurrenceEstimate:
    """Recurrence rate within a window after a closing, by Kaplan-Meier, bounds by locomotive.

    Parameters
    ----------
    gap : (n_closings,) time from the closing to the next episode of the position, or to the end
        of watching it (renewal by plan, out of use, data cut)
    recurred : (n_closings,) whether the gap ended with an episode
    cluster : (n_closings,) locomotive of each closing, any labels
    window : reading point, in the unit of `gap`, above 0
    level : two-sided confidence level
    follow_up : (n_closings,) optional, how long the closing would have been watched had nothing
        come back; makes `matured` exact

    Returns
    -------
    RecurrenceEstimate

    Conventions
    -----------
    rate = 1 - Kaplan-Meier at the window; gap <= window counts, so does a gap of 0; at equal gaps
    an episode comes before an end of watching. The variance is the infinitesimal jackknife of
    the logarithm of Kaplan-Meier summed by locomotive and times n/(n-1), not below Greenwood's;
    bounds by the complementary log-log, which stay in 0..1, with Student's quantile. Fewer than
    10 locomotives: Greenwood and the normal quantile, `treats closings as independent`. Without
    `follow_up`, matured = came back within the window or was watched for all of it, which makes
    `matured_share` lean high where watching is often cut short.

    Limits
    ------
    No closings: NaN. None back within the window: rate and lower 0, upper 1 - (1-g)^(1/n); every
    closing at risk at the end back: rate and upper 1, lower (1-g)^(1/n); exact one-sided binomial
    bounds with n closings watched for the window (came back or gap >= window), which treat
    closings as independent. Nobody watched for all of the window and some not back: the rate is
    not known, NaN with a note.

    Raises
    ------
    EstimateError
        Arrays of different length, a negative gap, a follow-up shorter than its gap, a window
        not above 0.

    References
    ----------
    Kaplan & Meier (1958), JASA 53, 457-481; Lin & Wei (1989), JASA 84, 1074-1078 (sums by
    cluster); Therneau & Grambsch (2000), Modeling Survival Data, section 7.2 (infinitesimal
    jackknife); Clopper & Pearson (1934), Biometrika 26, 404-413.
    """
    check_level(level)
    gaps, back, labels = _read(gap, recurred, cluster, window)
    within = back & (gaps <= window)
    watched = within | (gaps >= window)
    matured = watched if follow_up is None else _followed(follow_up, gaps) >= window
    found = RecurrenceEstimate(
        rate=np.nan,
        lower=np.nan,
        upper=np.nan,
        window=float(window),
        at_risk_at_window=int(np.sum(gaps >= window)),
        closings=gaps.size,
        recurrences=int(within.sum()),
        matured=int(matured.sum()),
        matured_share=float(within[matured].mean()) if matured.any() else np.nan,
        clusters=int(labels.max(initial=-1)) + 1,
        method="",
        level=level,
        note="" if gaps.size else NO_CLOSINGS,
    )
    return _with_bounds(found, gaps, within, labels, int(watched.sum()))


def _read(
    gap: ArrayLike, recurred: ArrayLike, cluster: ArrayLike, window: float
) -> tuple[FloatArray, BoolArray, IntArray]:
    gaps = check_numbers(gap, "gap")
    marks = check_numbers(recurred, "recurred")
    groups: NDArray[np.generic] = np.asarray(cluster)
    if not gaps.size == marks.size == groups.size:
        raise EstimateError(
            f"gap, recurred and cluster differ in length: {gaps.size}, {marks.size}, {groups.size}."
        )
    if np.any(gaps < 0):
        raise EstimateError(f"A gap must not be negative, got {float(gaps.min())!r}.")
    odd = (marks != 0) & (marks != 1)
    if odd.any():
        raise EstimateError(f"recurred is True or False, got {float(marks[odd][0])!r}.")
    if not (window > 0 and np.isfinite(window)):
        raise EstimateError(f"A window must be above 0, got {window!r}.")
    labels = np.unique(groups, return_inverse=True)[1].astype(np.int64)
    return gaps, marks == 1, labels


def _followed(follow_up: ArrayLike, gaps: FloatArray) -> FloatArray:
    followed = check_numbers(follow_up, "follow_up")
    if followed.shape != gaps.shape:
        raise EstimateError(f"One follow_up per gap is needed, got {followed.size}.")
    short = followed < gaps
    if short.any():
        raise EstimateError(f"A follow_up of {float(followed[short][0])!r} is below its gap.")
    return followed


def _with_bounds(
    found: RecurrenceEstimate,
    gaps: FloatArray,
    within: BoolArray,
    labels: IntArray,
    watched: int,
) -> RecurrenceEstimate:
    level = found.level
    if not gaps.size:
        return found
    distinct, at = np.unique(gaps[within], return_inverse=True)
    events = sums_by(at, np.ones(at.size), distinct.size)
    left = gaps.size - np.searchsorted(np.sort(gaps), distinct, side="left") - events
    all_back = bool(events.size and left[-1] == 0)
    if not found.at_risk_at_window and not all_back:
        return replace(found, note=WINDOW_NOT_REACHED)
    one_sided = (1.0 - level) ** (1.0 / max(watched, 1))
    if not events.size:
        return replace(found, rate=0.0, lower=0.0, upper=1.0 - one_sided, method=INDEPENDENT)
    if all_back:
        return replace(found, rate=1.0, lower=one_sided, upper=1.0, method=INDEPENDENT)
    # The pull of each closing on the cumulative hazard -ln S: its own episode, less what was
    # expected of it while it was at risk. Squared and summed it is Greenwood's formula.
    pull = -np.append(0.0, np.cumsum(events / ((left + events) * left)))
    pull = pull[np.searchsorted(distinct, gaps, side="right")]
    pull[within] += 1.0 / left[at]
    method, reach = _reach(pull, labels, clusters=found.clusters, level=level)
    hazard = float(np.log((left + events) / left).sum())
    factor = float(np.exp(min(reach / hazard, _WIDEST)))
    return replace(
        found,
        rate=-float(np.expm1(-hazard)),
        lower=-float(np.expm1(-hazard / factor)),
        upper=-float(np.expm1(-hazard * factor)),
        method=method,
    )


def _reach(
    pull: FloatArray, labels: IntArray, *, clusters: int, level: float
) -> tuple[RecurrenceMethod, float]:
    """Return the half width of the bounds of the cumulative hazard, and what it supposes."""
    tail = (1.0 + level) / 2.0
    greenwood = float(np.sum(pull**2))
    if clusters < FEWEST_CLUSTERS:
        return INDEPENDENT, float(np.sqrt(greenwood) * special.ndtri(tail))
    between = float(np.sum(sums_by(labels, pull, clusters) ** 2)) * clusters / (clusters - 1)
    quantile = float(special.stdtrit(clusters - 1, tail))
    return CLUSTERED, float(np.sqrt(max(between, greenwood))) * quantile
