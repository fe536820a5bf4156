"""How likely what was closed a while ago comes back next: the rate after closings of its kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray

EDGES = (0.0, 2.0, 5.0, 10.0, 20.0)
"""Days after a closing at which a new rate begins; the last goes on to the end of the window."""

PRIOR_EVENTS = 3.0
"""The rate of a kind counts as much as so many returns; the wider kind gives the rest."""


@dataclass(frozen=True, slots=True, eq=False)
class ReturnRates:
    """Rates of return a day: `rate` has shape (kinds, bands)."""

    rate: FloatArray


def return_rates(
    days: ArrayLike, came_back: ArrayLike, kind: ArrayLike, wider: ArrayLike
) -> ReturnRates:
    """Estimate rates of return by time since the closing, constant in bands of days.

    Parameters
    ----------
    days : (n,) days from the closing to the return, or to where it could no longer be followed
    came_back : (n,) whether it came back
    kind : (n,) index of the kind of closing (what was done to what)
    wider : (kinds,) index of the wider kind each belongs to, whose rates it is drawn to

    Conventions
    -----------
    A rate is (returns + 3) / (days + 3 / rate of the wider kind): the posterior mean for a gamma
    prior worth 3 returns. The wider kind's own rate is returns / days.

    References
    ----------
    Aalen, Borgan & Gjessing (2008), Survival and Event History Analysis, section 5.1 (rates
    constant in bands); Gelman et al. (2013), section 2.6 (gamma prior of a rate).
    """
    time, back = np.asarray(days, dtype=np.float64), np.asarray(came_back, dtype=bool)
    of, above = np.asarray(kind, dtype=np.int64), np.asarray(wider, dtype=np.int64)
    if not time.size == back.size == of.size:
        raise EstimateError("days, came_back and kind differ in length.")
    ends = (*EDGES[1:], np.inf)
    kinds, most = above.size, int(above.max(initial=-1)) + 1
    found = np.zeros((kinds, len(EDGES)))
    for band, (begin, end) in enumerate(zip(EDGES, ends, strict=True)):
        inside = np.clip(time, begin, end) - begin
        events = np.bincount(of, back & (time >= begin) & (time < end), kinds)
        at_risk = np.bincount(of, inside, kinds)
        events_above, risk_above = (np.bincount(above, each, most) for each in (events, at_risk))
        usual = events_above / np.where(risk_above > 0, risk_above, 1.0)
        usual = np.maximum(usual, 1e-9)[above]
        found[:, band] = (events + PRIOR_EVENTS) / (at_risk + PRIOR_EVENTS / usual)
    return ReturnRates(found)


def return_chance(
    rates: ReturnRates, kind: ArrayLike, held: ArrayLike, ahead: ArrayLike
) -> FloatArray:
    """Return the chance to come back within `ahead` days of what has held for `held` days."""
    of, begin = np.asarray(kind, dtype=np.int64), np.asarray(held, dtype=np.float64)
    end = begin + np.asarray(ahead, dtype=np.float64)
    low, high = np.asarray(EDGES), np.array([*EDGES[1:], np.inf])
    share = np.clip(end[:, None], low, high) - np.clip(begin[:, None], low, high)
    found: FloatArray = -np.expm1(-(share * rates.rate[of]).sum(axis=1))
    return found
