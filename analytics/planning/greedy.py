"""The obvious plan: what must be done by its latest day, then one locomotive after another.

It is what a planner would write down without a search: it keeps every limit and looks at no
alternative. The search starts from it and is compared with it.
"""

from __future__ import annotations

import time

import numpy as np

from analytics.planning.columns import Columns, column_worth, keeps_limits, tidy
from analytics.planning.problem import IntArray, Problem, Solution
from analytics.planning.room import Offers, Room
from analytics.planning.visits import Visits, lay_out

_NONE = np.zeros(0, dtype=np.int64)


def greedy(problem: Problem, *, order: IntArray | None = None) -> Solution:
    """Place the visits asked for, the jobs that must be done, then the rest, each at its earliest.

    Parameters
    ----------
    problem
        What is to be planned.
    order : (L,)
        Locomotives, the one to be placed first in front; None: by what their jobs would be worth
        in all, each on its best day.

    Returns
    -------
    Solution
        `bound` is infinite. Where a visit asked for or a job that must be done found no room,
        `value` is -inf: the visits that are there keep the other limits, but it is no plan.

    Conventions
    -----------
    A visit takes every job that is worth something and fits, the most valuable first. One that is
    not asked for begins on the first day on which it is worth more than its days out of traffic.
    """
    begun = time.perf_counter()
    visits = lay_out(problem)
    plan = tidy(visits, place_all(visits, order=order))
    whole = keeps_limits(visits, plan)
    value = float(column_worth(visits, plan).sum()) if whole else -np.inf
    return to_solution(visits, plan, value, np.inf, time.perf_counter() - begun)


def place_all(visits: Visits, *, order: IntArray | None = None) -> Columns:
    """Return the visits of the obvious plan, whether or not all that must be done has a place."""
    room = Room(visits)
    problem = visits.problem
    place_musts(room)
    fill(room, by_worth(problem) if order is None else order)
    return room.plan()


def place_musts(room: Room) -> None:
    """Place the visits asked for and the jobs that must be done, as far as there is room."""
    problem = room.visits.problem
    for pin in np.argsort(problem.pin_day, kind="stable"):
        _place_pin(room, int(problem.pin_locomotive[pin]), int(problem.pin_day[pin]))
    must = np.flatnonzero(problem.must)
    for job in must[np.argsort(problem.end_by[must], kind="stable")]:
        if not room.done[job]:
            _place_must(room, int(job))


def by_worth(problem: Problem) -> IntArray:
    """Return the locomotives, that with the most to gain first."""
    best = np.maximum(problem.value.max(axis=1, initial=0.0), 0.0)
    total = np.bincount(problem.locomotive, weights=best, minlength=problem.free.shape[0])
    return np.argsort(-total, kind="stable")


def fill(room: Room, order: IntArray) -> None:
    """Give every locomotive in turn its earliest visit that is worth its days."""
    for loco in order:
        offers = room.offers(int(loco), _NONE)
        days = np.flatnonzero((offers.worth > 0).any(axis=(0, 2)))
        if days.size:
            _take_best(room, int(loco), offers, int(days[0]))


def _place_pin(room: Room, loco: int, day: int) -> None:
    if room.busy[loco, day]:
        return
    offers = room.offers(loco, _NONE)
    if np.isfinite(offers.worth[:, day]).any():
        _take_best(room, loco, offers, day)


def _place_must(room: Room, job: int) -> None:
    loco = int(room.visits.problem.locomotive[job])
    offers = room.offers(loco, np.array([job]))
    offers.worth[~offers.done[0]] = -np.inf
    days = np.flatnonzero(np.isfinite(offers.worth).any(axis=(0, 2)))
    if days.size:
        _take_best(room, loco, offers, int(days[0]))


def _take_best(room: Room, loco: int, offers: Offers, day: int) -> None:
    """Place the worthiest visit that begins on a day."""
    here = offers.worth[:, day]
    group, length = np.unravel_index(int(here.argmax()), here.shape)
    jobs = offers.jobs[offers.done[:, group, day, length]]
    room.take(loco, (int(group), day, int(length)), jobs)


def to_solution(
    visits: Visits, plan: Columns, value: float, bound: float, seconds: float
) -> Solution:
    """Return a plan as what the solver hands out, its visits by day and locomotive."""
    order = np.lexsort((plan.locomotive, plan.group, plan.first))
    plan = plan.take(order)
    visit_of = np.full(visits.problem.days.size, -1, dtype=np.int64)
    column, place = np.nonzero(plan.done)
    visit_of[visits.jobs_of[plan.locomotive[column], place]] = column
    return Solution(
        locomotive=plan.locomotive,
        group=plan.group,
        first=plan.first,
        last=visits.last[plan.group, plan.first, plan.length],
        visit_of=visit_of,
        value=value,
        bound=bound,
        seconds=seconds,
    )
