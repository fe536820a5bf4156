"""Visits valued at prices of what they use up, and a bound that holds for the whole problem.

Every limit that visits share gets a price (a Lagrange multiplier). At given prices the problem
falls apart into its locomotives, and the best visits of each follow from one pass over the days.
What the limits are worth at these prices, plus the best of every locomotive, is a bound on every
plan, whatever the prices are.

References
----------
Geoffrion, A. M. (1974) Lagrangean relaxation for integer programming. Mathematical Programming
Study 2, 82-114.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from analytics.planning.bundles import Bundles, choose_bundles
from analytics.planning.problem import BoolArray, FloatArray, Problem
from analytics.planning.visits import Visits, over_span

_ROUNDING = 1e-11


@dataclass(frozen=True, slots=True, eq=False)
class Prices:
    """Prices of the shared limits, in units of a plan's worth.

    Attributes
    ----------
    berths : (G, D) of a berth for a day, 0 on closed days
    labour : (S, D) of a labour hour
    supply : (P, D) of a piece used by the end of a day
    traffic : (C, D) of one more locomotive of a class in a berth
    job : (J,) of doing a job; below 0: a reward for one that has to be done
    apart : (L, D) of a locomotive's day in a berth
    pin : (N,) of the visit asked for; below 0: a reward
    """

    berths: FloatArray
    labour: FloatArray
    supply: FloatArray
    traffic: FloatArray
    job: FloatArray
    apart: FloatArray
    pin: FloatArray

    @staticmethod
    def free(problem: Problem) -> Prices:
        """Return prices of nothing."""
        return Prices(
            berths=np.zeros(problem.berths.shape),
            labour=np.zeros(problem.labour.shape),
            supply=np.zeros(problem.supply.shape),
            traffic=np.zeros(problem.absent_most.shape),
            job=np.zeros(problem.days.size),
            apart=np.zeros(problem.free.shape),
            pin=np.zeros(problem.pin_day.size),
        )

    def between(self, other: Prices, share: float) -> Prices:
        """Return `share` of these and the rest of the other's."""
        return Prices(
            *(
                share * getattr(self, part.name) + (1 - share) * getattr(other, part.name)
                for part in fields(self)
            )
        )

    def of_limits(self, problem: Problem) -> tuple[float, float]:
        """Return what all limits are worth, and the same without regard to sign."""
        parts = (
            self.berths * problem.berths,
            _worth(self.labour, problem.labour),
            self.supply * problem.supply,
            self.traffic * problem.absent_most,
            self.job,
            self.apart,
            self.pin,
        )
        return sum(float(p.sum()) for p in parts), sum(float(np.abs(p).sum()) for p in parts)


def _worth(price: FloatArray, limit: FloatArray) -> FloatArray:
    """What limits are worth; one that is infinite has no price."""
    found: FloatArray = np.multiply(price, limit, out=np.zeros_like(price), where=price != 0)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Priced:
    """What visits and jobs are worth at prices, and the bound that follows.

    Attributes
    ----------
    job : (J, G, D) worth of a job in a visit begun there; -inf where it may not
    visit : (L, G, D, K) worth of a visit with its best jobs; -inf where it may not
    ahead : (L, D + 1) best worth of visits begun on a day or later
    behind : (L, D + 1) best worth of visits over before a day
    bound : no plan is worth more; rounding is allowed for
    bundles : jobs of visits that cannot hold all that is worth doing
    """

    prices: Prices
    job: FloatArray
    visit: FloatArray
    ahead: FloatArray
    behind: FloatArray
    bound: float
    bundles: Bundles

    def regret(self, visits: Visits) -> FloatArray:
        """How much a plan falls short of the bound at least when it has a visit: (L, G, D, K)."""
        days = visits.shape[2]
        before = self.behind[:, :days][:, None, :, None]
        after = self.ahead[:, np.maximum(visits.last, 0) + 1]
        short: FloatArray = self.ahead[:, :1][:, :, None, None] - (before + self.visit + after)
        return short


def price(visits: Visits, prices: Prices) -> Priced:
    """Value every visit at prices.

    Parameters
    ----------
    visits
        What the problem allows.
    prices
        0 or more for limits; of either sign for jobs that must be done and for pins.
    """
    job = _job_worth(visits, prices)
    visit = _visit_worth(visits, prices, job)
    bundles = choose_bundles(visits, job, visit)
    visit.ravel()[bundles.visit] -= bundles.lost
    ahead, behind = _best_ahead(visits, visit), _best_behind(visits, visit)
    limits, size = prices.of_limits(visits.problem)
    best = float(ahead[:, 0].sum())
    size += abs(best)
    # Nothing worth doing at no prices is exactly nothing, and a plan of worth 0 is the best.
    rounding = _ROUNDING * (size + float(visits.cost.max(initial=0.0))) if size else 0.0
    return Priced(prices, job, visit, ahead, behind, limits + best + rounding, bundles)


def _job_worth(visits: Visits, prices: Prices) -> FloatArray:
    problem = visits.problem
    onward = np.cumsum(prices.supply[:, ::-1], axis=1)[:, ::-1]
    worth = problem.value - problem.parts @ onward - prices.job[:, None]
    spread = np.where(visits.job_can, worth[:, None, :], -np.inf)
    if prices.labour.any():
        groups, days = problem.berths.shape
        for length, (jobs, _) in zip(visits.lengths, visits.per_length, strict=True):
            if not jobs.size:
                continue
            on_days = visits.day_at[:, :, :length]
            total = np.where(on_days >= 0, prices.labour[:, on_days], 0.0).sum(axis=3)
            share = problem.hours[jobs] / length
            spread[jobs] -= (share @ total.reshape(-1, groups * days)).reshape(-1, groups, days)
    return spread


def _visit_worth(visits: Visits, prices: Prices, job: FloatArray) -> FloatArray:
    problem = visits.problem
    count, groups, days, lengths = visits.shape
    gain = np.maximum(job, 0.0).reshape(-1, groups * days)
    worth = np.empty(visits.shape)
    total = np.zeros((count, groups * days))
    for length, (jobs, adder) in zip(range(lengths), visits.per_length, strict=True):
        total = total + adder @ gain[jobs]
        worth[:, :, :, length] = total.reshape(count, groups, days)
    worth -= visits.cost
    berths = over_span(prices.berths, visits.last)
    worth -= berths[np.arange(groups), np.arange(groups)]
    worth -= over_span(prices.traffic, visits.last)[problem.class_of]
    if prices.apart.any():
        worth -= over_span(prices.apart, visits.last)
    if prices.pin.size:
        asked = np.zeros((count, days))
        np.add.at(asked, (problem.pin_locomotive, problem.pin_day), prices.pin)
        worth -= asked[:, None, :, None]
    worth[~visits.can] = -np.inf
    return worth


def _best_ahead(visits: Visits, worth: FloatArray) -> FloatArray:
    """Work back from the last day: either nothing begins on a day, or one visit and what follows.

    Weighted intervals of one machine; exact.
    """
    count, _, days, _ = visits.shape
    best = np.zeros((count, days + 1))
    after = np.maximum(visits.last, 0) + 1
    for day in range(days - 1, -1, -1):
        begun = worth[:, :, day] + best[:, after[:, day]]
        best[:, day] = np.maximum(best[:, day + 1], begun.reshape(count, -1).max(axis=1))
    return best


def _best_behind(visits: Visits, worth: FloatArray) -> FloatArray:
    count, groups, days, lengths = visits.shape
    best = np.zeros((count, days + 1))
    for day in range(days):
        best[:, day + 1] = np.maximum(best[:, day + 1], best[:, day])
        for group, length in np.ndindex(groups, lengths):
            over = visits.last[group, day, length]
            if over >= 0:
                reached = best[:, day] + worth[:, group, day, length]
                np.maximum(best[:, over + 1], reached, out=best[:, over + 1])
    return best


def worth_keeping(
    visits: Visits, priced: Priced, most_regret: float
) -> tuple[BoolArray, BoolArray]:
    """Return the visits and jobs without which every plan within `most_regret` of the bound does.

    Returns
    -------
    visit : (L, G, D, K), job : (J, G, D)
        A plan with any visit, or any job in a visit begun there, that is not kept is worth less
        than the bound less `most_regret`.
    """
    short = priced.regret(visits)
    visit = short <= most_regret
    least = np.minimum.accumulate(short[..., ::-1], axis=3)[..., ::-1]
    own = np.moveaxis(least, 3, 1)[visits.problem.locomotive, visits.length_of]
    job = visits.job_can & (own + np.maximum(-priced.job, 0.0) <= most_regret)
    return visit, job
