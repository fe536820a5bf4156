"""Why a locomotive has its visit, and why another has none, in one sentence each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analytics.answer import Message, say
from analytics.answers.clocks import on_clock
from analytics.planning.ahead import Ahead
from analytics.planning.build import Built
from analytics.planning.candidates import Candidates
from analytics.planning.plan import LeftOut, PlannedJob, Visit
from analytics.planning.problem import FloatArray, Problem
from analytics.planning.work_list import DUE, MEND, Work

_TOLD = 2  # jobs whose failures are told; the others are named


def reasons_of(visits: Sequence[Visit], ahead: Ahead, candidates: Candidates) -> tuple[str, ...]:
    """Say what each visit is for: what stands, what is due, then what is worth most."""
    since = dict(zip(ahead.standing["locomotive"], ahead.standing["since"], strict=True))
    oldest = _oldest(candidates)
    return tuple(_reason(visit, since, oldest) for visit in visits)


def _reason(
    visit: Visit,
    since: Mapping[str, pd.Timestamp],
    oldest: Mapping[tuple[str, str], Mapping[str, object]],
) -> str:
    parts = [_first(job, visit.locomotive, since) for job in visit.jobs if job.kind in (DUE, MEND)]
    by_forecast = [job for job in visit.jobs if job.kind not in (DUE, MEND)]
    told = by_forecast[: 1 if parts else _TOLD]
    parts += [_forecast(job, oldest.get((visit.locomotive, job.name), {})) for job in told]
    more = [job.name for job in by_forecast[len(told) :]]
    if more:
        parts.append(say(Message("plan.as_well", names=more)))
    return "; ".join(parts) or say(Message("plan.pinned"))


def _first(job: PlannedJob, locomotive: str, since: Mapping[str, pd.Timestamp]) -> str:
    if job.kind == DUE:
        return say(Message("plan.due", name=job.name))
    places = list(job.components)
    if locomotive in since:
        key = "plan.stands" if places else "plan.withheld"
        return say(Message(key, since=since[locomotive].date(), places=places))
    return say(Message("plan.open", places=places))


def _oldest(candidates: Candidates) -> dict[tuple[str, str], dict[str, object]]:
    """Return the position furthest beyond its best age of each job, by locomotive and job."""
    places = candidates.places.dropna(subset=["best_age"])
    if places.empty:
        return {}
    worst = places.loc[(places["age"] / places["best_age"]).groupby(places["job"]).idxmax()]
    names = candidates.jobs.loc[worst["job"], ["locomotive", "name"]].itertuples(index=False)
    rows = worst[["component", "position", "clock", "age", "best_age"]].to_dict("records")
    return {
        (str(locomotive), str(name)): {str(key): value for key, value in row.items()}
        for (locomotive, name), row in zip(names, rows, strict=True)
    }


def _forecast(job: PlannedJob, oldest: Mapping[str, object]) -> str:
    said = say(
        Message(
            "plan.forecast",
            name=job.name,
            failures=f"{job.failures:.1f}",
            left=f"{job.failures_if_done:.1f}",
        )
    )
    if not oldest or not np.isfinite(float(str(oldest["best_age"]))):
        return said
    age = on_clock(
        "plan.oldest", str(oldest["clock"]), age=float(str(oldest["age"])),
        best=float(str(oldest["best_age"])),
    )  # fmt: skip
    return f"{said} ({say(age)})"


def left_out(
    built: Built, ahead: Ahead, visits: Sequence[Visit], candidates: Candidates
) -> tuple[LeftOut, ...]:
    """Return the locomotives without a visit and why, those that lose most first.

    `worth` is that of the best visit the locomotive could have if all berths, hours and spares were
    free: all its jobs that are worth something on one day, less the days out of traffic.
    """
    planned = {visit.locomotive for visit in visits}
    near = set(candidates.jobs["locomotive"])
    worth = best_alone(built.problem, built.work)
    found = []
    for at, name in enumerate(built.locomotives):
        if name in planned:
            continue
        row = ahead.fleet.iloc[at]
        reason = _why_not(float(worth[at]), near=name in near, stored=bool(row["stored"]))
        found.append(
            LeftOut(name, built.of_class[at], float(row["expected"]), float(worth[at]), say(reason))
        )
    return tuple(sorted(found, key=lambda one: (-one.worth, -one.expected, one.locomotive)))


def _why_not(worth: float, *, near: bool, stored: bool) -> Message:
    if stored:
        return Message("plan.stored")
    if not near:
        return Message("plan.not_near")
    if worth > 0:
        return Message("plan.no_room", worth=worth)
    return Message("plan.not_worth", short=-worth)


def best_alone(problem: Problem, work: Sequence[Work]) -> FloatArray:
    """Return the worth of each locomotive's best visit were everything free, shape (L,).

    A bundle of all jobs of positive worth up to each length, on each day; calendar days count as
    open ones, so that it is not below what a real calendar allows. NaN-free; 0 days: -inf.
    """
    locomotives, days = problem.free.shape
    best = np.full(locomotives, -np.inf)
    for length in sorted({one.days for one in work}):
        if length > days:
            continue
        value = np.zeros((locomotives, days))
        mine = problem.days <= length
        np.add.at(value, problem.locomotive[mine], np.maximum(problem.value[mine], 0.0))
        summed = np.concatenate(
            [np.zeros((locomotives, 1)), np.cumsum(problem.day_cost, axis=1)], axis=1
        )
        starts = days - length + 1
        cost = summed[:, length:] - summed[:, :starts]
        best = np.maximum(best, (value[:, :starts] - cost).max(axis=1))
    return best
