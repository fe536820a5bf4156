"""A plan made better piece by piece: most of it held, the rest searched exactly.

References
----------
Shaw, P. (1998) Using constraint programming and local search methods to solve vehicle routing
problems. Principles and Practice of Constraint Programming, LNCS 1520, 417-431.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from analytics.planning.columns import Columns
from analytics.planning.kept import keep, keep_columns, solve_kept
from analytics.planning.master import regret_of
from analytics.planning.pricing import Priced, worth_keeping
from analytics.planning.problem import BoolArray, FloatArray
from analytics.planning.visits import Visits

_SIZE = 400
_MOST_COLUMNS = 8_000
_CLOSE = 2e-3
_SECONDS = 2.0
_SEED = 1998
_LOCOMOTIVES, _WINDOW = 14, 9


def pieces(visits: Visits, plan: Callable[[], Columns]) -> Iterator[BoolArray]:
    """Yield without end which visits (L, D) are free: some locomotives, or all around some days."""
    rng = np.random.default_rng(_SEED)
    count, _, days, _ = visits.shape
    while True:
        free = np.zeros((count, days), dtype=np.bool_)
        first = int(rng.integers(0, max(days - _WINDOW, 0) + 1))
        free[:, first : first + _WINDOW] = True
        yield free
        here = plan()
        near = np.unique(here.locomotive[np.abs(here.first - first) <= _WINDOW])
        some = rng.permutation(count)[: _LOCOMOTIVES // 2]
        near = rng.permutation(near)[: _LOCOMOTIVES - some.size]
        free = np.zeros((count, days), dtype=np.bool_)
        free[np.concatenate([near, some])] = True
        yield free


def combine(
    visits: Visits,
    priced: Priced,
    columns: Columns,
    plan: Columns,
    *,
    scale: float,
    seconds: float,
    target: float = np.inf,
) -> Columns | None:
    """Search among the visits that the prices were found with, each with its jobs as they are.

    Parameters
    ----------
    visits, priced
        What the problem allows, at prices that tell which visits matter.
    columns
        Visits to choose from.
    plan
        A plan whose visits are chosen from too.
    scale
        Worth that the solver takes as 1.
    seconds
        Most time to spend.
    target
        Worth from which on a plan is good enough.
    """
    short = regret_of(visits, priced, columns)
    near = np.argsort(short, kind="stable")[:_MOST_COLUMNS]
    some = Columns.join([plan, columns.take(near)])
    kept = keep_columns(visits, some)
    return solve_kept(kept, scale, seconds=seconds, gap=_CLOSE, target=target).plan


def improve(
    visits: Visits, priced: Priced, plan: Columns, free: BoolArray, *, scale: float, seconds: float
) -> Columns | None:
    """Search the free visits, with all others of the plan held or left out.

    Parameters
    ----------
    visits, priced
        What the problem allows, at prices that tell which visits matter.
    plan
        The plan to be made better.
    free : (L, D)
        Visits that may be made anew, by locomotive and first day.
    scale
        Worth that the solver takes as 1.
    seconds
        Most time to spend.
    """
    regret = np.where(free[:, None, :, None], priced.regret(visits), np.inf)
    loco = visits.problem.locomotive
    most = _limit(regret)
    keep_visit, keep_job = worth_keeping(visits, priced, most)
    keep_visit &= free[:, None, :, None]
    keep_job &= free[loco][:, None, :]
    keep_visit[plan.locomotive, plan.group, plan.first, plan.length] = True
    column, place = np.nonzero(plan.done)
    job = visits.jobs_of[plan.locomotive[column], place]
    keep_job[job, plan.group[column], plan.first[column]] = True
    kept = keep(visits, keep_visit, keep_job)
    return solve_kept(kept, scale, seconds=min(seconds, _SECONDS), gap=1e-4).plan


def _limit(regret: FloatArray) -> float:
    """Return the regret that leaves no more than `_SIZE` visits."""
    finite = regret[np.isfinite(regret)]
    if finite.size <= _SIZE:
        return float(finite.max(initial=0.0))
    return float(np.partition(finite, _SIZE)[_SIZE])
