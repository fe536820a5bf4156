"""The best plan by trying every plan, for problems of a few locomotives, jobs and days.

Every job is put on every day of every group, or left out; every visit asked for that no job makes
is tried in every group. Nothing but `kept.breaks` says whether a plan keeps the limits.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import numpy as np

from analytics.planning.problem import Problem
from tests.planning.kept import Visit, breaks, of_one_visit, worth

MANY = 1_000

Place = tuple[int, int]


def best_plan(problem: Problem) -> tuple[float, list[Visit]] | None:
    """The greatest worth and a plan that has it; None where no plan keeps all limits."""
    best: tuple[float, list[Visit]] | None = None
    for visits in all_plans(problem):
        value = worth(problem, visits)
        if (best is None or value > best[0]) and not breaks(problem, visits):
            best = value, visits
    return best


def has_plan(problem: Problem) -> bool:
    """Whether any plan keeps all limits; jobs that need not be done are never needed for it."""
    needed = replace(problem, value=np.where(problem.must[:, None], problem.value, -np.inf))
    return any(not breaks(needed, visits) for visits in all_plans(needed))


def all_plans(problem: Problem) -> Iterator[list[Visit]]:
    per_job = [places_of(problem, j) for j in range(len(problem.days))]
    for chosen in product(*per_job):
        made: dict[tuple[int, int, int], list[int]] = {}
        for j, place in enumerate(chosen):
            if place is not None:
                made.setdefault((int(problem.locomotive[j]), *place), []).append(j)
        asked = set(zip(problem.pin_locomotive.tolist(), problem.pin_day.tolist(), strict=True))
        empty = [pin for pin in asked if not any((k[0], k[2]) == pin for k in made)]
        for groups in product(range(problem.berths.shape[0]), repeat=len(empty)):
            more = {(loco, g, d): [] for (loco, d), g in zip(empty, groups, strict=True)}
            visits = [with_last(problem, key, jobs) for key, jobs in (made | more).items()]
            if all(v is not None for v in visits):
                yield [v for v in visits if v is not None]


def places_of(problem: Problem, job: int) -> list[Place | None]:
    """Where a job may be done were it alone; nowhere too unless it must be done."""
    loco = int(problem.locomotive[job])
    found: list[Place | None] = [] if problem.must[job] else [None]
    for group, day in np.ndindex(*problem.berths.shape):
        visit = with_last(problem, (loco, group, day), [job])
        if visit is not None and not of_one_visit(problem, visit):
            found.append((group, day))
    return found


def with_last(problem: Problem, key: tuple[int, int, int], jobs: list[int]) -> Visit | None:
    loco, group, first = key
    opened = [d for d in range(first, problem.berths.shape[1]) if problem.berths[group, d] > 0]
    length = max([1] + [int(problem.days[j]) for j in jobs])
    if not opened or opened[0] != first or len(opened) < length:
        return None
    return Visit(loco, group, first, opened[length - 1], jobs)


def tiny_problem(rng: np.random.Generator) -> Problem:
    """A few locomotives, jobs and days with every kind of limit."""
    locos, groups = int(rng.integers(1, 4)), int(rng.integers(1, 3))
    days, jobs, classes = int(rng.integers(3, 7)), int(rng.integers(1, 5)), int(rng.integers(1, 3))
    is_open = rng.random((groups, days)) < 0.75
    lengths = rng.choice([1, 2, 3], jobs, p=[0.55, 0.3, 0.15])
    value = rng.integers(-3, 12, (jobs, days)).astype(float)
    value[rng.random((jobs, days)) < 0.3] = -np.inf
    pins = int(rng.random() < 0.3)
    return Problem(
        berths=is_open * rng.integers(1, 3, (groups, 1)),
        takes=rng.random((groups, locos)) < 0.85,
        free=rng.random((locos, days)) < 0.92,
        day_cost=rng.integers(0, 4, (locos, days)).astype(float),
        class_of=rng.integers(0, classes, locos),
        absent_most=rng.choice([0, 1, 1, 2, 3], (classes, days)),
        labour=rng.choice([0.0, 2.0, 4.0, 8.0], (2, days), p=[0.1, 0.3, 0.4, 0.2]),
        supply=np.cumsum(rng.choice([0, 1], (1, days), p=[0.6, 0.4]), axis=1),
        locomotive=rng.integers(0, locos, jobs),
        days=lengths,
        value=value,
        end_by=rng.choice([days - 1, days - 1, max(days - 2, 0)], jobs),
        must=rng.random(jobs) < 0.3,
        hours=rng.choice([0.0, 1.0, 2.0, 4.0], (jobs, 2)) * np.sqrt(lengths)[:, None],
        parts=rng.choice([0, 1], (jobs, 1), p=[0.6, 0.4]),
        fits=rng.random((jobs, groups)) < 0.85,
        pin_locomotive=rng.integers(0, locos, pins),
        pin_day=rng.integers(0, days, pins),
    )
