"""What is left of every limit while visits are placed one after another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.planning.bundles import SLACK
from analytics.planning.columns import Columns
from analytics.planning.problem import BoolArray, FloatArray, IntArray
from analytics.planning.visits import Visits, over_span


@dataclass(frozen=True, slots=True, eq=False)
class Offers:
    """What a locomotive may do in the room left: M jobs, in the order asked.

    Attributes
    ----------
    jobs : (M,) jobs considered
    done : (M, G, D, K) whether the job fits into the visit
    possible : (G, D, K) whether there is room for the visit
    worth : (G, D, K) of the visit with these jobs; -inf where there is no room
    """

    jobs: IntArray
    done: BoolArray
    possible: BoolArray
    worth: FloatArray


class Room:
    """Berths, labour, spares and traffic left, and the days on which a locomotive is busy."""

    def __init__(self, visits: Visits) -> None:
        problem = visits.problem
        self.visits = visits
        self.berths = problem.berths.copy()
        self.labour = problem.labour.astype(np.float64)
        self.supply = problem.supply.copy()
        self.traffic = problem.absent_most.copy()
        self.busy = np.zeros(problem.free.shape, dtype=np.bool_)
        self.done = np.zeros(problem.days.size, dtype=np.bool_)
        self.placed: list[tuple[int, int, int, int, IntArray]] = []

    def offers(self, locomotive: int, first: IntArray) -> Offers:
        """Fill every visit of a locomotive with the jobs that fit, the most valuable first.

        Parameters
        ----------
        locomotive
            Whose visits.
        first
            Jobs to be taken before all others, whatever they are worth.
        """
        visits, problem = self.visits, self.visits.problem
        possible = self._possible(locomotive)
        jobs = visits.jobs_of[locomotive]
        jobs = jobs[(jobs >= 0) & ~self.done[jobs] & ~np.isin(jobs, first)]
        jobs = np.concatenate([first, jobs]).astype(np.int64)
        labour = self._labour_left()
        used = np.zeros((*labour.shape, visits.lengths.size))
        supply = np.minimum.accumulate(self.supply[:, ::-1], axis=1)[:, ::-1]
        pieces = np.zeros((supply.shape[0], *possible.shape), dtype=np.int64)
        worth = np.where(possible, -visits.cost[locomotive], -np.inf)
        done = np.zeros((jobs.size, *possible.shape), dtype=np.bool_)
        wanted = problem.must[jobs] | np.isin(jobs, first)
        for place, job in enumerate(jobs):
            length = visits.length_of[job]
            value = problem.value[job]
            fits = possible & visits.job_can[job][:, :, None]
            fits &= ((value > 0) | wanted[place])[:, None]
            fits[:, :, :length] = False
            need = np.zeros(labour.shape[:1] + labour.shape[3:])
            need[:, : problem.days[job]] = problem.hours[job][:, None] / problem.days[job]
            more = need[:, None, None, :, None]
            fits &= ((used + more <= labour[..., None] + SLACK) | (more == 0)).all(axis=(0, 3))
            parts = problem.parts[job][:, None, None, None]
            fits &= ((pieces + parts <= supply[:, None, :, None]) | (parts == 0)).all(axis=0)
            used += more * fits[None, :, :, None, :]
            pieces += parts * fits
            worth += np.where(fits, np.where(fits, value[:, None], 0.0), 0.0)
            done[place] = fits
        return Offers(jobs, done, possible, worth)

    def take(self, locomotive: int, where: tuple[int, int, int], jobs: IntArray) -> None:
        """Place a visit (group, first day, length) with its jobs."""
        visits, problem = self.visits, self.visits.problem
        group, first, length = where
        last = visits.last[group, first, length]
        self.berths[group, first : last + 1] -= 1
        self.traffic[problem.class_of[locomotive], first : last + 1] -= 1
        self.busy[locomotive, first : last + 1] = True
        self.done[jobs] = True
        for job in jobs:
            days = visits.day_at[group, first, : problem.days[job]]
            self.labour[:, days] -= problem.hours[job][:, None] / problem.days[job]
        self.supply[:, first:] -= problem.parts[jobs].sum(axis=0)[:, None]
        self.placed.append((locomotive, group, first, length, jobs))

    def has_room(self, locomotive: int, where: tuple[int, int, int], jobs: IntArray) -> bool:
        """Tell whether a visit with just these jobs can be placed."""
        visits, problem = self.visits, self.visits.problem
        group, first, length = where
        if not self._possible(locomotive)[group, first, length] or self.done[jobs].any():
            return False
        need = np.zeros_like(self.labour)
        for job in jobs:
            days = visits.day_at[group, first, : problem.days[job]]
            need[:, days] += problem.hours[job][:, None] / problem.days[job]
        pieces = problem.parts[jobs].sum(axis=0)[:, None]
        enough = ((self.supply[:, first:] >= pieces) | (pieces == 0)).all()
        return bool(enough and ((need <= self.labour + SLACK) | (need == 0)).all())

    def take_all(self, plan: Columns) -> None:
        """Place every visit of a plan that keeps the limits."""
        for at in range(plan.size):
            self.take(*self._visit(plan, at))

    def take_if_room(self, plan: Columns, at: int) -> bool:
        """Place one visit of many, if there is room for it with just these jobs."""
        visit = self._visit(plan, at)
        fits = self.has_room(*visit)
        if fits:
            self.take(*visit)
        return fits

    def _visit(self, plan: Columns, at: int) -> tuple[int, tuple[int, int, int], IntArray]:
        loco = int(plan.locomotive[at])
        where = (int(plan.group[at]), int(plan.first[at]), int(plan.length[at]))
        return loco, where, self.visits.jobs_of[loco][plan.done[at]]

    def plan(self) -> Columns:
        """Return the visits placed."""
        none = np.zeros((0, 4), dtype=np.int64)
        where = np.array([visit[:4] for visit in self.placed], dtype=np.int64).reshape(-1, 4)
        where = where if where.size else none
        table = self.visits.jobs_of
        done = np.zeros((where.shape[0], table.shape[1]), dtype=np.bool_)
        for row, visit in enumerate(self.placed):
            done[row] = np.isin(table[visit[0]], visit[4])
        return Columns(where[:, 0], where[:, 1], where[:, 2], where[:, 3], done)

    def _possible(self, locomotive: int) -> BoolArray:
        visits, problem = self.visits, self.visits.problem
        groups = np.arange(problem.berths.shape[0])
        full = ((self.berths <= 0) & (problem.berths > 0)).astype(np.float64)
        taken = over_span(full, visits.last)[groups, groups]
        out = (self.traffic[problem.class_of[locomotive]] <= 0) | self.busy[locomotive]
        taken = taken + over_span(out[None].astype(np.float64), visits.last)[0]
        possible: BoolArray = visits.can[locomotive] & (taken == 0)
        return possible

    def _labour_left(self) -> FloatArray:
        """Return (S, G, D, N): hours left on the n-th open day of a visit, 0 where none."""
        on = self.visits.day_at
        left: FloatArray = np.where(on >= 0, self.labour[:, on], 0.0)
        return left
