"""The mixed-integer programme over the visits and jobs that are kept.

One variable says whether a visit is made, one whether a job is done in a visit begun on a day of a
group; a job needs a visit that is long enough.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import highspy
import numpy as np
from scipy import sparse

from analytics.planning.bundles import uses_of
from analytics.planning.columns import Columns, Rows, column_entries, column_worth, covered
from analytics.planning.highs import quiet_highs
from analytics.planning.problem import BoolArray, FloatArray, IntArray
from analytics.planning.visits import Visits

_STATUS = highspy.HighsModelStatus
_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """V visits and Y jobs in visits begun on a day, as a programme A x between lower and upper.

    The first V variables are the visits. Rows that no choice can break are left out.
    """

    visits: Visits
    columns: Columns
    job: IntArray
    group: IntArray
    first: IntArray
    matrix: sparse.csr_array
    lower: FloatArray
    upper: FloatArray

    @property
    def size(self) -> int:
        """Number of variables."""
        return self.columns.size + int(self.job.size)

    def worth(self) -> FloatArray:
        """What each variable adds to a plan."""
        own = column_worth(self.visits, self.columns)
        return np.concatenate([own, self.visits.problem.value[self.job, self.first]])

    def plan(self, chosen: FloatArray) -> Columns:
        """Return the visits of a solution with their jobs."""
        count = self.columns.size
        made = np.flatnonzero(chosen[:count] > 0.5)
        columns = self.columns.take(made)
        at = np.full(self.visits.shape[:3], -1, dtype=np.int64)
        at[columns.locomotive, columns.group, columns.first] = np.arange(made.size)
        done = np.flatnonzero(chosen[count:] > 0.5)
        job = self.job[done]
        loco = self.visits.problem.locomotive[job]
        which = at[loco, self.group[done], self.first[done]]
        columns.done[which, self._place()[job]] = True
        return columns

    def _place(self) -> IntArray:
        place = np.zeros(self.visits.problem.days.size, dtype=np.int64)
        table = self.visits.jobs_of
        row, column = np.nonzero(table >= 0)
        place[table[row, column]] = column
        return place


def keep(visits: Visits, keep_visit: BoolArray, keep_job: BoolArray) -> Kept:
    """Write the programme of the visits (L, G, D, K) and jobs (J, G, D) that are kept."""
    none = np.zeros((int(keep_visit.sum()), visits.jobs_of.shape[1]), dtype=np.bool_)
    locomotive, opened, begun, length = np.nonzero(keep_visit)
    columns = Columns(locomotive, opened, begun, length, none)
    job, group, first = np.nonzero(keep_job)
    rows = Rows.of(visits.problem)
    shared = _shared(visits, rows, columns, (job, group, first))
    linked = _linked(visits, columns, (job, group, first))
    apart = _apart(visits, columns, job.size)
    within = _within(visits, columns, (job, group, first))
    matrix = sparse.vstack([shared, linked, within, apart], format="csr")
    more = linked.shape[0] + within.shape[0]
    lower = np.concatenate([rows.lower, np.full(more + apart.shape[0], -np.inf)])
    upper = np.concatenate([rows.upper, np.zeros(more), np.ones(apart.shape[0])])
    return _without_idle_rows(Kept(visits, columns, job, group, first, matrix, lower, upper))


def keep_columns(visits: Visits, columns: Columns) -> Kept:
    """Write the programme of visits whose jobs are settled."""
    none = np.zeros(0, dtype=np.int64)
    rows = Rows.of(visits.problem)
    row, column, size = column_entries(visits, rows, columns)
    shape = (rows.upper.size, columns.size)
    shared = sparse.csr_array((size, (row, column)), shape=shape)
    apart = _apart(visits, columns, 0)
    matrix = sparse.vstack([shared, apart], format="csr")
    lower = np.concatenate([rows.lower, np.full(apart.shape[0], -np.inf)])
    upper = np.concatenate([rows.upper, np.ones(apart.shape[0])])
    return _without_idle_rows(Kept(visits, columns, none, none, none, matrix, lower, upper))


def _without_idle_rows(kept: Kept) -> Kept:
    """Leave out rows that no choice can break."""
    most = np.asarray(kept.matrix.maximum(0).sum(axis=1)).ravel()
    binds = (most > kept.upper) | (kept.lower > -np.inf)
    return replace(
        kept, matrix=kept.matrix[binds], lower=kept.lower[binds], upper=kept.upper[binds]
    )


def _shared(
    visits: Visits, rows: Rows, columns: Columns, jobs: tuple[IntArray, IntArray, IntArray]
) -> sparse.csr_array:
    """Rows of the shared limits: what visits use, then what jobs use."""
    row, column, size = column_entries(visits, rows, columns)
    job, group, first = jobs
    loco = visits.problem.locomotive[job]
    alone = np.zeros((job.size, visits.jobs_of.shape[1]), dtype=np.bool_)
    alone[visits.jobs_of[loco] == job[:, None]] = True
    single = Columns(loco, group, first, visits.length_of[job], alone)
    job_row, job_column, job_size = column_entries(visits, rows, single)
    of_job = ((job_row >= rows.starts[1]) & (job_row < rows.starts[3])) | (
        (job_row >= rows.starts[4]) & (job_row < rows.starts[5])
    )
    place = (
        np.concatenate([row, job_row[of_job]]),
        np.concatenate([column, columns.size + job_column[of_job]]),
    )
    shape = (rows.upper.size, columns.size + job.size)
    return sparse.csr_array((np.concatenate([size, job_size[of_job]]), place), shape=shape)


def _linked(
    visits: Visits, columns: Columns, jobs: tuple[IntArray, IntArray, IntArray]
) -> sparse.csr_array:
    """A job is done only in a visit of its locomotive begun there that is long enough."""
    job, group, first = jobs
    count, shape = columns.size, visits.shape
    at = np.full(shape, -1, dtype=np.int64)
    at[columns.locomotive, columns.group, columns.first, columns.length] = np.arange(count)
    choice = at[visits.problem.locomotive[job], group, first]
    enough = (np.arange(shape[3]) >= visits.length_of[job][:, None]) & (choice >= 0)
    row, length = np.nonzero(enough)
    place = (
        np.concatenate([np.arange(job.size), row]),
        np.concatenate([count + np.arange(job.size), choice[row, length]]),
    )
    data = np.concatenate([np.ones(job.size), -np.ones(row.size)])
    return sparse.csr_array((data, place), shape=(job.size, count + job.size))


def _begun_at(
    visits: Visits, columns: Columns, begun: IntArray, over: BoolArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Return the visits that begin at one of the places (3, B), at which, and what is short."""
    number = np.full(visits.shape[:3], -1, dtype=np.int64)
    number[tuple(begun)] = np.arange(begun.shape[1])
    which = number[columns.locomotive, columns.group, columns.first]
    found = np.flatnonzero(which >= 0)
    row, short = np.nonzero(over[which[found]])
    return found[row], which[found[row]], short


def _within(
    visits: Visits, columns: Columns, jobs: tuple[IntArray, IntArray, IntArray]
) -> sparse.csr_array:
    """No visit holds more work than its own days have labour and spares for.

    Whole visits keep this anyway; parts of visits would not.
    """
    job, group, first = jobs
    loco = visits.problem.locomotive[job]
    begun, at = np.unique(np.stack([loco, group, first]), axis=1, return_inverse=True)
    use, limit = uses_of(visits, *begun)
    own = use[at][visits.jobs_of[loco] == job[:, None]]
    total = np.zeros(limit.shape)
    np.add.at(total, at, own)
    over = (total > limit) & np.isfinite(limit)
    number = np.where(over, np.cumsum(over.ravel()).reshape(over.shape) - 1, -1)
    row, kind = np.nonzero((own > 0) & over[at])
    visit, which, limited = _begun_at(visits, columns, begun, over)
    place = (
        np.concatenate([number[at[row], kind], number[which, limited]]),
        np.concatenate([columns.size + row, visit]),
    )
    data = np.concatenate([own[row, kind], -limit[which, limited]])
    shape = (int(over.sum()), columns.size + job.size)
    return sparse.csr_array((data, place), shape=shape)


def _apart(visits: Visits, columns: Columns, jobs: int) -> sparse.csr_array:
    """A locomotive is in one berth at a time: days on which a visit begins are enough."""
    days = visits.shape[2]
    which, day = covered(visits, columns)
    slot = columns.locomotive[which] * days + day
    begins = np.unique(columns.locomotive * days + columns.first)
    row = np.searchsorted(begins, slot)
    there = (row < begins.size) & (begins[np.minimum(row, begins.size - 1)] == slot)
    shape = (begins.size, columns.size + jobs)
    return sparse.csr_array((np.ones(int(there.sum())), (row[there], which[there])), shape=shape)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What the solver found: a plan or none, a bound, and whether there can be none."""

    plan: Columns | None
    bound: float
    impossible: bool


def solve_kept(
    kept: Kept,
    scale: float,
    *,
    seconds: float,
    gap: float = 0.0,
    worth: FloatArray | None = None,
    target: float = np.inf,
) -> Outcome:
    """Solve the programme.

    Parameters
    ----------
    kept
        The programme.
    scale
        Worth that the solver takes as 1.
    seconds
        Time given.
    gap
        Share of the plan's worth within which it may stop.
    worth
        (V + Y,) worth of the variables, where it is not that of the plan.

    target
        Worth from which on a plan is good enough.

    Returns
    -------
    Outcome
        `bound` allows for the solver's tolerances.
    """
    gain = (kept.worth() if worth is None else worth) / scale
    if not kept.size:
        impossible = bool((kept.lower > 0).any())
        return Outcome(None if impossible else kept.columns, 0.0, impossible)
    highs = quiet_highs()
    highs.passModel(_model(kept, gain))
    for name, value in (
        ("time_limit", max(seconds, 0.01)),
        ("mip_rel_gap", gap),
        ("mip_abs_gap", 1e-7),
        ("objective_target", -target / scale),
        ("mip_heuristic_run_feasibility_jump", False),
    ):
        highs.setOptionValue(name, value)
    # No plan to begin from is handed over: HiGHS 1.16.0 may mistake its worth once it presolved.
    highs.run()
    status = highs.getModelStatus()
    if status in (_STATUS.kInfeasible, _STATUS.kUnboundedOrInfeasible):
        return Outcome(None, -np.inf, impossible=True)
    info = highs.getInfo()
    bound = -info.mip_dual_bound
    allowed = _TOLERANCE * (1.0 + abs(bound)) if np.isfinite(bound) else 0.0
    plan = None
    if info.primal_solution_status == 2:
        plan = kept.plan(np.array(highs.getSolution().col_value))
    return Outcome(plan, (bound + allowed) * scale, impossible=False)


def _model(kept: Kept, gain: FloatArray) -> highspy.HighsLp:
    model = highspy.HighsLp()
    count, rows = kept.size, kept.lower.size
    model.num_col_, model.num_row_ = count, rows
    model.col_cost_ = -gain
    model.col_lower_, model.col_upper_ = np.zeros(count), np.ones(count)
    model.row_lower_, model.row_upper_ = kept.lower, kept.upper
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = kept.matrix.indptr.astype(np.int32)
    model.a_matrix_.index_ = kept.matrix.indices.astype(np.int32)
    model.a_matrix_.value_ = kept.matrix.data
    model.integrality_ = [highspy.HighsVarType.kInteger] * count
    return model
