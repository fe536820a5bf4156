"""Every visit that a problem allows, laid out once in arrays for the solver and the greedy plan.

A visit is (locomotive l, group g, first day d, length k): k counts the distinct job lengths, the
shortest first, so that `lengths[k]` is its number of open days. Which jobs are done in it comes
later; here stands only what no other visit can change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from analytics.planning.problem import BoolArray, FloatArray, IntArray, Problem

NO_DAY = -1


@dataclass(frozen=True, slots=True, eq=False)
class Visits:
    """The visits and jobs that a problem allows on their own: K lengths, at most M jobs each.

    Attributes
    ----------
    lengths : (K,) open days of a visit, rising from 1
    day_at : (G, D, N) the day of the n-th open day of a visit begun on d, -1 beyond the horizon
    last : (G, D, K) last day of a visit, -1 where there is none
    can : (L, G, D, K) whether the locomotive may make the visit
    cost : (L, G, D, K) its day costs, 0 where it may not
    length_of : (J,) index of the job's days among `lengths`
    job_can : (J, G, D) whether the job may be done in a visit begun there
    jobs_of : (L, M) jobs of each locomotive, the most valuable first, filled up with -1
    per_length : K matrices (L, jobs) that add the jobs of one length up by locomotive
    """

    problem: Problem
    lengths: IntArray
    day_at: IntArray
    last: IntArray
    can: BoolArray
    cost: FloatArray
    length_of: IntArray
    job_can: BoolArray
    jobs_of: IntArray
    per_length: tuple[tuple[IntArray, sparse.csr_array], ...]

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """L, G, D, K."""
        count, groups, days, lengths = self.can.shape
        return count, groups, days, lengths


def lay_out(problem: Problem) -> Visits:
    """Return every visit and job that is allowed on its own.

    Conventions
    -----------
    A job is over on its own `days`-th open day, whatever else keeps the locomotive longer; that
    day is held against `end_by`. A pinned locomotive makes no visit that would cover a pinned day
    without beginning on it.
    """
    lengths = np.unique(np.append(problem.days, 1)).astype(np.int64)
    day_at = _open_days(problem.berths > 0, int(lengths[-1]))
    last = day_at[:, :, lengths - 1]
    can = _allowed(problem, lengths, last)
    length_of = np.searchsorted(lengths, problem.days)
    return Visits(
        problem=problem,
        lengths=lengths,
        day_at=day_at,
        last=last,
        can=can,
        cost=np.where(can, over_span(problem.day_cost, last), 0.0),
        length_of=length_of,
        job_can=_jobs_allowed(problem, last, can, length_of),
        jobs_of=_jobs_of(problem),
        per_length=_adders(problem, length_of, lengths.size),
    )


def over_span(amount: FloatArray, last: IntArray) -> FloatArray:
    """Add an amount (R, D) up from the first to the last day of every visit: (R, G, D, K)."""
    total = np.zeros((amount.shape[0], amount.shape[1] + 1))
    np.cumsum(amount, axis=1, out=total[:, 1:])
    first = np.arange(amount.shape[1])[None, :, None]
    added: FloatArray = total[:, np.maximum(last, first - 1) + 1] - total[:, :-1][:, None, :, None]
    return added


def _open_days(is_open: BoolArray, most: int) -> IntArray:
    """Return (G, D, N): the n-th open day from d on, -1 where d is closed or none is left."""
    groups, days = is_open.shape
    found = np.full((groups, days, most), NO_DAY, dtype=np.int64)
    for group in range(groups):
        opened = np.flatnonzero(is_open[group])
        place = np.arange(opened.size)[:, None] + np.arange(most)
        inside = place < opened.size
        found[group, opened] = np.where(inside, opened[np.where(inside, place, 0)], NO_DAY)
    return found


def _allowed(problem: Problem, lengths: IntArray, last: IntArray) -> BoolArray:
    count = problem.free.shape[0]
    offered = np.zeros((count, lengths.size), dtype=np.bool_)
    offered[:, 0] = True
    offered[problem.locomotive, np.searchsorted(lengths, problem.days)] = True
    blocked = (~problem.free).astype(np.float64)
    can: BoolArray = (
        (last >= 0)[None]
        & problem.takes.T[:, :, None, None]
        & offered[:, None, None, :]
        & (over_span(blocked, last) == 0)
    )
    if problem.pin_day.size:
        pinned = np.zeros(blocked.shape)
        pinned[problem.pin_locomotive, problem.pin_day] = 1.0
        can &= over_span(pinned, last) - pinned[:, None, :, None] <= 0
    return can


def _jobs_allowed(
    problem: Problem, last: IntArray, can: BoolArray, length_of: IntArray
) -> BoolArray:
    over = np.moveaxis(last, 2, 0)[length_of]
    allowed: BoolArray = (
        np.moveaxis(can, 3, 1)[problem.locomotive, length_of]
        & problem.fits[:, :, None]
        & np.isfinite(problem.value)[:, None, :]
        & (over <= problem.end_by[:, None, None])
    )
    return allowed


def _jobs_of(problem: Problem) -> IntArray:
    count = problem.free.shape[0]
    best = np.max(problem.value, axis=1, initial=-np.inf)
    order = np.lexsort((-best, problem.locomotive))
    owner = problem.locomotive[order]
    place = np.arange(order.size) - np.searchsorted(owner, owner)
    table = np.full((count, int(place.max(initial=-1)) + 1), -1, dtype=np.int64)
    table[owner, place] = order
    return table


def _adders(
    problem: Problem, length_of: IntArray, lengths: int
) -> tuple[tuple[IntArray, sparse.csr_array], ...]:
    count = problem.free.shape[0]
    made = []
    for length in range(lengths):
        jobs = np.flatnonzero(length_of == length)
        place = (problem.locomotive[jobs], np.arange(jobs.size))
        adder = sparse.csr_array((np.ones(jobs.size), place), shape=(count, jobs.size))
        made.append((jobs, adder))
    return tuple(made)
