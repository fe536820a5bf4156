"""From the solver's arrays back to a planner's words: visits with berths, days and jobs."""

from __future__ import annotations

import numpy as np

from analytics.planning.build import Built
from analytics.planning.candidates import Candidates
from analytics.planning.plan import Plan, PlannedJob, Visit
from analytics.planning.problem import Solution


def visits_of(
    built: Built, solution: Solution, candidates: Candidates, before: Plan | None = None
) -> tuple[Visit, ...]:
    """Return the visits of a solution, first day first; `reason` is left empty.

    Conventions
    -----------
    A group's berths are open on the same days, and on none of them are there more visits than
    berths. Taken by first day, each visit finds a berth that the ones before have left: those still
    there all share the day on which it begins, so they are fewer than the berths. Where the berth
    that it had in the plan before is free, it keeps it.
    """
    berth_of = _berths_of(built, solution, before)
    order = np.lexsort((solution.group, solution.locomotive, solution.first))
    return tuple(_visit(built, solution, candidates, int(at), berth_of[int(at)]) for at in order)


def _berths_of(built: Built, solution: Solution, before: Plan | None) -> dict[int, str]:
    had = {(v.locomotive, v.first): v.berth for v in before.visits} if before else {}
    free = [[-1] * len(group) for group in built.groups]  # last day on which each berth is taken
    found = {}
    for at in np.argsort(solution.first, kind="stable"):
        group = int(solution.group[at])
        left = [n for n, last in enumerate(free[group]) if last < solution.first[at]]
        key = (built.locomotives[solution.locomotive[at]], built.day(solution.first[at]))
        names = [one.name for one in built.groups[group]]
        berth = next((n for n in left if names[n] == had.get(key)), left[0])
        free[group][berth] = int(solution.last[at])
        found[int(at)] = built.groups[group][berth].name
    return found


def _visit(built: Built, solution: Solution, candidates: Candidates, at: int, berth: str) -> Visit:
    first, last = int(solution.first[at]), int(solution.last[at])
    locomotive = int(solution.locomotive[at])
    cost = built.problem.day_cost[locomotive, first : last + 1].sum()
    jobs = [
        _job(built, candidates, int(number), first)
        for number in np.flatnonzero(solution.visit_of == at)
    ]
    return Visit(
        locomotive=built.locomotives[locomotive],
        class_name=built.of_class[locomotive],
        berth=berth,
        first=built.day(first),
        last=built.day(last),
        jobs=tuple(sorted(jobs, key=lambda job: (-job.value, job.name, job.positions))),
        day_cost=float(cost),
        reason="",
    )


def _job(built: Built, candidates: Candidates, number: int, day: int) -> PlannedJob:
    work = built.work[number]
    failures = left = 0.0
    if work.candidate >= 0:
        mine = candidates.places["job"] == work.candidate
        failures = float(candidates.places.loc[mine, "failures"].sum())
        left = candidates.failures_if_done(work.candidate, day, built.problem.value.shape[1])
    return PlannedJob(
        name=work.name,
        kind=work.kind,
        components=work.components,
        positions=work.positions,
        days=work.days,
        hours=dict(work.hours),
        parts=dict(work.parts),
        value=float(work.value[day]),
        failures=failures,
        failures_if_done=left,
    )
