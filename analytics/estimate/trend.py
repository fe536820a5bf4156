"""Trend of repaired systems: whether the rate of failures rises or falls with the clock.

`times` are ages of failures on the clock, `unit` the window each fell into, `start` and `end` the
windows of observation (S_i, T_i]. Windows with the same `system` belong to one locomotive, with
gaps of observation between them; without `system` each window is a system of its own. Every
method conditions on each system's own count of failures, so that a good and a bad locomotive are
not taken for a trend. The power-law process is in `power_law` and can be imported from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.power_law import (
    FEWEST_FAILURES,
    NO_MAXIMUM,
    TOO_FEW_FAILURES,
    PowerLawData,
    PowerLawFit,
    fit_power_law,
    fit_power_law_data,
)
from analytics.estimate.rate import FloatArray, check_level, check_numbers, sums_by
from analytics.estimate.systems import Systems, read_systems

__all__ = [
    "NO_MAXIMUM",
    "TOO_FEW_FAILURES",
    "EqualShapes",
    "PowerLawData",
    "PowerLawFit",
    "TrendTest",
    "clustered_trend_p",
    "equal_shapes_test",
    "fit_power_law",
    "fit_power_law_data",
    "laplace_test",
    "mil_hdbk_189_test",
    "power_law_scale_bounds",
]

FEWEST_SYSTEMS = 10
RESAMPLES = 2_000


@dataclass(frozen=True, slots=True)
class TrendTest:
    """A test of constant rate; `p` is two-sided, `df` NaN where the statistic is normal.

    `failures` were used. `left_out` counts failures of systems that were not observed for any
    time and, where the statistic takes logarithms, those at the very start of observation.
    `note` is a message key, empty when there is nothing to say.
    """

    statistic: float
    p: float
    df: float
    failures: int
    left_out: int
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class EqualShapes:
    """Test that systems share one shape: F for two systems, Bartlett's D for more."""

    statistic: float
    p: float
    df: tuple[int, ...]
    shapes: FloatArray
    method: Literal["F", "Bartlett"]


def laplace_test(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    *,
    failure_truncated: bool = False,
    system: ArrayLike | None = None,
) -> TrendTest:
    """Laplace test of constant rate, pooled over systems; positive means failures come faster.

    Parameters
    ----------
    times : (n_events,) clock at each failure
    unit : (n_events,) index of the window each failure fell into
    start, end : (n_windows,) windows of observation on the same clock
    failure_truncated : each system's observation ended at its last failure, which then only
        marks the end
    system : (n_windows,) system each window belongs to; default each its own

    Returns
    -------
    TrendTest
        `statistic` is u, standard normal when the rate is constant; `p` two-sided.

    Conventions
    -----------
    Time counts from the start of each system's observation, gaps closed up: splitting a window
    changes nothing. Given its count, each system's failures are uniform over its observed time.

    Limits
    ------
    Fewer than 3 failures: NaN with note `trend.too_few_failures`.

    Raises
    ------
    EstimateError
        An end before its start, a failure outside its window, windows of one system that overlap.

    References
    ----------
    Cox & Lewis (1966), The Statistical Analysis of Series of Events, section 3.3; NIST/SEMATECH
    e-Handbook, 8.2.3.4.
    """
    systems = read_systems(times, unit, (start, end, system), failure_truncated=failure_truncated)
    lean, variance, used = _laplace_parts(systems)
    left_out = int(np.asarray(times).size - systems.times.size)
    if used < FEWEST_FAILURES or not variance > 0:
        return TrendTest(np.nan, np.nan, np.nan, used, left_out, TOO_FEW_FAILURES)
    statistic = float(lean.sum() / np.sqrt(variance))
    p = float(min(1.0, 2.0 * special.ndtr(-abs(statistic))))
    return TrendTest(statistic, p, np.nan, used, left_out, "")


def mil_hdbk_189_test(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    *,
    failure_truncated: bool = False,
    system: ArrayLike | None = None,
) -> TrendTest:
    """Chi-square test of constant rate against a power law, pooled over systems.

    A small statistic means that failures come faster (deteriorating), a large one slower.
    Parameters, conventions and errors as `laplace_test`.

    Returns
    -------
    TrendTest
        `statistic` is 2 * sum of ln(observed time of the system / observed time at the failure),
        chi-square with `df` = 2 * failures; `p` is twice the smaller tail.

    Limits
    ------
    Fewer than 3 failures: NaN with a note. A failure at the very start of a system's observation
    is left out and counted in `left_out`.

    References
    ----------
    MIL-HDBK-189C (2011), trend test for repairable systems; NIST/SEMATECH e-Handbook, 8.2.3.4.
    """
    systems = read_systems(times, unit, (start, end, system), failure_truncated=failure_truncated)
    elapsed, total = systems.elapsed()
    usable = (elapsed > 0) & ~systems.ends_observation
    used = int(usable.sum())
    left_out = int(np.asarray(times).size - systems.times.size + np.sum(elapsed <= 0))
    if used < FEWEST_FAILURES:
        return TrendTest(np.nan, np.nan, np.nan, used, left_out, TOO_FEW_FAILURES)
    ratio = total[systems.owner] / np.where(elapsed > 0, elapsed, 1.0)
    statistic = float(2.0 * np.log(ratio[usable]).sum())
    tails = special.chdtr(2 * used, statistic), special.chdtrc(2 * used, statistic)
    return TrendTest(
        statistic, float(min(1.0, 2.0 * min(tails))), 2.0 * used, used, left_out, note=""
    )


def clustered_trend_p(
    times: ArrayLike,
    unit: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
    *,
    system: ArrayLike | None = None,
    seed: int = 0,
) -> float:
    """Two-sided p of Laplace's statistic by bootstrap over systems, to set beside its own p.

    Failures of one locomotive often come in bunches; the plain p then sees trends that are not
    there. Parameters as `laplace_test`; returns NaN below 10 systems with failures.

    Conventions
    -----------
    Each system's sum of (observed time at failure - half its observed time) is drawn again 2,000
    times, centred and divided by its own root sum of squares.

    References
    ----------
    Davison & Hinkley (1997), Bootstrap Methods and their Application, chapters 2 and 4.
    """
    systems = read_systems(times, unit, (start, end, system), failure_truncated=False)
    lean, _, used = _laplace_parts(systems)
    lean = lean[np.unique(systems.owner)]
    if lean.size < FEWEST_SYSTEMS or used < FEWEST_FAILURES or not np.ptp(lean) > 0:
        return np.nan
    observed = abs(lean.sum()) / np.sqrt(np.sum(lean**2))
    draw = np.random.default_rng(seed).integers(0, lean.size, size=(RESAMPLES, lean.size))
    drawn = (lean - lean.mean())[draw]
    size = np.sqrt(np.sum(drawn**2, axis=1))
    resampled = np.abs(drawn.sum(axis=1)) / np.where(size > 0, size, np.inf)
    return float((1 + np.sum(resampled >= observed)) / (1 + RESAMPLES))


def power_law_scale_bounds(
    failures: int, end: ArrayLike, shape: float, *, level: float = 0.90
) -> tuple[float, float]:
    """Exact bounds of the common scale of time-truncated systems when the shape is known.

    Parameters
    ----------
    failures : count over all systems
    end : (n_systems,) age at which each system's observation, begun at age 0, ended
    shape : the known shape; the lower bound at an upper bound of the shape and the upper one at
        a lower bound of it bound the scale whatever the shape, at the sum of the error chances
    level : two-sided confidence level

    Returns
    -------
    lower, upper : floats, unit clock ** -shape; lower 0 where there is no failure

    Raises
    ------
    EstimateError
        A broken or negative count, a shape or ends that are not above 0.

    References
    ----------
    Crow (1975), AMSAA Technical Report 138, section 3.4.
    """
    ends = check_numbers(end, "end")
    if failures < 0 or failures != int(failures):
        raise EstimateError(f"Failures must be whole and not negative, got {failures!r}.")
    if not shape > 0 or ends.size == 0 or np.any(ends <= 0):
        raise EstimateError(f"Shape and ends must be above 0, got {shape!r}, {ends.tolist()!r}.")
    tail = (1.0 - check_level(level)) / 2.0
    area = np.sum(ends**shape)
    lower = special.gammaincinv(failures, tail) / area if failures else 0.0
    return float(lower), float(special.gammaincinv(failures + 1, 1.0 - tail) / area)


def equal_shapes_test(
    times: ArrayLike, unit: ArrayLike, end: ArrayLike, *, failure_truncated: bool = False
) -> EqualShapes:
    """Test whether power-law systems observed from age 0 share one shape.

    Parameters
    ----------
    times : (n_events,) age of the system at each failure
    unit : (n_events,) index of the system
    end : (n_systems,) age at which observation of each ended
    failure_truncated : each system's observation ended at its last failure

    Returns
    -------
    EqualShapes
        Two systems: `statistic` is the shape of the second over that of the first, F distributed
        with `df` twice their failures, `p` twice the smaller tail. More: Bartlett's D, about
        chi-square with one degree of freedom fewer than systems, `p` its upper tail. `shapes`
        are the conditional maximum-likelihood values.

    Limits
    ------
    NaN where a system has no usable failure. Bartlett's D needs about 4 failures a system.

    Raises
    ------
    EstimateError
        Fewer than 2 systems; otherwise as `laplace_test`.

    References
    ----------
    Crow (1975), AMSAA Technical Report 138, section 3.6.
    """
    ends = check_numbers(end, "end")
    if ends.size < 2:
        raise EstimateError(f"Two systems at least are needed, got {ends.size!r}.")
    systems = read_systems(
        times, unit, (np.zeros(ends.size), ends, None), failure_truncated=failure_truncated
    )
    usable = (systems.times > 0) & ~systems.ends_observation
    place = systems.order[systems.window[usable]]
    sums = sums_by(place, np.log(ends[place] / systems.times[usable]), ends.size)
    return _compare_shapes(sums_by(place, np.ones(place.size), ends.size), sums)


def _laplace_parts(systems: Systems) -> tuple[FloatArray, float, int]:
    """Return each system's sum of (elapsed - middle), its variance in all, and failures used."""
    elapsed, total = systems.elapsed()
    used = ~systems.ends_observation
    owner = systems.owner[used]
    away = elapsed[used] - total[owner] / 2.0
    lean = sums_by(owner, away, systems.count)
    return lean, float(np.sum(total[owner] ** 2) / 12.0), int(used.sum())


def _compare_shapes(number: FloatArray, sums: FloatArray) -> EqualShapes:
    fitted = (number > 0) & (sums > 0)
    shapes = np.divide(number, sums, out=np.full(number.size, np.nan), where=fitted)
    systems, total = number.size, number.sum()
    statistic = p = np.nan
    if systems == 2:
        df: tuple[int, ...] = (2 * int(number[0]), 2 * int(number[1]))
        if fitted.all():
            statistic = shapes[1] / shapes[0]
            p = min(
                1.0,
                2.0
                * min(
                    special.fdtr(df[0], df[1], statistic), special.fdtrc(df[0], df[1], statistic)
                ),
            )
        return EqualShapes(float(statistic), float(p), df, shapes, "F")
    if fitted.all():
        together = total / np.sum(number / shapes)
        spread = 2.0 * (number @ np.log(shapes) - total * np.log(together))
        statistic = spread / (1.0 + (np.sum(1 / number) - 1 / total) / (6.0 * (systems - 1)))
        p = special.chdtrc(systems - 1, statistic)
    return EqualShapes(float(statistic), float(p), (systems - 1,), shapes, "Bartlett")
