"""Whether all that must be done, and all visits asked for, can have a place."""

from __future__ import annotations

import numpy as np

from analytics.planning.kept import Outcome, keep, solve_kept
from analytics.planning.visits import Visits


def find_musts(visits: Visits, *, seconds: float) -> Outcome:
    """Look for visits that do just what must be done.

    Other jobs and other locomotives matter to no limit: leaving them out never breaks one.

    Parameters
    ----------
    visits
        What the problem allows.
    seconds
        Time given.
    """
    problem = visits.problem
    keep_job = visits.job_can & problem.must[:, None, None]
    keep_visit = np.zeros(visits.shape, dtype=np.bool_)
    job, group, first = np.nonzero(keep_job)
    lengths = np.arange(visits.shape[3])
    for_job = lengths == visits.length_of[job][:, None]
    row, length = np.nonzero(for_job)
    keep_visit[problem.locomotive[job[row]], group[row], first[row], length] = True
    keep_visit[problem.pin_locomotive, :, problem.pin_day, 0] = True
    kept = keep(visits, keep_visit & visits.can, keep_job)
    early = np.zeros(kept.size)
    early[: kept.columns.size] = -1.0
    return solve_kept(kept, 1.0, seconds=seconds, gap=1.0, worth=early)
