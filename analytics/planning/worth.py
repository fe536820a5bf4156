"""What renewing a position on each day of the horizon is worth, against leaving it alone.

The comparison is fair to both sides: a renewal throws away the life still left in the part, a wait
risks a failure. Both are weighed by the policy that costs least in the long run
(`analytics.estimate.replacement`), so that a horizon of a few weeks does not cut the future off.
"""

from __future__ import annotations

import numpy as np

from analytics.estimate.replacement import ReplacementPolicy
from analytics.planning.problem import FloatArray, IntArray


def worth_by_day(
    policy: ReplacementPolicy,
    curve: IntArray,
    age: FloatArray,
    a_day: FloatArray,
    *,
    cost_failure: FloatArray,
    cost_within: FloatArray,
    days: int,
) -> FloatArray:
    """Return the worth of renewing each position in a visit that begins on each day.

    Parameters
    ----------
    policy
        Of k kinds of position, on even grids of age (`replacement_policy`).
    curve : (n,) which of the k each position is
    age : (n,) age on the first day, in the clock's unit
    a_day : (n,) what the clock runs on a day
    cost_failure : (k,) cost of a failure, as the policy has it
    cost_within : (n,) cost of the renewal inside a visit that is made anyway
    days
        Length of the horizon.

    Returns
    -------
    FloatArray
        (n, days): costs expected from now on if the position is left alone for the whole horizon
        and goes on by its policy from there, less those if it is renewed on the day, unless a
        failure was closed by a renewal before. May be below 0: too early.

    Conventions
    -----------
    With a_d the age on day d and D days:
    R(a_d) / R(a_0) x {[c (N(a_D) - N(a_d)) - g (I(a_D) - I(a_d)) + R(a_D) v(a_D)] / R(a_d) - cw},
    R, N, I, v and the least cost rate g as in `ReplacementPolicy`; cw the cost within a visit.

    Limits
    ------
    Linear between the ages of the grid; beyond its end the last value holds.

    References
    ----------
    Berg (1980), Operations Research Letters 1, 48-51 (marginal cost of waiting); Dekker & Roelvink
    (1995), European J. Oper. Res. 84, 206-225 (grouping of renewals by what waiting costs).
    """
    ages = age[:, None] + a_day[:, None] * np.arange(days + 1)
    place = _place(policy.age, curve, ages)
    reach = _read(policy.reach, place)
    lost = cost_failure[curve][:, None] * _read(policy.failures, place)
    lost -= policy.best_rate[curve][:, None] * _read(policy.time, place)
    end = lost[:, -1:] + reach[:, -1:] * _read(policy.relative, place)[:, -1:]
    saved = end - lost[:, :-1] - reach[:, :-1] * cost_within[:, None]
    now = reach[:, :1]
    worth: FloatArray = saved / np.where(now > 0, now, 1.0)
    return worth


def failures_ahead(
    grid: FloatArray,
    cumulative: FloatArray,
    curve: IntArray,
    age: FloatArray,
    use: FloatArray,
) -> FloatArray:
    """Return the failures expected of n positions while each runs `use` more: H(a + u) - H(a).

    `grid` and `cumulative` are (k, m) as `replacement_policy` takes them, the rest is (n,).
    """
    ages = np.stack([age, age + use], axis=1)
    read = _read(cumulative, _place(grid, curve, ages))
    ahead: FloatArray = read[:, 1] - read[:, 0]
    return ahead


_Place = tuple[IntArray, IntArray, FloatArray]


def _place(grid: FloatArray, curve: IntArray, ages: FloatArray) -> _Place:
    """Return row, step and share of the step of each age on its even grid."""
    step = grid[curve, 1][:, None]
    last = grid.shape[1] - 1
    at = np.clip(ages / step, 0.0, last)
    whole = np.minimum(at.astype(np.int64), last - 1)
    return np.broadcast_to(curve[:, None], ages.shape), whole, at - whole


def _read(table: FloatArray, place: _Place) -> FloatArray:
    row, step, share = place
    low = table[row, step]
    found: FloatArray = low + share * (table[row, step + 1] - low)
    return found
