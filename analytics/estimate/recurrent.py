"""Recurrent events: how many failures a unit has had, on average, by a given age.

The mean cumulative function needs no law of life and no independence between the failures of a
unit. It is the figure to use where repairs follow each other on the same position.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict, Unpack

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.rate import (
    BoolArray,
    FloatArray,
    IntArray,
    check_indices,
    check_level,
    check_numbers,
    sums_by,
)

ONE_CLUSTER = "recurrent.one_cluster"
NO_EVENTS = "recurrent.no_events"
_WIDEST = 50.0  # in logarithms; beyond it an upper bound says nothing and is left NaN
FEW_WATCHED = 5  # units; below it the residuals between units say too little of the error


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeCurve:
    """Mean cumulative number of events by age, a step function that rises at each `age`.

    Arrays share one length: age 0, then each distinct age of an event. `variance` is that of
    `mcf`, `at_risk` the units (or positions) observed at that age, `watched` the units alone,
    `events` those counted there. `observed_from` and `observed_until` are the least and the last
    age anybody was observed. NaN bounds come with a `note`, a message key.
    """

    age: FloatArray
    mcf: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: IntArray
    watched: IntArray
    events: IntArray
    variance: FloatArray
    units: int
    clusters: int
    left_out: int
    observed_from: float
    observed_until: float
    level: float
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeDifference:
    """First minus second mean cumulative function at every age where either rises.

    Ends where observation of either group ends; `se` is the standard error of `difference`.
    """

    age: FloatArray
    difference: FloatArray
    lower: FloatArray
    upper: FloatArray
    se: FloatArray
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Windows of observation in the order of unit and entry."""

    entry: FloatArray
    exit: FloatArray
    unit: IntArray
    earliest: BoolArray  # of its unit: holds its own entry too
    weight: FloatArray  # positions at risk that the window stands for
    cluster: IntArray
    owner: IntArray  # unit of each event

    def at_risk_over(self, ages: FloatArray) -> tuple[IntArray, IntArray]:
        """Return of each window the half-open range of indices into `ages` at risk in it."""
        after = np.searchsorted(ages, self.entry, side="right")
        start = np.where(self.earliest, np.searchsorted(ages, self.entry, side="left"), after)
        return start, np.searchsorted(ages, self.exit, side="right")


class UnitTraits(TypedDict, total=False):
    """What may be said of the units of `mean_cumulative`; arrays of shape (n_units,)."""

    cluster: ArrayLike | None
    multiplicity: ArrayLike | None


def mean_cumulative(
    event_age: ArrayLike,
    event_unit: ArrayLike,
    entry: ArrayLike,
    exit: ArrayLike,
    window_unit: ArrayLike,
    *,
    level: float = 0.90,
    **units: Unpack[UnitTraits],
) -> CumulativeCurve:
    """Mean cumulative number of events per unit by age, with bounds robust to bunched events.

    Parameters
    ----------
    event_age : (n_events,) age of the unit at each event, on the clock
    event_unit : (n_events,) index of the unit, 0..n_units-1
    entry, exit : (n_windows,) ages between which the unit was observed; several windows of one
        unit leave gaps between them, an entry above 0 is a late start of the records
    window_unit : (n_windows,) index of the unit each window belongs to
    level : two-sided confidence level of the pointwise bounds
    cluster : (n_units,) optional, what units share, such as the locomotive of a position; the
        variance is taken between clusters; default each unit its own
    multiplicity : (n_units,) optional, how many positions a unit stands for, default 1; the
        curve is then per position

    Returns
    -------
    CumulativeCurve

    Conventions
    -----------
    Nelson's estimate: the sum over ages of events / number at risk. At risk at age a: entry < a
    <= exit; the earliest window of a unit also holds its own entry, so that an event at age 0
    counts. Splitting a window changes nothing. Variance of Lawless & Nadeau, summed by cluster
    and times n/(n-1) for n clusters; bounds on the logarithm with Student's quantile, n - 1
    degrees of freedom, so that they stay above 0. An event at age 0 makes the first row rise.
    Steps at which fewer than 5 units are watched (and fewer than there are) widen the bounds by
    their Poisson variance: there the residuals between units say too little.

    Limits
    ------
    No events: one row at age 0. One cluster: bounds NaN. Events while their unit was not
    observed are left out and counted. At ages nobody was observed the curve stays level, and
    with late entries it counts from the least age observed.

    Raises
    ------
    EstimateError
        A negative age, an exit before its entry, windows of a unit that overlap, a multiplicity
        that is not a whole number above 0.

    References
    ----------
    Nelson (2003), Recurrent Events Data Analysis; Lawless & Nadeau (1995), Technometrics 37,
    158-168.
    """
    check_level(level)
    windows = read_windows((entry, exit, window_unit), event_unit, units)
    ages, owner = check_numbers(event_age, "event_age"), windows.owner
    if ages.shape != owner.shape:
        raise EstimateError(f"One unit per event is needed, got {owner.size} for {ages.size}.")
    window = window_of_each(windows, ages)
    seen = window >= 0
    age, at = np.unique(ages[seen], return_inverse=True)
    steps = _accumulate(windows, age, at.astype(np.int64), windows.cluster[window[seen]])
    if age.size == 0 or age[0] > 0:
        start, past = windows.at_risk_over(np.zeros(1))
        here = past - start
        origin = [0.0, 0.0, windows.weight @ here, 0.0, 0.0, here.sum()]
        steps = np.column_stack([origin, steps])
        age = np.append(0.0, age)
    clusters = np.unique(windows.cluster).size
    lower, upper = _log_bounds(steps[0], steps[1] + steps[4], clusters=clusters, level=level)
    note = "" if clusters > 1 else ONE_CLUSTER
    return CumulativeCurve(
        age=age,
        mcf=steps[0],
        lower=lower,
        upper=upper,
        at_risk=steps[2].astype(np.int64),
        watched=steps[5].astype(np.int64),
        events=steps[3].astype(np.int64),
        variance=steps[1],
        units=int(np.unique(windows.unit).size),
        clusters=clusters,
        left_out=int(np.sum(~seen)),
        observed_from=float(windows.entry.min()) if windows.entry.size else np.nan,
        observed_until=float(windows.exit.max()) if windows.exit.size else np.nan,
        level=level,
        note=note if seen.any() else NO_EVENTS,
    )


def mean_cumulative_difference(
    first: CumulativeCurve, second: CumulativeCurve, *, level: float = 0.90
) -> CumulativeDifference:
    """Difference of two mean cumulative functions, first minus second, with pointwise bounds.

    Parameters
    ----------
    first, second : curves of two groups that share no cluster (no locomotive in both)
    level : two-sided confidence level

    Returns
    -------
    CumulativeDifference
        At each age where either curve rises, until observation of one of them ends.

    Conventions
    -----------
    Variances add up; Student's quantile with the Welch-Satterthwaite degrees of freedom of the
    two numbers of clusters. Where the bounds hold 0 the groups are not told apart at that age.

    Limits
    ------
    A group of one cluster: bounds NaN. Pointwise: over many ages some bounds miss 0 by chance.

    References
    ----------
    Nelson (2003), Recurrent Events Data Analysis, chapter 5.
    """
    check_level(level)
    until = np.fmin(first.observed_until, second.observed_until)
    age = np.union1d(first.age, second.age)
    age = age[age <= until] if np.isfinite(until) else age[:1]
    mcf, variance = [], []
    for curve in (first, second):
        at = np.searchsorted(curve.age, age, side="right") - 1
        mcf.append(curve.mcf[at])
        variance.append(curve.variance[at])
    spread = variance[0] + variance[1]
    se = np.sqrt(spread)
    free = [max(curve.clusters - 1, 1) for curve in (first, second)]
    weight = variance[0] ** 2 / free[0] + variance[1] ** 2 / free[1]
    df = np.divide(spread**2, weight, out=np.full(age.size, np.inf), where=weight > 0)
    known = first.clusters > 1 and second.clusters > 1
    reach = se * special.stdtrit(df, (1.0 + level) / 2.0) if known else np.full(age.size, np.nan)
    difference = mcf[0] - mcf[1]
    return CumulativeDifference(
        age=age,
        difference=difference,
        lower=difference - reach,
        upper=difference + reach,
        se=se,
        level=level,
    )


def read_windows(
    arrays: tuple[ArrayLike, ArrayLike, ArrayLike], event_unit: ArrayLike, traits: UnitTraits
) -> Windows:
    """Return the windows of `mean_cumulative` checked and in order."""
    entry, exit = check_numbers(arrays[0], "entry"), check_numbers(arrays[1], "exit")
    cluster, weight = traits.get("cluster"), traits.get("multiplicity")
    count = max(np.max(np.asarray(given), initial=-1) for given in (arrays[2], event_unit)) + 1
    for given in (cluster, weight):
        count = count if given is None else np.asarray(given).size
    unit = check_indices(arrays[2], int(count), "window_unit")
    if not entry.size == exit.size == unit.size:
        raise EstimateError(f"Windows differ: {entry.size} entries, {exit.size}, {unit.size}.")
    if np.any((entry < 0) | (exit < entry)):
        at = int(np.argmax((entry < 0) | (exit < entry)))
        raise EstimateError(f"No window from {float(entry[at])!r} to {float(exit[at])!r}.")
    order = np.lexsort((exit, entry, unit))
    entry, exit, unit = entry[order], exit[order], unit[order]
    again = unit[1:] == unit[:-1]
    if np.any(again & (entry[1:] < exit[:-1])):
        raise EstimateError(f"Windows of unit {int(unit[1:][entry[1:] < exit[:-1]][0])!r} overlap.")
    return Windows(
        entry=entry,
        exit=exit,
        unit=unit,
        earliest=np.append(True, ~again)[: unit.size],
        weight=_multiplicity(weight, int(count))[unit],
        cluster=_labels(cluster, int(count))[unit],
        owner=check_indices(event_unit, int(count), "event_unit"),
    )


def _multiplicity(given: ArrayLike | None, count: int) -> FloatArray:
    weight = np.ones(count) if given is None else check_numbers(given, "multiplicity")
    if weight.size != count or np.any((weight < 1) | (weight != np.floor(weight))):
        raise EstimateError(f"A multiplicity is a whole number above 0, got {weight.tolist()!r}.")
    return weight


def _labels(given: ArrayLike | None, count: int) -> IntArray:
    if given is None:
        return np.arange(count, dtype=np.int64)
    labels = np.unique(np.asarray(given), return_inverse=True)[1].astype(np.int64)
    if labels.size != count:
        raise EstimateError(f"One cluster per unit is needed, got {labels.size} for {count}.")
    return labels


def window_of_each(windows: Windows, ages: FloatArray) -> IntArray:
    """Return the window in which each event's unit was at risk at its age, -1 where in none."""
    distinct, at = np.unique(ages, return_inverse=True)
    start, past = windows.at_risk_over(distinct)
    width = distinct.size + 1
    # Windows come by unit and entry: the last one that began at or before the event is the one.
    began = windows.unit * width + start
    window = np.searchsorted(began, windows.owner * width + at, side="right") - 1
    found = np.maximum(window, 0)
    if not began.size:
        return np.full(ages.size, -1)
    inside = (window >= 0) & (windows.unit[found] == windows.owner) & (at < past[found])
    return np.where(inside, found, -1)


def _accumulate(windows: Windows, age: FloatArray, at: IntArray, cluster: IntArray) -> FloatArray:
    """Return rows of mcf, variance, number at risk, events, counting error of thin steps, watched.

    `at` and `cluster` are, for each event, the index of its age and the cluster it belongs to.
    """
    size = age.size
    start, past = windows.at_risk_over(age)
    joined = sums_by(start, windows.weight, size + 1) - sums_by(past, windows.weight, size + 1)
    at_risk = np.cumsum(joined)[:size]
    events = sums_by(at, np.ones(at.size), size)
    # `drift` is what a position observed from the first age on was expected to add, per 1/at_risk.
    drift = np.append(0.0, np.cumsum(events / at_risk**2))
    squares = _squared_residuals(
        cluster=np.concatenate([cluster, windows.cluster, windows.cluster]),
        at=np.concatenate([at, start, past]),
        gain=np.concatenate(
            [1.0 / at_risk[at], windows.weight * drift[start], -windows.weight * drift[past]]
        ),
        positions=np.concatenate([np.zeros(at.size), -windows.weight, windows.weight]),
        drift=drift,
    )
    clusters = np.unique(windows.cluster).size
    variance = squares * clusters / max(clusters - 1, 1)
    # Where one unit alone is watched it equals the mean by itself and the residuals say nothing; so
    # that few watched do not look certain, the counting error of those steps widens the bounds.
    ends = np.bincount(past, minlength=size + 1)
    watched = np.cumsum(np.bincount(start, minlength=size + 1) - ends)[:size]
    few = watched < min(FEW_WATCHED, clusters)
    counting = np.cumsum(np.where(few, events / at_risk**2, 0.0))
    return np.stack([np.cumsum(events / at_risk), variance, at_risk, events, counting, watched])


def _squared_residuals(
    *,
    cluster: IntArray,
    at: IntArray,
    gain: FloatArray,
    positions: FloatArray,
    drift: FloatArray,
) -> FloatArray:
    """Return at each index the sum over clusters of (events - expected)^2, over number at risk.

    A cluster's residual at index j is G + P drift[j+1], where G and P change, by `gain` and
    `positions`, only at the cluster's own events and windows. The sum of squares is then made of
    three running sums, whatever the number of clusters and ages.
    """
    size = drift.size - 1
    order = np.lexsort((at, cluster))
    cluster, at = cluster[order], at[order]
    begin = np.flatnonzero(np.append(True, cluster[1:] != cluster[:-1])[: cluster.size])
    length = np.diff(np.append(begin, cluster.size))
    now = np.cumsum(np.stack([gain[order], positions[order]]), axis=1)
    earlier = np.column_stack([np.zeros(2), now])[:, :-1]
    own = np.repeat(earlier[:, begin], length, axis=1)
    now, earlier = now - own, earlier - own

    def running(i: int, j: int) -> FloatArray:
        change = now[i] * now[j] - earlier[i] * earlier[j]
        return np.cumsum(sums_by(at, change, size + 1)[:size])

    here = drift[1:]
    return np.maximum(running(0, 0) + 2 * here * running(0, 1) + here**2 * running(1, 1), 0.0)


def _log_bounds(
    mcf: FloatArray, variance: FloatArray, *, clusters: int, level: float
) -> tuple[FloatArray, FloatArray]:
    if clusters < 2:
        blank = np.where(mcf > 0, np.nan, 0.0)
        return blank, blank.copy()
    reach = special.stdtrit(clusters - 1, (1.0 + level) / 2.0) * np.sqrt(variance)
    ratio = np.divide(reach, mcf, out=np.zeros(mcf.size), where=mcf > 0)
    factor = np.exp(np.minimum(ratio, _WIDEST))
    return mcf / factor, np.where(ratio < _WIDEST, mcf * factor, np.nan)
