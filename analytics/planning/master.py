"""Prices of the shared limits from a linear programme over visits made as they are needed.

A column is a visit with its jobs; the programme may take parts of columns. At its prices the
worthiest visits are added and it is solved again, until the bound and the programme meet: the
bound is then that of the whole linear relaxation, jobs chosen visit by visit.

References
----------
Gilmore, P. C. & Gomory, R. E. (1961) A linear programming approach to the cutting-stock problem.
Operations Research 9, 849-859.
"""

from __future__ import annotations

from collections.abc import Callable

import highspy
import numpy as np
from scipy import sparse

from analytics.planning.bundles import overloaded, uses_of
from analytics.planning.columns import Columns, Rows, column_entries, column_worth, covered
from analytics.planning.highs import quiet_highs
from analytics.planning.pricing import Priced, Prices, price
from analytics.planning.problem import FloatArray, IntArray
from analytics.planning.visits import Visits

_MOST_AT_ONCE = 1_000
_CLOSE = 2e-4
_TINY = 1e-9


def best_columns(visits: Visits, priced: Priced) -> Columns:
    """Return the best visits of every locomotive in turn, and its best in every group.

    Only the `_MOST_AT_ONCE` worthiest of them, so that the programme stays small.
    """
    count, groups, _, lengths = visits.shape
    flat = priced.visit.reshape(count, groups, -1)
    best = flat.argmax(axis=2)
    worth = np.take_along_axis(flat, best[:, :, None], axis=2)[:, :, 0]
    loco, group = np.nonzero(worth > _TINY)
    first, length = np.divmod(best[loco, group], lengths)
    found = (np.stack([loco, group, first, length]), _schedule(visits, priced))
    here = np.unique(np.concatenate(found, axis=1), axis=1)
    most = np.argsort(-priced.visit[tuple(here)], kind="stable")[:_MOST_AT_ONCE]
    return with_best_jobs(visits, priced, here[:, most])


def _schedule(visits: Visits, priced: Priced) -> IntArray:
    """Follow the best visits of every locomotive from the first day on."""
    count, _, days, lengths = visits.shape
    where = np.zeros(count, dtype=np.int64)
    found = [np.zeros((4, 0), dtype=np.int64)]
    after = np.maximum(visits.last, 0) + 1
    for day in range(days):
        due = priced.ahead[:, day] > priced.ahead[:, day + 1] + _TINY
        here = np.flatnonzero((where <= day) & due)
        if not here.size:
            continue
        begun = priced.visit[here, :, day] + priced.ahead[here][:, after[:, day]]
        group, length = np.divmod(begun.reshape(here.size, -1).argmax(axis=1), lengths)
        where[here] = after[group, day, length]
        found.append(np.stack([here, group, np.full(here.size, day), length]))
    return np.concatenate(found, axis=1)


def with_best_jobs(visits: Visits, priced: Priced, here: IntArray) -> Columns:
    """Give visits (4, V) every job that is worth something at the prices."""
    locomotive, group, first, length = here
    jobs = visits.jobs_of[locomotive]
    short = (jobs >= 0) & (visits.length_of[jobs] <= length[:, None])
    done = short & (priced.job[jobs, group[:, None], first[:, None]] > 0)
    flat = np.ravel_multi_index((locomotive, group, first, length), visits.shape)
    bundles = priced.bundles
    if bundles.visit.size:
        at = np.minimum(np.searchsorted(bundles.visit, flat), bundles.visit.size - 1)
        known = bundles.visit[at] == flat
        done[known] = bundles.done[at[known]]
    fits = ~overloaded(*uses_of(visits, locomotive, group, first), done)
    return Columns(locomotive, group, first, length, done).take(fits)


def regret_of(visits: Visits, priced: Priced, columns: Columns) -> FloatArray:
    """How much a plan falls short of the bound at least when it has a visit with these jobs."""
    here = (columns.locomotive, columns.group, columns.first)
    jobs = visits.jobs_of[columns.locomotive]
    worth = priced.job[jobs, columns.group[:, None], columns.first[:, None]]
    could = (jobs >= 0) & (visits.length_of[jobs] <= columns.length[:, None])
    best = np.where(could, np.maximum(worth, 0.0), 0.0).sum(axis=1)
    short: FloatArray = best - np.where(columns.done, worth, 0.0).sum(axis=1)
    return short + priced.regret(visits)[(*here, columns.length)]


class Master:
    """The linear programme over the columns made so far."""

    def __init__(self, visits: Visits, columns: Columns, scale: float) -> None:
        self.visits, self.columns, self.scale = visits, columns, scale
        self.rows = Rows.of(visits.problem)
        self.apart_row = np.full(visits.problem.free.shape, -1, dtype=np.int64)
        self.known = set[bytes]()
        self.highs = quiet_highs()
        self.duals, self.share = np.zeros(0), np.zeros(0)
        self.value = -np.inf
        count = self.rows.lower.size
        nothing = np.zeros(0, dtype=np.int32)
        self.highs.addRows(
            count, self.rows.lower, self.rows.upper, 0, np.zeros(count, np.int32), nothing, []
        )
        self.columns = columns.take(np.zeros(0, dtype=np.int64))
        self.add(columns)

    def add(self, columns: Columns) -> int:
        """Add columns that are not there yet, and say how many."""
        keys = np.concatenate(
            [
                np.stack([columns.locomotive, columns.group, columns.first, columns.length], 1),
                np.packbits(columns.done, axis=1).astype(np.int64),
            ],
            axis=1,
        )
        fresh = np.array([key.tobytes() not in self.known for key in keys], dtype=np.bool_)
        self.known.update(key.tobytes() for key in keys[fresh])
        new = columns.take(fresh)
        if not new.size:
            return 0
        matrix = self._matrix(new).tocsc()
        count = new.size
        self.highs.addCols(
            count,
            -column_worth(self.visits, new) / self.scale,
            np.zeros(count),
            np.full(count, np.inf),
            matrix.nnz,
            matrix.indptr[:-1].astype(np.int32),
            matrix.indices.astype(np.int32),
            matrix.data,
        )
        self.columns = Columns.join([self.columns, new])
        return count

    def _matrix(self, columns: Columns) -> sparse.coo_array:
        rows, cols, data = column_entries(self.visits, self.rows, columns)
        which, day = covered(self.visits, columns)
        apart = self.apart_row[columns.locomotive[which], day]
        has = apart >= 0
        return sparse.coo_array(
            (
                np.concatenate([data, np.ones(int(has.sum()))]),
                (np.concatenate([rows, apart[has]]), np.concatenate([cols, which[has]])),
            ),
            shape=(self.highs.getNumRow(), columns.size),
        )

    def solve(self, seconds: float) -> bool:
        """Solve, adding rows where a locomotive would be in two berths at once."""
        self.highs.setOptionValue("time_limit", max(seconds, 0.01) + self.highs.getRunTime())
        for _ in range(20):
            self.highs.run()
            if self.highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                return False
            if not self._keep_apart():
                break
        solution = self.highs.getSolution()
        self.share = np.array(solution.col_value)
        self.duals = -np.array(solution.row_dual) * self.scale
        self.value = -self.highs.getObjectiveValue() * self.scale
        return True

    def prices(self) -> Prices:
        """Return the prices of the last solution."""
        count = self.rows.lower.size
        apart = np.zeros(self.apart_row.shape)
        has = self.apart_row >= 0
        apart[has] = np.maximum(self.duals[self.apart_row[has]], 0.0)
        return self.rows.prices(self.visits.problem, self.duals[:count], apart)

    def _keep_apart(self) -> bool:
        share = np.array(self.highs.getSolution().col_value)
        used = np.flatnonzero(share > _TINY)
        which, day = covered(self.visits, self.columns.take(used))
        loco = self.columns.locomotive[used][which]
        load = np.zeros(self.apart_row.shape)
        np.add.at(load, (loco, day), share[used][which])
        over = (load > 1 + 1e-6) & (self.apart_row < 0)
        over[:, 1:] &= load[:, 1:] > load[:, :-1] + _TINY
        loco, day = np.nonzero(over)
        if not loco.size:
            return False
        self.apart_row[loco, day] = self.highs.getNumRow() + np.arange(loco.size)
        which, day = covered(self.visits, self.columns)
        row = self.apart_row[self.columns.locomotive[which], day] - self.highs.getNumRow()
        new = row >= 0
        matrix = sparse.csr_array(
            (np.ones(int(new.sum())), (row[new], which[new])),
            shape=(loco.size, self.columns.size),
        )
        self.highs.addRows(
            loco.size,
            np.full(loco.size, -np.inf),
            np.ones(loco.size),
            matrix.nnz,
            matrix.indptr[:-1].astype(np.int32),
            matrix.indices.astype(np.int32),
            matrix.data,
        )
        return True


def find_prices(
    visits: Visits, columns: Columns, scale: float, seconds_left: Callable[[], float]
) -> tuple[Priced, Master]:
    """Solve the relaxation as far as time allows.

    Parameters
    ----------
    visits
        What the problem allows.
    columns
        Visits of a plan that keeps all limits, so that the first programme can be solved.
    scale
        Worth that the solver takes as 1.
    seconds_left
        Tells how many seconds are left.

    Returns
    -------
    priced : the best bound met on the way, with its prices
    master : the programme with all its columns
    """
    master = Master(visits, columns, scale)
    best = price(visits, Prices.free(visits.problem))
    master.add(best_columns(visits, best))
    while seconds_left() > 0 and master.solve(seconds_left()):
        priced = price(visits, master.prices())
        if priced.bound < best.bound:
            best = priced
        if best.bound - master.value <= _CLOSE * abs(best.bound):
            break
        if not master.add(best_columns(visits, priced)):
            break
    return best, master
