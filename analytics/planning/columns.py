"""Visits with their jobs, in columns, and the rows of the limits that they share.

A plan is such columns too: those of its visits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.planning.bundles import SLACK
from analytics.planning.pricing import Prices
from analytics.planning.problem import BoolArray, FloatArray, IntArray, Problem
from analytics.planning.visits import Visits


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Visits with jobs: (V,) each, and (V, M) whether each job of the locomotive is done."""

    locomotive: IntArray
    group: IntArray
    first: IntArray
    length: IntArray
    done: BoolArray

    @property
    def size(self) -> int:
        """Number of columns."""
        return int(self.locomotive.size)

    def take(self, which: IntArray | BoolArray) -> Columns:
        """Return some of them."""
        return Columns(
            self.locomotive[which],
            self.group[which],
            self.first[which],
            self.length[which],
            self.done[which],
        )

    @staticmethod
    def join(parts: list[Columns]) -> Columns:
        """Put columns one after another."""
        return Columns(
            np.concatenate([part.locomotive for part in parts]),
            np.concatenate([part.group for part in parts]),
            np.concatenate([part.first for part in parts]),
            np.concatenate([part.length for part in parts]),
            np.concatenate([part.done for part in parts]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Where each limit stands among the rows of the linear programme, and how it is bounded."""

    supply_spare: IntArray
    supply_day: IntArray
    starts: IntArray
    lower: FloatArray
    upper: FloatArray

    @staticmethod
    def of(problem: Problem) -> Rows:
        """Number the rows: berths, labour, supply, traffic, jobs, pins."""
        rises = np.ones(problem.supply.shape, dtype=np.bool_)
        rises[:, :-1] = problem.supply[:, 1:] > problem.supply[:, :-1]
        spare, day = np.nonzero(rises)
        upper = (
            problem.berths.ravel(),
            problem.labour.ravel(),
            problem.supply[spare, day],
            problem.absent_most.ravel(),
            np.ones(problem.days.size),
            np.full(problem.pin_day.size, np.inf),
        )
        sizes = [part.size for part in upper]
        lower = np.full(sum(sizes), -np.inf)
        starts = np.concatenate([[0], np.cumsum(sizes)])
        lower[starts[4] : starts[5]][problem.must] = 1.0
        lower[starts[5] :] = 1.0
        return Rows(spare, day, starts, lower, np.concatenate(upper).astype(np.float64))

    def prices(self, problem: Problem, duals: FloatArray, apart: FloatArray) -> Prices:
        """Sort the prices of the rows by the limit they belong to."""
        part = [duals[a:b] for a, b in zip(self.starts[:-1], self.starts[1:], strict=True)]
        supply = np.zeros(problem.supply.shape)
        supply[self.supply_spare, self.supply_day] = np.maximum(part[2], 0.0)
        return Prices(
            berths=np.maximum(part[0], 0.0).reshape(problem.berths.shape) * (problem.berths > 0),
            labour=np.maximum(part[1], 0.0).reshape(problem.labour.shape),
            supply=supply,
            traffic=np.maximum(part[3], 0.0).reshape(problem.absent_most.shape),
            job=np.where(problem.must, part[4], np.maximum(part[4], 0.0)),
            apart=apart,
            pin=np.minimum(part[5], 0.0),
        )


def column_worth(visits: Visits, columns: Columns) -> FloatArray:
    """What each visit with its jobs is worth in a plan."""
    jobs = visits.jobs_of[columns.locomotive]
    value = np.where(columns.done, visits.problem.value[jobs, columns.first[:, None]], 0.0)
    cost = visits.cost[columns.locomotive, columns.group, columns.first, columns.length]
    worth: FloatArray = value.sum(axis=1) - cost
    return worth


def covered(visits: Visits, columns: Columns) -> tuple[IntArray, IntArray]:
    """Every day of every column: which column, which day."""
    last = visits.last[columns.group, columns.first, columns.length]
    span = last - columns.first + 1
    which = np.repeat(np.arange(columns.size), span)
    offset = np.arange(which.size) - np.repeat(np.cumsum(span) - span, span)
    return which, columns.first[which] + offset


def column_entries(
    visits: Visits, rows: Rows, columns: Columns
) -> tuple[IntArray, IntArray, FloatArray]:
    """Row, column and size of everything a visit uses up."""
    problem = visits.problem
    days = problem.free.shape[1]
    found: list[tuple[IntArray, IntArray, FloatArray]] = []
    which, day = covered(visits, columns)
    group = columns.group[which]
    is_open = problem.berths[group, day] > 0
    found.append((group[is_open] * days + day[is_open], which[is_open], np.ones(is_open.sum())))
    traffic = rows.starts[3] + problem.class_of[columns.locomotive[which]] * days + day
    found.append((traffic, which, np.ones(which.size)))
    column, place = np.nonzero(columns.done)
    job = visits.jobs_of[columns.locomotive[column], place]
    found.append((rows.starts[4] + job, column, np.ones(job.size)))
    found.append(_labour_entries(visits, rows, columns, column, job))
    taken, row = np.nonzero(
        (columns.first[column][:, None] <= rows.supply_day)
        & (problem.parts[job][:, rows.supply_spare] > 0)
    )
    pieces = problem.parts[job[taken], rows.supply_spare[row]].astype(np.float64)
    found.append((rows.starts[2] + row, column[taken], pieces))
    for pin, (loco, first) in enumerate(zip(problem.pin_locomotive, problem.pin_day, strict=True)):
        here = np.flatnonzero((columns.locomotive == loco) & (columns.first == first))
        found.append((np.full(here.size, rows.starts[5] + pin), here, np.ones(here.size)))
    joined = [np.concatenate(part) for part in zip(*found, strict=True)]
    return joined[0], joined[1], joined[2]


def _labour_entries(
    visits: Visits, rows: Rows, columns: Columns, column: IntArray, job: IntArray
) -> tuple[IntArray, IntArray, FloatArray]:
    problem = visits.problem
    taken, skill = np.nonzero(problem.hours[job] > 0)
    column, job = column[taken], job[taken]
    length = problem.days[job]
    which = np.repeat(np.arange(job.size), length)
    offset = np.arange(which.size) - np.repeat(np.cumsum(length) - length, length)
    day = visits.day_at[columns.group[column[which]], columns.first[column[which]], offset]
    row = rows.starts[1] + skill[which] * problem.labour.shape[1] + day
    share = problem.hours[job, skill] / length
    return row, column[which], share[which]


def tidy(visits: Visits, plan: Columns) -> Columns:
    """Leave out what a plan is better without: never breaks a limit, never loses worth.

    Jobs worth less than nothing go unless they must be done, visits that are not worth their days
    go unless a job must be done or they are asked for, and no visit is longer than its jobs.
    """
    problem = visits.problem
    jobs = visits.jobs_of[plan.locomotive]
    must = problem.must[jobs] & plan.done
    done = plan.done & (must | (problem.value[jobs, plan.first[:, None]] > 0))
    length = np.where(done, visits.length_of[jobs], 0).max(axis=1, initial=0)
    plan = Columns(plan.locomotive, plan.group, plan.first, length, done)
    asked = np.zeros(problem.free.shape, dtype=np.bool_)
    asked[problem.pin_locomotive, problem.pin_day] = True
    keep = must.any(axis=1) | asked[plan.locomotive, plan.first]
    return plan.take(keep | (column_worth(visits, plan) > 0))


def keeps_limits(visits: Visits, plan: Columns) -> bool:
    """Tell whether a plan keeps every limit."""
    here = (plan.locomotive, plan.group, plan.first)
    column, place = np.nonzero(plan.done)
    job = visits.jobs_of[plan.locomotive[column], place]
    allowed = visits.can[(*here, plan.length)].all()
    allowed &= visits.job_can[job, plan.group[column], plan.first[column]].all()
    if not allowed or (visits.length_of[job] > plan.length[column]).any():
        return False
    which, day = covered(visits, plan)
    load = np.zeros(visits.problem.free.shape)
    np.add.at(load, (plan.locomotive[which], day), 1.0)
    rows = Rows.of(visits.problem)
    row, _, size = column_entries(visits, rows, plan)
    total = np.bincount(row, weights=size, minlength=rows.upper.size)
    within = (total <= rows.upper + SLACK) & (total >= rows.lower - SLACK)
    return bool(within.all() and (load <= 1).all())
