"""What a plan breaks and what it is worth, counted day by day in plain Python.

Written from the docstring of `analytics.planning.problem` alone; knows nothing of the solver.
"""

from __future__ import annotations

from dataclasses import dataclass

from analytics.planning.problem import Problem, Solution

CLOSE = 1e-6


@dataclass
class Visit:
    locomotive: int
    group: int
    first: int
    last: int
    jobs: list[int]


def visits_of(problem: Problem, solution: Solution) -> list[Visit]:
    return [
        Visit(
            int(solution.locomotive[v]),
            int(solution.group[v]),
            int(solution.first[v]),
            int(solution.last[v]),
            [j for j in range(len(problem.days)) if solution.visit_of[j] == v],
        )
        for v in range(len(solution.first))
    ]


def open_days(problem: Problem, visit: Visit) -> list[int]:
    return [d for d in range(visit.first, visit.last + 1) if problem.berths[visit.group, d] > 0]


def worth(problem: Problem, visits: list[Visit]) -> float:
    total = 0.0
    for visit in visits:
        total += sum(float(problem.value[j, visit.first]) for j in visit.jobs)
        total -= sum(
            float(problem.day_cost[visit.locomotive, d]) for d in range(visit.first, visit.last + 1)
        )
    return total


def breaks(problem: Problem, visits: list[Visit]) -> list[str]:
    days = problem.berths.shape[1]
    return (
        [fault for visit in visits for fault in of_one_visit(problem, visit)]
        + of_jobs_and_pins(problem, visits)
        + [fault for day in range(days) for fault in of_one_day(problem, visits, day)]
    )


def of_one_visit(problem: Problem, visit: Visit) -> list[str]:
    if not 0 <= visit.first <= visit.last < problem.berths.shape[1]:
        return ["outside the horizon"]
    found = []
    opened = open_days(problem, visit)
    if visit.first not in opened:
        found.append("begins on a closed day")
    if visit.last not in opened:
        found.append("ends on a closed day")
    if len(opened) != max([1] + [int(problem.days[j]) for j in visit.jobs]):
        found.append("is not as long as its longest job")
    if not problem.takes[visit.group, visit.locomotive]:
        found.append("group does not take the locomotive")
    if not all(problem.free[visit.locomotive, d] for d in range(visit.first, visit.last + 1)):
        found.append("locomotive is not free")
    return found + of_its_jobs(problem, visit, opened)


def of_its_jobs(problem: Problem, visit: Visit, opened: list[int]) -> list[str]:
    found = []
    for j in visit.jobs:
        if problem.locomotive[j] != visit.locomotive:
            found.append("job of another locomotive")
        if not problem.fits[j, visit.group]:
            found.append("job does not fit the group")
        if problem.value[j, visit.first] == float("-inf"):
            found.append("job may not be done from that day")
        if len(opened) < problem.days[j] or opened[problem.days[j] - 1] > problem.end_by[j]:
            found.append("job is over too late")
    return found


def of_jobs_and_pins(problem: Problem, visits: list[Visit]) -> list[str]:
    found = []
    for j in range(len(problem.days)):
        times = sum(visit.jobs.count(j) for visit in visits)
        if times > 1:
            found.append("job done twice")
        if problem.must[j] and times == 0:
            found.append("job that must be done is not")
    for loco, day in zip(problem.pin_locomotive, problem.pin_day, strict=True):
        if not any(v.locomotive == loco and v.first == day for v in visits):
            found.append("visit asked for is not made")
    return found


def of_one_day(problem: Problem, visits: list[Visit], day: int) -> list[str]:
    found = []
    inside = [v for v in visits if v.first <= day <= v.last]
    if len({v.locomotive for v in inside}) < len(inside):
        found.append("locomotive in two berths")
    for group in range(problem.berths.shape[0]):
        # A closed day has as many berths as the days around it: those of any open day.
        berths = max(int(n) for n in problem.berths[group])
        if sum(v.group == group for v in inside) > berths:
            found.append("too many in a group")
    for one in range(problem.absent_most.shape[0]):
        absent = sum(problem.class_of[v.locomotive] == one for v in inside)
        if absent > max(0, problem.absent_most[one, day]):
            found.append("too few in traffic")
    for skill in range(problem.labour.shape[0]):
        hours = sum(
            float(problem.hours[j, skill]) / int(problem.days[j])
            for v in inside
            for j in v.jobs
            if day in open_days(problem, v)[: problem.days[j]]
        )
        if hours > 0 and hours > problem.labour[skill, day] + CLOSE:
            found.append("too little labour")
    for spare in range(problem.supply.shape[0]):
        pieces = sum(int(problem.parts[j, spare]) for v in visits if v.first <= day for j in v.jobs)
        if pieces > 0 and pieces > problem.supply[spare, day]:
            found.append("too few spares")
    return found
