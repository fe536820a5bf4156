"""How many renewals to expect: the renewal function of a life, of a new part and of a used one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray

_STEPS = 60  # of the time ahead of used parts
Cdf = Callable[[FloatArray], FloatArray]


def renewal_function(cdf: Cdf, end: float, *, steps: int = 200) -> tuple[FloatArray, FloatArray]:
    """Return expected renewals of a new part by each time up to `end`.

    Parameters
    ----------
    cdf
        Chance that a life has ended by an age, for arrays of ages from 0.
    end
        How far, in the clock's unit.
    steps
        Even steps from 0 to the end.

    Returns
    -------
    times, renewals : (steps + 1,)

    Conventions
    -----------
    The renewal equation M(t) = F(t) + integral of M(t - x) dF(x) by a Riemann-Stieltjes sum at
    midpoints, with one Richardson step from a grid twice as fine.

    Limits
    ------
    With 200 steps over 3 mean lives right to about 1e-4 for shapes from 0.7 to 4.

    Raises
    ------
    EstimateError
        An end that is not above 0.

    References
    ----------
    Cox (1962), Renewal Theory, chapter 4; Xie (1989), Communications in Statistics - Simulation
    and Computation 18, 281-293.
    """
    if not (end > 0 and np.isfinite(end)):
        raise EstimateError(f"renewals are counted over a time above 0, not {end!r}.")
    coarse = _solve(cdf, end, steps)
    fine = _solve(cdf, end, 2 * steps)[::2]
    return np.linspace(0.0, end, steps + 1), (4.0 * fine - coarse) / 3.0


def _solve(cdf: Cdf, end: float, steps: int) -> FloatArray:
    times = np.linspace(0.0, end, steps + 1)
    whole, half = cdf(times), cdf(times[:-1] + end / steps / 2)
    found = np.zeros(steps + 1)
    for at in range(1, steps + 1):
        earlier = half[at - 1 : 0 : -1] @ np.diff(found[:at]) if at > 1 else 0.0
        found[at] = (whole[at] + earlier - half[0] * found[at - 1]) / (1.0 - half[0])
    return found


def expected_renewals(cdf: Cdf, age: ArrayLike, use: ArrayLike) -> FloatArray:
    """Return the renewals to expect of parts in use while each runs on.

    Parameters
    ----------
    cdf
        As for `renewal_function`.
    age, use : (n,) age now, and how much each will run

    Conventions
    -----------
    What is left of the life in use has F_a(x) = [F(a + x) - F(a)] / [1 - F(a)]; every renewal in it
    begins a new part: F_a(u) + integral of M(u - x) dF_a(x).

    Raises
    ------
    EstimateError
        A negative or undefined age or use.
    """
    ages, ahead = (np.asarray(each, dtype=np.float64) for each in (age, use))
    if not (np.all(ages >= 0) and np.all(ahead >= 0)):
        raise EstimateError("ages and use of parts are not below 0.")
    most = float(ahead.max(initial=0.0))
    if most == 0:
        return np.zeros(ages.size)
    times, renewals = renewal_function(cdf, most)
    share = np.linspace(0.0, 1.0, _STEPS + 1)
    reached = cdf(ages[:, None] + ahead[:, None] * share)
    left = np.maximum(1.0 - cdf(ages), 1e-12)[:, None]
    ends = np.diff((reached - cdf(ages)[:, None]) / left, axis=1)
    rest = ahead[:, None] * (1.0 - (share[1:] + share[:-1]) / 2)
    again = np.interp(rest, times, renewals)
    found: FloatArray = ends.sum(axis=1) + (ends * again).sum(axis=1)
    return found
