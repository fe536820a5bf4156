"""Two mean cumulative functions set against each other, also where both have the same locomotives.

`recurrent.mean_cumulative_difference` adds the two variances and so supposes that no locomotive is
on both sides. Two components, two positions, or two depots between which locomotives moved share
some: their failures go up and down together, and the difference knows more, or less, than that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analytics.estimate.rate import FloatArray, IntArray, check_level, check_numbers, sums_by
from analytics.estimate.recurrent import (
    FEW_WATCHED,
    CumulativeCurve,
    Windows,
    mean_cumulative,
    read_windows,
    window_of_each,
)

ONE_LOCOMOTIVE = "differ.one_locomotive"
_CELLS_AT_ONCE = 2_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Recurrent:
    """Events and windows of the units of one side; arrays as `recurrent.mean_cumulative` has them.

    `cluster` (n_units,) numbers the locomotive of each unit: one number, one locomotive, on both
    sides. `multiplicity` (n_units,) is how many positions a unit stands for.
    """

    event_age: FloatArray
    event_unit: IntArray
    entry: FloatArray
    exit: FloatArray
    window_unit: IntArray
    cluster: IntArray
    multiplicity: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeContrast:
    """First less second mean cumulative function at every age where either rises.

    `at_risk` and `at_risk_against` count the positions or units watched at each age. NaN bounds
    come with a `note`, a message key.
    """

    age: FloatArray
    difference: FloatArray
    lower: FloatArray
    upper: FloatArray
    at_risk: IntArray
    at_risk_against: IntArray
    events: int
    events_against: int
    left_out: int
    level: float
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    windows: Windows
    curve: CumulativeCurve
    age: FloatArray
    at: IntArray
    owner: IntArray  # cluster of each event, numbered over both sides

    @property
    def widening(self) -> float:
        """The correction for few clusters."""
        return float(np.sqrt(self.curve.clusters / max(self.curve.clusters - 1, 1)))


def mean_cumulative_contrast(
    first: Recurrent, second: Recurrent, *, level: float = 0.90
) -> CumulativeContrast:
    """Difference of two mean cumulative functions with pointwise bounds by locomotive.

    Parameters
    ----------
    first, second : what happened to the units of the two sides
    level : two-sided confidence level

    Returns
    -------
    CumulativeContrast
        At each age where either rises, from the greater first to the lesser last age watched.

    Conventions
    -----------
    Curves as in `recurrent.mean_cumulative`, counted from where both are watched. What a locomotive
    adds to the error of one curve is taken from what it adds to the other's before it is squared.
    Each side is corrected by n / (n - 1) for its n locomotives. Without a common locomotive the
    variances add up. Student's quantile with Welch's degrees of freedom, never more than the
    locomotives less 1. Steps at which few are watched add their Poisson variance.

    Limits
    ------
    A side with one locomotive: bounds NaN, note `differ.one_locomotive`. Never watched at the same
    age: no rows. Pointwise: over many ages some bounds miss 0 by chance.

    Raises
    ------
    EstimateError
        As `recurrent.mean_cumulative`.

    References
    ----------
    Nelson (2003), Recurrent Events Data Analysis, chapter 5; Lawless & Nadeau (1995), Technometrics
    37, 158-168; Cook & Lawless (2007), The Statistical Analysis of Recurrent Events, section 3.6.
    """
    check_level(level)
    begin = max(np.min(side.entry, initial=np.inf) for side in (first, second))
    end = min(np.max(side.exit, initial=-np.inf) for side in (first, second))
    sides = [_read(side, begin, end, level) for side in (first, second)]
    age = np.unique(np.concatenate([[begin], *(side.age for side in sides)]))
    age = age[np.isfinite(age)] if begin <= end else np.zeros(0)
    clusters = 1 + int(max(np.max(side.cluster, initial=-1) for side in (first, second)))
    spread, own = _variances(sides, age, clusters=clusters)
    common = np.unique(np.concatenate([side.windows.cluster for side in sides])).size
    free = _freedom(own, [side.curve.clusters for side in sides], most=common - 1)
    known = min(side.curve.clusters for side in sides) > 1
    counting = sum(_held(side, _counting(side), age) for side in sides)
    reach = np.sqrt(spread + counting) * special.stdtrit(free, (1.0 + level) / 2.0)
    reach = reach if known else np.full(age.size, np.nan)
    mcf = [_held(side, _rises(side), age) for side in sides]
    difference = mcf[0] - mcf[1]
    # what rounding leaves of equal curves is no difference
    difference = np.where(np.isclose(mcf[0], mcf[1], rtol=1e-12, atol=0), 0.0, difference)
    return CumulativeContrast(
        age=age,
        difference=difference,
        lower=difference - reach,
        upper=difference + reach,
        at_risk=_at_risk(sides[0].windows, age),
        at_risk_against=_at_risk(sides[1].windows, age),
        events=int(sides[0].at.size),
        events_against=int(sides[1].at.size),
        left_out=sum(side.curve.left_out for side in sides),
        level=level,
        note="" if known else ONE_LOCOMOTIVE,
    )


def _read(given: Recurrent, begin: float, end: float, level: float) -> _Side:
    """Read one side, cut to the ages at which both are watched."""
    kept = (given.exit >= begin) & (given.entry <= end)
    entry, exit = np.maximum(given.entry[kept], begin), np.minimum(given.exit[kept], end)
    ages = check_numbers(given.event_age, "event_age")
    inside = (ages >= begin) & (ages <= end)
    arrays = (entry, exit, given.window_unit[kept])
    owner = given.event_unit[inside]
    windows = read_windows(
        arrays, owner, {"cluster": given.cluster, "multiplicity": given.multiplicity}
    )
    curve = mean_cumulative(
        ages[inside],
        owner,
        *arrays,
        level=level,
        cluster=given.cluster,
        multiplicity=given.multiplicity,
    )
    # `read_windows` numbers clusters anew; both sides must use one numbering.
    windows = Windows(
        windows.entry,
        windows.exit,
        windows.unit,
        windows.earliest,
        windows.weight,
        given.cluster[windows.unit],
        windows.owner,
    )
    seen = window_of_each(windows, ages[inside]) >= 0
    age, at = np.unique(ages[inside][seen], return_inverse=True)
    return _Side(windows, curve, age, at.astype(np.int64), given.cluster[owner[seen]])


def _at_risk(windows: Windows, age: FloatArray) -> IntArray:
    start, past = windows.at_risk_over(age)
    size = age.size + 1
    joined = sums_by(start, windows.weight, size) - sums_by(past, windows.weight, size)
    return np.asarray(np.cumsum(joined)[: age.size], dtype=np.int64)


def _rises(side: _Side) -> FloatArray:
    """Return the curve after each of its ages of an event."""
    return np.asarray(side.curve.mcf[side.curve.mcf.size - side.age.size :], dtype=np.float64)


def _counting(side: _Side) -> FloatArray:
    """Return the Poisson variance gathered where few are watched, at the ages of an event."""
    curve, last = side.curve, side.curve.age.size - side.age.size
    watched, at_risk, events = (
        getattr(curve, name)[last:] for name in ("watched", "at_risk", "events")
    )
    few = watched < min(FEW_WATCHED, curve.clusters)
    return np.asarray(np.cumsum(np.where(few, events / at_risk**2, 0.0)), dtype=np.float64)


def _held(side: _Side, values: FloatArray, age: FloatArray) -> FloatArray:
    """Read a step function that changes at the side's ages of an event, 0 before."""
    steps = np.append(0.0, values)
    return np.asarray(steps[np.searchsorted(side.age, age, side="right")], dtype=np.float64)


def _variances(
    sides: list[_Side], age: FloatArray, *, clusters: int
) -> tuple[FloatArray, list[FloatArray]]:
    """Return the variance of the difference at each age, and of each side alone."""
    both, own = np.zeros(age.size), [np.zeros(age.size), np.zeros(age.size)]
    widest = max([1, age.size, *(side.age.size for side in sides)])
    block = max(1, _CELLS_AT_ONCE // widest)
    for first in range(0, clusters, block):
        errors = [
            side.widening * _errors(side, age, first, min(block, clusters - first))
            for side in sides
        ]
        both += ((errors[0] - errors[1]) ** 2).sum(axis=0)
        own = [total + (error**2).sum(axis=0) for total, error in zip(own, errors, strict=True)]
    return both, own


def _errors(side: _Side, age: FloatArray, first: int, size: int) -> FloatArray:
    """Return what clusters first .. first + size - 1 add to the error of a curve, (size, k)."""
    windows, steps = side.windows, side.age.size
    at_risk = np.maximum(_at_risk(windows, side.age).astype(np.float64), 1.0)
    hazard = sums_by(side.at, np.ones(side.at.size), steps) / at_risk
    mine = (windows.cluster >= first) & (windows.cluster < first + size)
    start, past = windows.at_risk_over(side.age)
    watched = np.zeros((size, steps + 1))
    rows = windows.cluster[mine] - first
    np.add.at(watched, (rows, start[mine]), windows.weight[mine])
    np.add.at(watched, (rows, past[mine]), -windows.weight[mine])
    excess = -np.cumsum(watched, axis=1)[:, :steps] * hazard
    own = (side.owner >= first) & (side.owner < first + size)
    np.add.at(excess, (side.owner[own] - first, side.at[own]), 1.0)
    gathered = np.column_stack([np.zeros(size), np.cumsum(excess / at_risk, axis=1)])
    column = np.searchsorted(side.age, age, side="right")
    return np.asarray(gathered[:, column], dtype=np.float64)


def _freedom(own: list[FloatArray], clusters: list[int], *, most: int) -> FloatArray:
    """Return Welch's degrees of freedom at each age, at most `most`."""
    free = [max(count - 1, 1) for count in clusters]
    spread = own[0] + own[1]
    weight = own[0] ** 2 / free[0] + own[1] ** 2 / free[1]
    found = np.divide(spread**2, weight, out=np.full(spread.size, np.inf), where=weight > 0)
    return np.asarray(np.minimum(found, max(most, 1)), dtype=np.float64)
