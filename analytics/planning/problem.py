"""The berth plan as arrays: what the solver may choose, what it is worth, what limits it.

Days are numbered 0 to D - 1. A *group* is all berths that are open on the same days and take the
same locomotives and jobs: which berth of a group a visit gets is settled after solving. A *job* is
one piece of work on one locomotive: a planner's job, a visit due by a rule, a defect to mend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """G groups of berths, L locomotives, J jobs, S skills, P spares, C classes, D days.

    Attributes
    ----------
    berths : (G, D) berths open in each group on each day; the same number on every open day
    takes : (G, L) whether a group takes a locomotive
    free : (L, D) whether a locomotive may be in a berth on a day
    day_cost : (L, D) what a day out of traffic costs; 0 where it stands still anyway
    class_of : (L,) class of each locomotive
    absent_most : (C, D) most locomotives of a class in berths at once
    labour : (S, D) labour hours
    supply : (P, D) pieces that may have been used by the end of each day, never falling
    locomotive : (J,) whose job it is
    days : (J,) open days in the berth, 1 at least
    value : (J, D) what it is worth in a visit begun on each day; -inf where it may not
    end_by : (J,) day by which it must be over (D - 1: any)
    must : (J,) whether it has to be done
    hours : (J, S) labour hours, spread evenly over the first `days` open days of the visit
    parts : (J, P) pieces, used on the day the visit begins
    fits : (J, G) whether a group takes the job
    pin_locomotive, pin_day : (N,) visits that have to begin on a given day

    Conventions
    -----------
    A visit of a locomotive to a group begins on an open day and lasts as many open days as its
    longest job, 1 at least; closed days in between keep the berth and the locomotive. It is over on
    its last open day, within the D days. A locomotive may come several times, never twice at once;
    a job is done once at most. Worth of a plan: values of its jobs on the first days of their
    visits, less the day costs from the first to the last day of each visit.
    """

    berths: IntArray
    takes: BoolArray
    free: BoolArray
    day_cost: FloatArray
    class_of: IntArray
    absent_most: IntArray
    labour: FloatArray
    supply: IntArray
    locomotive: IntArray
    days: IntArray
    value: FloatArray
    end_by: IntArray
    must: BoolArray
    hours: FloatArray
    parts: IntArray
    fits: BoolArray
    pin_locomotive: IntArray
    pin_day: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """V visits, and which visit does each job.

    Attributes
    ----------
    locomotive, group, first, last : (V,) whose visit, to which group, its first and last day
    visit_of : (J,) index of the visit that does the job, -1: not done
    value : worth of the plan
    bound : no plan is worth more
    seconds : time taken
    """

    locomotive: IntArray
    group: IntArray
    first: IntArray
    last: IntArray
    visit_of: IntArray
    value: float
    bound: float
    seconds: float

    @property
    def gap(self) -> float:
        """How far the bound lies above the plan, as a share of the greater of the two in size."""
        size = max(abs(self.value), abs(self.bound))
        return (self.bound - self.value) / size if size > 0 else 0.0
