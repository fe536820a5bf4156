"""The berth plan of most worth, with a bound that no plan exceeds.

The way: an obvious plan to begin with; prices of the shared limits, which give the bound; then an
exact search among the visits and jobs whose loss at these prices is small. A plan with any other
visit is worth less than the bound less that loss, so that the bound of the search and this one
together hold for every plan. Where all visits that could do better are searched to the end, the
plan is the best there is.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

from analytics.errors import PlanError
from analytics.planning.columns import Columns, column_worth, keeps_limits, tidy
from analytics.planning.greedy import fill, place_all, place_musts, to_solution
from analytics.planning.improve import combine, improve, pieces
from analytics.planning.kept import keep, solve_kept
from analytics.planning.master import Master, find_prices
from analytics.planning.musts import find_musts
from analytics.planning.pricing import Priced, worth_keeping
from analytics.planning.problem import FloatArray, Problem, Solution
from analytics.planning.room import Room
from analytics.planning.visits import Visits, lay_out

_FIRST_SIZE = 8_000
_GROWTH = 2.5
_SHARE_FOR_PRICES = 0.6
_SHARE_FOR_PIECES = 0.5
_SHARE_TO_COMBINE = 0.5
_BARREN = 12
_LEAST_SHARE = 0.05
_EXACT = 1e-9


class NoPlan(PlanError):
    """No plan keeps all limits, or none was found in the time given (`proved` is False then)."""

    def __init__(self, message: str, *, proved: bool) -> None:
        super().__init__(message)
        self.proved = proved


@dataclass(slots=True)
class _Search:
    """The best plan and the best bound so far."""

    visits: Visits
    begun: float
    seconds: float
    gap: float
    plan: Columns
    value: float = -np.inf
    bound: float = np.inf
    scale: float = field(default=1.0)

    def left(self) -> float:
        return self.seconds - (time.perf_counter() - self.begun)

    def offer(self, plan: Columns) -> None:
        """Take a plan if it is better and keeps every limit."""
        plan = tidy(self.visits, plan)
        value = float(column_worth(self.visits, plan).sum())
        if value > self.value and keeps_limits(self.visits, plan):
            self.plan, self.value = plan, value

    def target(self) -> float:
        """Worth from which on a plan is near enough to the bound."""
        return self.bound * (1 - self.gap) if self.bound > 0 else self.bound / (1 - self.gap)

    def done(self) -> bool:
        size = max(abs(self.value), abs(self.bound))
        return self.bound - self.value <= max(self.gap, _EXACT) * size + _EXACT * self.scale


def solve(problem: Problem, *, seconds: float = 15.0, gap: float = 0.01) -> Solution:
    """Find a plan of most worth.

    Parameters
    ----------
    problem
        What is to be planned.
    seconds
        Time after which the best plan found is returned. Making sure that all that must be done
        can be done comes first and may take this long again.
    gap
        How far below the bound the plan may stay, as `Solution.gap` counts it; 0: the best plan.

    Returns
    -------
    Solution
        A plan that keeps every limit; no plan is worth more than `bound`, which allows for the
        rounding of the solver.

    Raises
    ------
    NoPlan
        No plan keeps all limits, or none was found in the time given.

    Limits
    ------
    Labour limits are kept up to a millionth of an hour. Two runs give the same plan only where the
    time was enough.
    """
    begun = time.perf_counter()
    visits = lay_out(problem)
    plan = tidy(visits, place_all(visits))
    if not keeps_limits(visits, plan):
        plan = _with_musts(visits, seconds)
    search = _Search(visits, begun, seconds, gap, plan.take(np.zeros(0, dtype=np.int64)))
    search.offer(plan)
    search.scale = _scale(problem)
    if visits.can.any():
        _search(search)
    else:
        search.bound = search.value
    return to_solution(visits, search.plan, search.value, search.bound, time.perf_counter() - begun)


def _with_musts(visits: Visits, seconds: float) -> Columns:
    """Find a place for all that must be done, then fill the rest as the obvious plan does."""
    found = find_musts(visits, seconds=seconds)
    if found.impossible:
        raise NoPlan("No plan keeps all limits; ask which of them clash.", proved=True)
    if found.plan is None:
        raise NoPlan(
            f"No plan that keeps all limits was found within {seconds:g} s; give it more time.",
            proved=False,
        )
    room = Room(visits)
    room.take_all(found.plan)
    fill(room, np.arange(visits.shape[0]))
    filled = tidy(visits, room.plan())
    return filled if keeps_limits(visits, filled) else found.plan


def _scale(problem: Problem) -> float:
    """Return the worth that the solver takes as 1: a hundredth of the greatest."""
    value = np.where(np.isfinite(problem.value), np.abs(problem.value), 0.0)
    most = max(float(value.max(initial=0.0)), float(np.abs(problem.day_cost).max(initial=0.0)))
    return most / 100 if most > 0 else 1.0


def _search(search: _Search) -> None:
    """Find prices, then search among more and more of the visits."""

    def left_for_prices() -> float:
        return search.left() - (1 - _SHARE_FOR_PRICES) * search.seconds

    priced, master = find_prices(search.visits, search.plan, search.scale, left_for_prices)
    search.bound = priced.bound
    if search.done():
        return
    _round(search, master)
    _combine(search, priced, master)
    _improve(search, priced)
    short = np.sort(
        np.concatenate([priced.regret(search.visits).ravel(), _job_regret(search.visits, priced)])
    )
    size = _FIRST_SIZE
    while search.left() > 0 and not search.done():
        whole = priced.bound - search.value
        most = min(float(short[min(size, short.size - 1)]), whole + _EXACT * search.scale)
        _search_within(search, priced, most)
        if most >= whole:
            break
        size = int(size * _GROWTH)


def _combine(search: _Search, priced: Priced, master: Master) -> None:
    """Search among the visits of the linear programme."""
    if search.done():
        return
    seconds = search.left() * _SHARE_TO_COMBINE
    found = combine(
        search.visits,
        priced,
        master.columns,
        search.plan,
        scale=search.scale,
        seconds=seconds,
        target=search.target(),
    )
    if found is not None:
        search.offer(found)


def _improve(search: _Search, priced: Priced) -> None:
    """Make the plan better piece by piece, until nothing more comes of it."""
    until = search.left() * (1 - _SHARE_FOR_PIECES)
    barren = 0
    for free in pieces(search.visits, lambda: search.plan):
        if barren >= _BARREN or search.left() <= until or search.done():
            return
        before = search.value
        found = improve(
            search.visits,
            priced,
            search.plan,
            free,
            scale=search.scale,
            seconds=search.left() - until,
        )
        if found is not None:
            search.offer(found)
        better = search.value - before > 1e-4 * (priced.bound - before)
        barren = 0 if better else barren + 1


def _job_regret(visits: Visits, priced: Priced) -> FloatArray:
    """Return the least loss of each job on each day, of visits begun there."""
    least = np.minimum.accumulate(priced.regret(visits)[..., ::-1], axis=3)[..., ::-1]
    own = np.moveaxis(least, 3, 1)[visits.problem.locomotive, visits.length_of]
    loss: FloatArray = (own + np.maximum(-priced.job, 0.0))[visits.job_can]
    return loss


def _search_within(search: _Search, priced: Priced, most_regret: float) -> None:
    """Search all plans that lose no more than `most_regret` at the prices."""
    kept = keep(search.visits, *worth_keeping(search.visits, priced, most_regret))
    outcome = solve_kept(
        kept,
        search.scale,
        seconds=search.left(),
        gap=search.gap / 2,
    )
    if outcome.plan is not None:
        search.offer(outcome.plan)
    within = max(outcome.bound, priced.bound - most_regret)
    search.bound = min(search.bound, max(within, search.value))


def _round(search: _Search, master: Master) -> None:
    """Place the visits of the linear programme, that of the greatest share first, then fill."""
    visits, columns = search.visits, master.columns
    must = (visits.problem.must[visits.jobs_of[columns.locomotive]] & columns.done).any(axis=1)
    share = np.zeros(columns.size)
    share[: master.share.size] = master.share
    order = np.lexsort((-share, ~must))
    room = Room(visits)
    for at in order[share[order] >= _LEAST_SHARE]:
        room.take_if_room(columns, int(at))
    place_musts(room)
    fill(room, np.arange(visits.shape[0]))
    search.offer(room.plan())
