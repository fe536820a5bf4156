"""When to renew by plan: what a policy costs, at which age it costs least, what an age is worth.

A position fails by an intensity that depends on its age. A failure is closed by a renewal with a
fixed chance (age starts at 0), else the age goes on; a policy renews by plan at age T.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import BoolArray, FloatArray, IntArray

FLAT = 0.05
"""Ages whose cost rate is within this share of the least belong to the flat region."""


@dataclass(frozen=True, slots=True, eq=False)
class ReplacementPolicy:
    """Cost of renewing n positions by plan at each of m ages; money per unit of the clock.

    Attributes
    ----------
    age : (n, m) the grid, from 0
    rate : (n, m) cost rate in the long run of renewing at that age; NaN at age 0
    best_age : (n,) age of the least cost rate; inf where none on the grid is below its end's
    best_rate : (n,) the least cost rate
    failure_rate : (n,) cost rate of running to failure; NaN where no failure is closed by a renewal
    flat_from, flat_to : (n,) ages within 5 % of the least cost rate; flat_to inf: or later
    relative : (n, m) what a position of that age costs more than a new one, from now on for ever
    reach, failures, time : (n, m) chance to reach an age without a renewal, failures expected until
        then, time expected until then, of a new position and none of it after its first renewal
    """

    age: FloatArray
    rate: FloatArray
    best_age: FloatArray
    best_rate: FloatArray
    failure_rate: FloatArray
    flat_from: FloatArray
    flat_to: FloatArray
    relative: FloatArray
    reach: FloatArray
    failures: FloatArray
    time: FloatArray


def replacement_policy(
    age: ArrayLike,
    cumulative: ArrayLike,
    *,
    renewed: ArrayLike,
    cost_failure: ArrayLike,
    cost_planned: ArrayLike,
) -> ReplacementPolicy:
    """Weigh renewal by plan at each age against what failures cost.

    Parameters
    ----------
    age : (m,) or (n, m) ages in the clock's unit, from 0, rising
    cumulative : (n, m) failures expected of one position by each age, H, 0 at age 0, never falling
    renewed : (n,) or one: chance that a failure is closed by a renewal, from 0 to 1
    cost_failure, cost_planned : (n,) or one: cost of a failure and of a renewal by plan, above 0

    Returns
    -------
    ReplacementPolicy

    Conventions
    -----------
    R = exp(-pi H) is the chance to reach an age without a renewal, N = (1 - R) / pi the failures
    until then (H where pi is 0); cost rate g(T) = [c N(T) + cp R(T)] / integral of R from 0 to T.
    With pi = 1 this is age replacement, with pi = 0 renewal with minimal repair in between.
    Relative cost v(a) = {c [N(T*) - N(a)] + cp R(T*) - g integral of R from a to T*} / R(a) before
    the best age T*, cp from there on; v(0) = 0. Where no age of the grid is best, its end is taken
    as T* for v, so that it should reach where few positions get.

    Limits
    ------
    Integrals by the trapezoid rule: with 200 even steps over 3 mean lives the cost rate is right to
    about 1e-4 relative, the best age to a step of the grid (it is read off a parabola through three
    points). The rate of running to failure takes the time to a renewal up to the grid's end alone,
    so that it comes out too high where many positions get beyond it.

    Raises
    ------
    EstimateError
        Shapes that do not fit, a grid that does not start at 0 or rise, H that falls, a chance
        outside 0 to 1, a cost that is not above 0.

    References
    ----------
    Barlow & Proschan (1965), Mathematical Theory of Reliability, chapter 4 (age replacement);
    Barlow & Hunter (1960), Operations Research 8, 90-100 (minimal repair); Brown & Proschan (1983),
    J. Appl. Prob. 20, 851-859 (imperfect repair); Howard (1960), Dynamic Programming and Markov
    Processes, chapter 4 (relative values).
    """
    hazard = np.atleast_2d(np.asarray(cumulative, dtype=np.float64))
    grid = np.broadcast_to(np.asarray(age, dtype=np.float64), hazard.shape)
    chance, failure, planned = (
        np.broadcast_to(np.asarray(each, dtype=np.float64), hazard.shape[:1])[:, None]
        for each in (renewed, cost_failure, cost_planned)
    )
    _check(grid, hazard, chance, failure, planned)
    reach = np.exp(-chance * hazard)
    count = failures_before_renewal(hazard, chance)
    time = _integral(grid, reach)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(time > 0, (failure * count + planned * reach) / time, np.nan)
        ran = failure[:, 0] * np.where(chance[:, 0] > 0, 1 / chance[:, 0], np.nan) / time[:, -1]
    best = np.nanargmin(rate, axis=1)
    least = rate[np.arange(len(grid)), best]
    flat = rate <= (1 + FLAT) * least[:, None]
    endless = best == grid.shape[1] - 1
    return ReplacementPolicy(
        age=grid,
        rate=rate,
        best_age=np.where(endless, np.inf, _lowest(grid, rate, best)),
        best_rate=least,
        failure_rate=ran,
        flat_from=grid[np.arange(len(grid)), np.argmax(flat, axis=1)],
        flat_to=np.where(flat[:, -1], np.inf, _last(grid, flat)),
        relative=_relative(failure * count, reach, time, planned, best),
        reach=reach,
        failures=count,
        time=time,
    )


def failures_before_renewal(cumulative: ArrayLike, renewed: ArrayLike) -> FloatArray:
    """Return the failures expected of a new position by an age, none after its first renewal.

    Parameters
    ----------
    cumulative : H, failures expected by the age if none is closed by a renewal
    renewed : chance that a failure is closed by a renewal; the two broadcast
    """
    hazard, chance = np.broadcast_arrays(
        np.asarray(cumulative, dtype=np.float64), np.asarray(renewed, dtype=np.float64)
    )
    some = chance > 0
    return np.where(some, -np.expm1(-chance * hazard) / np.where(some, chance, 1.0), hazard)


def _integral(grid: FloatArray, height: FloatArray) -> FloatArray:
    """Return the integral from 0 to each age by the trapezoid rule."""
    steps = np.diff(grid, axis=1) * (height[:, 1:] + height[:, :-1]) / 2
    return np.concatenate([np.zeros((len(grid), 1)), np.cumsum(steps, axis=1)], axis=1)


def _relative(
    lost: FloatArray, reach: FloatArray, time: FloatArray, planned: FloatArray, best: IntArray
) -> FloatArray:
    """Return v(a): costs until the best age, less those of the policy over the same time."""
    at = (np.arange(len(reach)), best)
    end, last, whole = (each[at][:, None] for each in (lost, reach, time))
    rate = (end + planned * last) / whole
    to_go = end - lost + planned * last - rate * (whole - time)
    young = np.arange(reach.shape[1]) < best[:, None]  # older ones may be beyond all reach
    return np.where(young, to_go / np.where(young, reach, 1.0), planned)


def _lowest(grid: FloatArray, rate: FloatArray, best: IntArray) -> FloatArray:
    """Return the age at the bottom of a parabola through the least three points."""
    rows, last = np.arange(len(grid)), grid.shape[1] - 1
    middle = np.clip(best, 2, last - 1)
    x = [grid[rows, middle + step] for step in (-1, 0, 1)]
    y = [rate[rows, middle + step] for step in (-1, 0, 1)]
    left, right = (x[1] - x[0]) * (y[1] - y[2]), (x[1] - x[2]) * (y[1] - y[0])
    curved = (middle == best) & (left != right) & np.isfinite(left - right)
    below = np.where(curved, 2 * (left - right), 1.0)
    shift = ((x[1] - x[0]) * left - (x[1] - x[2]) * right) / below
    return np.where(curved, np.clip(x[1] - shift, x[0], x[2]), grid[rows, best])


def _last(grid: FloatArray, flat: BoolArray) -> FloatArray:
    place = flat.shape[1] - 1 - np.argmax(flat[:, ::-1], axis=1)
    found: FloatArray = grid[np.arange(len(grid)), place]
    return found


def _check(
    grid: FloatArray,
    hazard: FloatArray,
    chance: FloatArray,
    failure: FloatArray,
    planned: FloatArray,
) -> None:
    if grid.shape[1] < 4 or np.any(grid[:, 0] != 0) or np.any(np.diff(grid, axis=1) <= 0):
        raise EstimateError("ages of a policy are 4 at least, begin at 0 and rise.")
    if np.any(hazard[:, 0] != 0) or not np.all(np.diff(hazard, axis=1) >= 0):
        raise EstimateError("expected failures begin at 0 and never fall with age.")
    if not np.all((chance >= 0) & (chance <= 1)):
        raise EstimateError("the chance that a failure is closed by a renewal lies from 0 to 1.")
    for name, cost in (("a failure", failure), ("a renewal by plan", planned)):
        if not np.all((cost > 0) & np.isfinite(cost)):
            raise EstimateError(f"the cost of {name} is above 0.")
