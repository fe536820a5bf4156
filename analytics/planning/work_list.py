"""All work that a plan may give a day to: by forecast, due by a rule, defects to mend."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
import pandas as pd

from analytics.catalogue.model import Catalogue
from analytics.planning.ahead import Ahead
from analytics.planning.candidates import Candidates
from analytics.planning.inputs import PER_POSITION, DueVisit, Job, PlanInputs
from analytics.planning.problem import FloatArray

JOB, DUE, MEND = "job", "due", "mend"
SAFETY_WAIT = 0.05
"""What a day's wait with a safety defect open costs, as a share of a day out of traffic."""


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """One piece of work on one locomotive.

    `value` is its worth on each day, -inf where it may not begin; `end_by` the day by which it is
    over; `candidate` its row in `Candidates`, -1 where it is not from there; `stands` whether the
    locomotive stands until it is done.
    """

    locomotive: str
    name: str
    kind: str
    days: int
    value: FloatArray
    end_by: int
    must: bool = False
    hours: Mapping[str, float] = field(default_factory=dict)
    parts: Mapping[str, int] = field(default_factory=dict)
    components: tuple[str, ...] = ()
    positions: tuple[int, ...] = ()
    candidate: int = -1
    stands: bool = False


def list_work(
    ahead: Ahead, inputs: PlanInputs, candidates: Candidates, catalogue: Catalogue, first_day: date
) -> list[Work]:
    """Return all work that the plan may hold.

    Conventions
    -----------
    Due: a visit that must be over within the horizon has to be planned; one whose latest date lies
    beyond may be; one of a locomotive out of use waits until it is back. Either is worth the stop
    that it needs anyway, so that the worth of a plan is against doing only what is due. Mend: a
    locomotive that stands has to be mended, and loses a day out of traffic for each day of waiting;
    an open finding on a component marked as safety has to be mended within the horizon; another
    one, on a component that a job covers, may be, and is worth the stop it would need by itself.
    """
    days = candidates.value.shape[1]
    return [
        *_by_forecast(candidates, inputs, days),
        *_due(inputs, ahead, first_day, days),
        *_standing(ahead, inputs, days),
        *_open(ahead, inputs, catalogue, days),
    ]


def _by_forecast(candidates: Candidates, inputs: PlanInputs, days: int) -> list[Work]:
    jobs = {job.name: job for job in inputs.jobs}
    places = candidates.places.groupby("job")
    components = {row: tuple(dict.fromkeys(mine)) for row, mine in places["component"]}
    positions = {row: tuple(int(number) for number in mine) for row, mine in places["position"]}
    found = []
    for row, (name, locomotive) in enumerate(candidates.jobs.itertuples(index=False)):
        job = jobs[name]
        found.append(
            Work(
                locomotive, name, JOB, job.days, candidates.value[row], days - 1,
                hours=job.hours, parts=job.parts, components=components[row],
                positions=positions[row] if len(components[row]) == 1 else (), candidate=row,
            )
        )  # fmt: skip
    return found


def _due(inputs: PlanInputs, ahead: Ahead, first_day: date, days: int) -> list[Work]:
    classes = ahead.classes
    in_use = set(ahead.fleet.loc[~ahead.fleet["stored"], "locomotive"])
    found = []
    for visit in inputs.visits:
        begin = max((visit.earliest - first_day).days, 0)
        latest = (visit.latest - first_day).days
        if begin < days and latest >= 0 and visit.locomotive in in_use:
            stop = visit.days * inputs.costs.day_out_of(classes[visit.locomotive])
            found.append(_due_visit(visit, stop, (begin, latest), days))
    return found


def _due_visit(visit: DueVisit, stop: float, window: tuple[int, int], days: int) -> Work:
    begin, latest = window
    must = latest < days
    value = np.full(days, stop)
    value[:begin] = -np.inf
    return Work(
        visit.locomotive, visit.name, DUE, visit.days, value, min(latest, days - 1), must=must,
        hours=visit.hours, parts=visit.parts,
    )  # fmt: skip


def _standing(ahead: Ahead, inputs: PlanInputs, days: int) -> list[Work]:
    classes = ahead.classes
    found = []
    for locomotive, _, what in ahead.standing[["locomotive", "since", "what"]].itertuples(
        index=False
    ):
        if locomotive not in classes:
            continue
        components = tuple(name for name in what.split(", ") if name)
        length, hours, parts = _mend(inputs, components)
        wait = -inputs.costs.day_out_of(classes[locomotive]) * np.arange(days, dtype=np.float64)
        found.append(
            Work(
                locomotive, "mend", MEND, length, wait, days - 1, must=True, hours=hours,
                parts=parts, components=components, stands=True,
            )
        )  # fmt: skip
    return found


def _open(ahead: Ahead, inputs: PlanInputs, catalogue: Catalogue, days: int) -> list[Work]:
    """Return a mend for each open finding on a safety component, or on one that a job covers."""
    classes = ahead.classes
    stands = set(ahead.standing["locomotive"])
    covered = {name for job in inputs.jobs for name in job.components}
    down = ahead.positions.groupby("component")["down_days"].first()
    found = []
    columns = ["locomotive", "component", "position"]
    for locomotive, component, position in ahead.open[columns].itertuples(index=False):
        safety = catalogue.components[component].safety
        if (
            locomotive not in classes
            or locomotive in stands
            or not (safety or component in covered)
        ):
            continue
        day_out = inputs.costs.day_out_of(classes[locomotive])
        stop = float(down.get(component, 0.0)) * day_out
        value = np.full(days, stop)
        if safety:
            value -= SAFETY_WAIT * day_out * np.arange(days)
        length, hours, parts = _mend(inputs, (component,))
        found.append(
            Work(
                locomotive, "mend", MEND, length, value, days - 1, must=safety, hours=hours,
                parts=parts, components=(component,),
                positions=() if pd.isna(position) else (int(position),),
            )
        )  # fmt: skip
    return found


def _mend(
    inputs: PlanInputs, components: tuple[str, ...]
) -> tuple[int, Mapping[str, float], Mapping[str, int]]:
    """Return days, hours and parts of a mend: those of a job by position, else the usual ones."""
    for job in inputs.jobs:
        if job.per == PER_POSITION and _covers(job, components):
            return job.days, job.hours, job.parts
    return inputs.mend_days, inputs.mend_hours, {}


def _covers(job: Job, components: tuple[str, ...]) -> bool:
    return bool(components) and set(components) <= set(job.components)
