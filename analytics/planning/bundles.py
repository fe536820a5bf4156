"""The best jobs of a visit where labour or spares would not last for all that are worth doing.

Without this a part of a visit could hold more work than its days have labour for, and the bound
would lie well above every plan wherever labour is short.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.planning.problem import BoolArray, FloatArray, IntArray
from analytics.planning.visits import Visits

SLACK = 1e-6
"""By how much a sum of labour hours may exceed its limit: rounding, a hundredth of a second."""
MOST_VISITS = 2_000
_MOST_JOBS = 9
_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Bundles:
    """Best jobs of visits that cannot hold all that is worth doing.

    Attributes
    ----------
    visit : (B,) flat places in (L, G, D, K), rising
    done : (B, M) the jobs chosen
    lost : (B,) worth of what had to be left out, at least
    """

    visit: IntArray
    done: BoolArray
    lost: FloatArray


def choose_bundles(visits: Visits, job: FloatArray, visit: FloatArray) -> Bundles:
    """Choose the jobs of the worthiest visits that are overloaded.

    Parameters
    ----------
    visits
        What the problem allows.
    job : (J, G, D)
        Worth of jobs.
    visit : (L, G, D, K)
        Worth of visits with every job that is worth something.

    Limits
    ------
    At most `MOST_VISITS` visits are looked at, and in each the `_MOST_JOBS` worthiest jobs; what
    else is worth doing counts in full and is not chosen. `lost` never exceeds what is truly lost.
    """
    flat = visit.ravel()
    place = np.flatnonzero(flat > 0)
    if place.size > MOST_VISITS:
        place = np.sort(place[np.argpartition(-flat[place], MOST_VISITS)[:MOST_VISITS]])
    at = np.unravel_index(place, visits.shape)
    jobs = visits.jobs_of[at[0]]
    worth = np.where(jobs >= 0, job[jobs, at[1][:, None], at[2][:, None]], -np.inf)
    worth = np.where(visits.length_of[jobs] <= at[3][:, None], worth, -np.inf)
    use, limit = _uses(visits, jobs, at[1], at[2])
    over = overloaded(use, limit, worth > 0)
    done, lost = np.zeros((int(over.sum()), jobs.shape[1]), dtype=np.bool_), np.zeros(over.sum())
    worth, use, limit = worth[over], use[over], limit[over]
    for begin in range(0, lost.size, _AT_ONCE):
        part = slice(begin, begin + _AT_ONCE)
        done[part], lost[part] = _best_subset(worth[part], use[part], limit[part])
    return Bundles(place[over], done, lost)


def overloaded(use: FloatArray, limit: FloatArray, done: BoolArray) -> BoolArray:
    """Tell which visits need more than a limit leaves, all else left aside."""
    total = np.einsum("vmr,vm->vr", use, done.astype(np.float64))
    over: BoolArray = ((total > limit + SLACK) & (total > 0)).any(axis=1)
    return over


def uses_of(
    visits: Visits, locomotive: IntArray, group: IntArray, first: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return what each job (V, M, R) of a visit takes of labour and spares, and the limits."""
    return _uses(visits, visits.jobs_of[locomotive], group, first)


def _uses(
    visits: Visits, jobs: IntArray, group: IntArray, first: IntArray
) -> tuple[FloatArray, FloatArray]:
    problem = visits.problem
    on = visits.day_at[group, first]
    count, most = on.shape
    labour = np.where(on >= 0, problem.labour[:, on], np.inf)
    lasts = np.arange(most) < problem.days[:, None]
    share = problem.hours / problem.days[:, None]
    per_day = share[:, :, None] * lasts[:, None, :]
    per_job = per_day.reshape(problem.days.size, problem.labour.shape[0] * most)
    per_job = np.concatenate([per_job, problem.parts], axis=1)
    supply = np.minimum.accumulate(problem.supply[:, ::-1], axis=1)[:, ::-1][:, first]
    per_visit = np.moveaxis(labour, 0, 1).reshape(count, per_job.shape[1] - supply.shape[0])
    limit = np.concatenate([per_visit, supply.T], axis=1)
    return per_job[jobs], limit


def _best_subset(
    worth: FloatArray, use: FloatArray, limit: FloatArray
) -> tuple[BoolArray, FloatArray]:
    """Try all subsets of the worthiest jobs of each visit."""
    most = min(_MOST_JOBS, int((worth > 0).sum(axis=1).max()))
    top = np.argsort(-worth, axis=1, kind="stable")[:, :most]
    gain = np.maximum(np.take_along_axis(worth, top, axis=1), 0.0)
    taken = np.take_along_axis(use, top[:, :, None], axis=1)
    subsets = (np.arange(2**most)[:, None] >> np.arange(most)) & 1
    total = np.matmul(subsets.astype(np.float64), taken)
    fits = ((total <= limit[:, None, :] + SLACK) | (total == 0)).all(axis=2)
    value = np.where(fits, gain @ subsets.T.astype(np.float64), -np.inf)
    best = value.argmax(axis=1)
    lost = gain.sum(axis=1) - value[np.arange(best.size), best]
    done = np.zeros(worth.shape, dtype=np.bool_)
    np.put_along_axis(done, top, subsets[best].astype(np.bool_) & (gain > 0), axis=1)
    return done, lost
