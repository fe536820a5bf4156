"""What one more berth-day, one more day of a skill or one more spare would be worth.

The problem is solved again with it. Two plans found within the gap may differ by chance, so the
difference of the bounds stands beside that of the plans: what holds for both is worth it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analytics.planning.build import Built
from analytics.planning.plan import Worth
from analytics.planning.problem import FloatArray, IntArray, Problem, Solution
from analytics.planning.solve import solve

HOURS_A_DAY = 8.0
"""Of one more person with a skill, on each day on which the skill is there."""
_WEEK = 7


def one_more(
    built: Built, problem: Problem, solution: Solution, *, seconds: float, gap: float
) -> tuple[Worth, ...]:
    """Solve again with one more of each thing that limits the plan.

    Conventions
    -----------
    A berth-day: every berth closed on a day of the week is opened on the day on which the berths
    are fullest, or one more berth for a day where all are full. A fitter: 8 h on each day on which
    the skill is there. A spare: one piece more from the first day on. Each gain is the plan found
    with it less the plan without, and the bounds' likewise; none is below 0, for the first plan
    stays possible.
    """
    found = []
    for what, name, day, changed in _changes(built, problem, solution):
        again = solve(changed, seconds=seconds, gap=gap)
        found.append(
            Worth(
                what,
                name,
                None if day < 0 else built.day(day),
                max(again.value - solution.value, 0.0),
                max(again.bound - solution.bound, 0.0),
            )
        )
    return tuple(found)


def _changes(
    built: Built, problem: Problem, solution: Solution
) -> Iterator[tuple[str, str, int, Problem]]:
    for group, berths in enumerate(built.groups):
        day = _fullest(problem, solution, group)
        if day >= 0:
            more = _with_berth(problem, group, day)
            yield "berth", berths[0].name, day, more
    for skill, name in enumerate(built.skills):
        labour = problem.labour.copy()
        labour[skill, labour[skill] > 0] += HOURS_A_DAY
        yield "labour", name, -1, replace(problem, labour=labour)
    used = set(np.flatnonzero((problem.parts[solution.visit_of >= 0] > 0).any(axis=0)))
    asked = set(np.flatnonzero((problem.parts > 0).any(axis=0)))
    for spare, name in enumerate(built.spares):
        if spare in used | asked:
            supply = problem.supply.copy()
            supply[spare] += 1
            yield "spare", name, -1, replace(problem, supply=supply)


def occupied(problem: Problem, solution: Solution) -> IntArray:
    """Return the berths taken in each group on each day, shape (G, D)."""
    taken = np.zeros(problem.berths.shape, dtype=np.int64)
    for group, first, last in zip(solution.group, solution.first, solution.last, strict=True):
        taken[group, first : last + 1] += 1
    return taken


def _fullest(problem: Problem, solution: Solution, group: int) -> int:
    """Return the first day of the fullest week on which the group is open and full, -1: none."""
    is_open = problem.berths[group] > 0
    full = is_open & (occupied(problem, solution)[group] >= problem.berths[group])
    if not full.any():
        return -1
    return int(np.argmax(full))


def _with_berth(problem: Problem, group: int, day: int) -> Problem:
    """Add a group of one berth for one day, alike in what it takes."""
    extra: IntArray = np.zeros((1, problem.berths.shape[1]), dtype=np.int64)
    extra[0, day] = 1
    fits = np.concatenate([problem.fits, problem.fits[:, group : group + 1]], axis=1)
    return replace(
        problem,
        berths=np.concatenate([problem.berths, extra]),
        takes=np.concatenate([problem.takes, problem.takes[group : group + 1]]),
        fits=fits,
    )


def used_hours(built: Built, solution: Solution) -> FloatArray:
    """Return the labour hours used of each skill on each day, shape (S, D)."""
    problem = built.problem
    used = np.zeros(problem.labour.shape)
    for job in np.flatnonzero(solution.visit_of >= 0):
        visit = solution.visit_of[job]
        first, last = solution.first[visit], solution.last[visit]
        is_open = np.flatnonzero(problem.berths[solution.group[visit], first : last + 1] > 0)
        days = first + is_open[: problem.days[job]]
        used[:, days] += problem.hours[job][:, None] / problem.days[job]
    return used
