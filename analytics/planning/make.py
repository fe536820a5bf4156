"""The way from the record and a planner's limits to a checked plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from analytics.answer import say
from analytics.catalogue.model import Catalogue
from analytics.errors import PlanError
from analytics.planning.ahead import Ahead, read_ahead
from analytics.planning.build import Built, Pin, build
from analytics.planning.candidates import Candidates, find_candidates
from analytics.planning.check_plan import broken
from analytics.planning.inputs import PlanInputs
from analytics.planning.marginal import one_more
from analytics.planning.plan import Plan
from analytics.planning.problem import FloatArray, Problem, Solution
from analytics.planning.reasons import left_out, reasons_of
from analytics.planning.solve import NoPlan, solve
from analytics.planning.unbuild import visits_of
from analytics.planning.why_not import clash_in_words
from analytics.planning.work_list import Work, list_work
from analytics.store import Reader

STAYING = 0.02
"""What keeping a piece of work on its day is worth to the solver, in days out of traffic."""
_FIRST_SHARE = 0.25
"""So much of the time goes at most to the locomotives that stand, before all others."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is asked beside the limits: pins, days to keep free, how long and how near to search."""

    pins: tuple[Pin, ...] = ()
    forbidden: tuple[Pin, ...] = ()
    seconds: float = 15.0
    gap: float = 0.01
    more: bool = False
    before: Plan | None = None


def make_plan(
    reader: Reader,
    inputs: PlanInputs,
    *,
    pins: Sequence[Pin] = (),
    forbidden: Sequence[Pin] = (),
    seconds: float = 15.0,
    gap: float = 0.01,
    more: bool = False,
) -> Plan:
    """Plan the berths of the weeks ahead.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    inputs
        Berths, labour, jobs, spares, visits due, traffic, costs.
    pins
        Locomotive and day on which a visit of it has to begin.
    forbidden
        Locomotive, or empty for all, and a day on which it may be in no berth.
    seconds, gap
        The search ends after this time, or when the plan is this near to its bound.
    more
        Whether to solve again with one more berth-day, fitter and spare (`Plan.worth`), each within
        the same time.

    Returns
    -------
    Plan
        It keeps every limit: a check that knows nothing of the solver has found so.

    Raises
    ------
    PlanError
        If no plan keeps all limits (a smallest set of those that clash is named), the horizon ends
        before the record, or a name or day cannot be used.
    """
    ahead = read_ahead(reader, days=7 * inputs.weeks)
    wishes = Wishes(tuple(pins), tuple(forbidden), seconds, gap, more)
    return plan_ahead(ahead, inputs, reader.catalogue, wishes)


def plan_ahead(
    ahead: Ahead, inputs: PlanInputs, catalogue: Catalogue, wishes: Wishes | None = None
) -> Plan:
    """Plan from a fleet already read, as `make_plan` does."""
    wishes = wishes or Wishes()
    pins, forbidden = wishes.pins, wishes.forbidden
    first_day, days = inputs.first_day or ahead.tomorrow, 7 * inputs.weeks
    _check(ahead, first_day, days, pins, forbidden)
    candidates = find_candidates(ahead, inputs, first_day=first_day, days=days)
    work = list_work(ahead, inputs, candidates, catalogue, first_day)
    built = build(
        ahead, inputs, work, first_day=first_day, days=days, pins=pins, forbidden=forbidden
    )
    try:
        problem = _standing_first(built.problem, work, seconds=wishes.seconds)
        solution = _solve(problem, built, wishes)
    except NoPlan as none:
        if not none.proved:
            raise
        raise PlanError(clash_in_words(built, inputs)) from none
    plan = _in_words(built, solution, ahead, candidates, wishes.before)
    fleet = _in_traffic(ahead)
    plan = replace(plan, pins=pins, forbidden=forbidden, fleet=fleet)
    _sure(plan, inputs, ahead)
    if wishes.more:
        again = one_more(built, problem, solution, seconds=wishes.seconds, gap=wishes.gap)
        plan = replace(plan, worth=again)
    return plan


def _solve(problem: Problem, built: Built, wishes: Wishes) -> Solution:
    """Solve, work staying where the plan before had it when nothing better is lost by that.

    What stays is worth a little more to the solver; the plan is then valued without it, and the
    bound of the greater problem holds for the one as it is.
    """
    if wishes.before is None:
        return solve(problem, seconds=wishes.seconds, gap=wishes.gap)
    bonus = _staying(problem, built, wishes.before)
    kept = replace(problem, value=problem.value + bonus)
    found = solve(kept, seconds=wishes.seconds, gap=wishes.gap)
    done = np.flatnonzero(found.visit_of >= 0)
    gained = float(bonus[done, found.first[found.visit_of[done]]].sum())
    return replace(found, value=found.value - gained)


def _staying(problem: Problem, built: Built, before: Plan) -> FloatArray:
    """Return what work gains on the day on which it was planned before, shape (J, D)."""
    planned = {
        (visit.locomotive, job.name, job.positions): (visit.first - built.first_day).days
        for visit in before.visits
        for job in visit.jobs
    }
    days = problem.berths.shape[1]
    bonus = np.zeros((len(built.work), days))
    for at, one in enumerate(built.work):
        day = planned.get((one.locomotive, one.name, one.positions), -1)
        if 0 <= day < days:
            bonus[at, day] = STAYING * float(np.abs(problem.day_cost).max(initial=0.0))
    return bonus


def _check(
    ahead: Ahead, first_day: date, days: int, pins: Sequence[Pin], forbidden: Sequence[Pin]
) -> None:
    if first_day < ahead.tomorrow:
        raise PlanError(
            f"the plan would begin on {first_day}, but the record is known to {ahead.known_to}:"
            f" let it begin on {ahead.tomorrow} or later."
        )
    last = first_day.toordinal() + days - 1
    for name, day in (*pins, *forbidden):
        if name and name not in ahead.classes:
            raise PlanError(f"locomotive {name!r} is not in service on the first day of the plan.")
        if not first_day.toordinal() <= day.toordinal() <= last:
            raise PlanError(
                f"{day} lies outside the plan, which runs from {first_day} to"
                f" {date.fromordinal(last)}."
            )
    stored = set(ahead.fleet.loc[ahead.fleet["stored"], "locomotive"])
    for name, day in pins:
        if name in stored:
            raise PlanError(f"locomotive {name!r} is out of use and cannot be pinned to {day}.")


def _standing_first(problem: Problem, work: Sequence[Work], *, seconds: float) -> Problem:
    """Let the locomotives that stand come as early as limits allow, before any forecast.

    Solved with what must be done alone; the days found are then the latest ones of these.
    """
    stands = np.array([one.stands for one in work], dtype=bool)
    if not stands.any():
        return problem
    value = np.where(np.isfinite(problem.value), 0.0, -np.inf)
    value[stands] = problem.value[stands]
    alone = _only(replace(problem, value=value, day_cost=np.zeros_like(problem.day_cost)))
    first = solve(alone, seconds=_FIRST_SHARE * seconds, gap=0.0)
    numbers = np.flatnonzero(problem.must)
    begins = np.full(problem.value.shape[0], problem.value.shape[1])
    begins[numbers] = first.first[first.visit_of]
    later = stands[:, None] & (np.arange(problem.value.shape[1]) > begins[:, None])
    return replace(problem, value=np.where(later, -np.inf, problem.value))


def _only(problem: Problem) -> Problem:
    """Keep the jobs that have to be done."""
    must = problem.must
    names = ("locomotive", "days", "value", "end_by", "must", "hours", "parts", "fits")
    return replace(problem, **{name: getattr(problem, name)[must] for name in names})


def _in_words(
    built: Built,
    solution: Solution,
    ahead: Ahead,
    candidates: Candidates,
    before: Plan | None,
) -> Plan:
    visits = visits_of(built, solution, candidates, before)
    reasons = reasons_of(visits, ahead, candidates)
    return Plan(
        first_day=built.first_day,
        days=built.problem.berths.shape[1],
        visits=tuple(replace(v, reason=r) for v, r in zip(visits, reasons, strict=True)),
        left_out=left_out(built, ahead, visits, candidates),
        value=solution.value,
        bound=solution.bound,
        seconds=solution.seconds,
        data=ahead.data,
        known_to=ahead.known_to,
    )


def _in_traffic(ahead: Ahead) -> dict[str, int]:
    still = ahead.fleet["stored"] | ahead.fleet["locomotive"].isin(ahead.standing["locomotive"])
    counts = ahead.fleet[~still].groupby("class").size()
    return {str(name): int(number) for name, number in counts.items()}


def _sure(plan: Plan, inputs: PlanInputs, ahead: Ahead) -> None:
    """Refuse a plan that breaks a limit, whatever the solver says."""
    stored = set(ahead.fleet.loc[ahead.fleet["stored"], "locomotive"])
    standing = set(ahead.standing["locomotive"]) - stored
    faults = broken(plan, inputs, ahead.classes, stored=stored, standing=standing)
    if faults:
        said = "; ".join(say(fault) for fault in faults[:5])
        raise PlanError(f"the plan found breaks a limit and is not used: {said}.")
