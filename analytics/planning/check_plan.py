"""Whether a plan keeps every limit, told from names and dates alone.

Nothing here knows how a plan is found: it runs on every plan before anybody sees it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping
from datetime import date, timedelta

from analytics.answer import Message
from analytics.planning.inputs import Berth, PlanInputs
from analytics.planning.plan import Plan, PlannedJob, Visit
from analytics.planning.work_list import DUE, JOB, MEND

_HOURS_OVER = 1e-5  # of rounding in a day's sum of hours


def broken(
    plan: Plan,
    inputs: PlanInputs,
    classes: Mapping[str, str],
    *,
    stored: Collection[str] = (),
    standing: Collection[str] = (),
) -> tuple[Message, ...]:
    """Return a sentence for each limit that a plan breaks; none: it keeps them all.

    Parameters
    ----------
    plan
        Visits, pins, days to keep free.
    inputs
        The limits.
    classes
        Class of each locomotive in service.
    stored
        Locomotives out of use: in no berth, not in traffic.
    standing
        Locomotives that stand until they are mended: not in traffic, each has to be mended.
    """
    berths = {berth.name: berth for berth in inputs.berths}
    known = [visit for visit in plan.visits if visit.berth in berths]
    faults = [
        Message("broken.berth", berth=visit.berth, locomotive=visit.locomotive)
        for visit in plan.visits
        if visit.berth not in berths
    ]
    faults += _places(plan, known, berths, stored)
    faults += _apart(plan)
    faults += _labour(known, berths, inputs)
    faults += _spares(known, inputs)
    faults += _due(plan, known, berths, inputs, set(classes) - set(stored))
    faults += _as_asked(plan, inputs)
    faults += _traffic(plan, inputs, classes, {*stored, *standing})
    faults += _standing(plan, set(standing) & set(classes))
    return tuple(faults)


def _span(visit: Visit) -> Iterator[date]:
    for number in range((visit.last - visit.first).days + 1):
        yield visit.first + timedelta(days=number)


def _open_days(visit: Visit, berth: Berth) -> list[date]:
    return [day for day in _span(visit) if berth.open.hold_on(day)]


def _places(
    plan: Plan, visits: list[Visit], berths: Mapping[str, Berth], stored: Collection[str]
) -> Iterator[Message]:
    """Each visit by itself: when its berth is open, and for what."""
    last = plan.first_day + timedelta(days=plan.days - 1)
    for visit in visits:
        berth, said = berths[visit.berth], {"locomotive": visit.locomotive, "berth": visit.berth}
        days = _open_days(visit, berth)
        if visit.first < plan.first_day or visit.last > last or visit.last < visit.first:
            yield Message("broken.horizon", first=visit.first, last=visit.last, **said)
        if not days or days[0] != visit.first or days[-1] != visit.last:
            yield Message("broken.closed", first=visit.first, last=visit.last, **said)
        longest = max((job.days for job in visit.jobs), default=1)
        if len(days) != longest:
            yield Message("broken.length", days=len(days), needed=longest, **said)
        if berth.classes and visit.class_name not in berth.classes:
            yield Message("broken.takes", what=visit.class_name, **said)
        for job in visit.jobs:
            mends = job.kind == MEND and MEND in berth.jobs
            if berth.jobs and job.name not in berth.jobs and not mends:
                yield Message("broken.takes", what=job.name, **said)
        if visit.locomotive in stored:
            yield Message("broken.stored", **said)


def _apart(plan: Plan) -> Iterator[Message]:
    """No berth holds two locomotives on a day, no locomotive is in two berths, no job is twice."""
    berths: Counter[tuple[str, date]] = Counter()
    locomotives: Counter[tuple[str, date]] = Counter()
    jobs: Counter[tuple[str, str, tuple[str, ...], tuple[int, ...]]] = Counter()
    for visit in plan.visits:
        for day in _span(visit):
            berths[visit.berth, day] += 1
            locomotives[visit.locomotive, day] += 1
        jobs.update((visit.locomotive, j.name, j.components, j.positions) for j in visit.jobs)
    for (name, day), number in berths.items():
        if number > 1:
            yield Message("broken.two_in_berth", berth=name, day=day)
    for (name, day), number in locomotives.items():
        if number > 1:
            yield Message("broken.two_places", locomotive=name, day=day)
    for (whose, what, components, _), number in jobs.items():
        if number > 1 and components:
            yield Message("broken.twice", locomotive=whose, job=what)


def _labour(
    visits: list[Visit], berths: Mapping[str, Berth], inputs: PlanInputs
) -> Iterator[Message]:
    used: defaultdict[tuple[str, date], float] = defaultdict(float)
    for visit in visits:
        days = _open_days(visit, berths[visit.berth])
        for job in visit.jobs:
            for skill, hours in job.hours.items():
                for day in days[: job.days]:
                    used[skill, day] += hours / job.days
    for (skill, day), hours in sorted(used.items()):
        there = sum(
            one.hours for one in inputs.labour if one.skill == skill and one.days.hold_on(day)
        )
        if hours > there + _HOURS_OVER:
            yield Message("broken.labour", skill=skill, day=day, used=hours, there=there)


def _spares(visits: list[Visit], inputs: PlanInputs) -> Iterator[Message]:
    used: defaultdict[str, Counter[date]] = defaultdict(Counter)
    for visit in visits:
        for job in visit.jobs:
            for name, number in job.parts.items():
                used[name][visit.first] += number
    there = {spare.name: spare for spare in inputs.spares}
    for name, by_day in used.items():
        taken = 0
        for day in sorted(by_day):
            taken += by_day[day]
            spare = there.get(name)
            arrived = sum(n for due, n in spare.on_order if due <= day) if spare else 0
            free = max(spare.on_hand - spare.keep + arrived, 0) if spare else 0
            if taken > free:
                yield Message("broken.spare", name=name, day=day, used=taken, there=free)


def _due(
    plan: Plan,
    visits: list[Visit],
    berths: Mapping[str, Berth],
    inputs: PlanInputs,
    in_use: Collection[str],
) -> Iterator[Message]:
    """Every visit that a rule asks for within the horizon is there once, whole and in time."""
    last = plan.first_day + timedelta(days=plan.days - 1)
    planned: defaultdict[tuple[str, str], list[tuple[Visit, PlannedJob]]] = defaultdict(list)
    for visit in visits:
        for job in visit.jobs:
            if job.kind == DUE:
                planned[visit.locomotive, job.name].append((visit, job))
    for asked in inputs.visits:
        found = planned.pop((asked.locomotive, asked.name), [])
        said = {"locomotive": asked.locomotive, "name": asked.name}
        needed = plan.first_day <= asked.latest <= last and asked.locomotive in in_use
        if len(found) > 1 or (needed and not found):
            yield Message("broken.due_count", number=len(found), latest=asked.latest, **said)
        for visit, job in found:
            days = _open_days(visit, berths[visit.berth])[: job.days]
            if visit.first < asked.earliest or not days or days[-1] > asked.latest:
                yield Message(
                    "broken.due_window", earliest=asked.earliest, latest=asked.latest, **said
                )
            if (job.days, job.hours, job.parts) != (
                asked.days, dict(asked.hours), dict(asked.parts),
            ):  # fmt: skip
                yield Message("broken.not_whole", **said)
    for locomotive, name in planned:
        yield Message("broken.not_asked", locomotive=locomotive, name=name)


def _as_asked(plan: Plan, inputs: PlanInputs) -> Iterator[Message]:
    """Jobs take what the inputs say, pins and days to keep free are kept."""
    jobs = {job.name: job for job in inputs.jobs}
    for visit in plan.visits:
        for job in visit.jobs:
            asked = jobs.get(job.name)
            if job.kind == JOB and (
                asked is None
                or (job.days, job.hours, job.parts)
                != (asked.days, dict(asked.hours), dict(asked.parts))
            ):
                yield Message("broken.not_whole", locomotive=visit.locomotive, name=job.name)
        for name, day in plan.forbidden:
            if name in ("", visit.locomotive) and visit.first <= day <= visit.last:
                yield Message("broken.forbidden", locomotive=visit.locomotive, day=day)
    begun = {(visit.locomotive, visit.first) for visit in plan.visits}
    for name, day in plan.pins:
        if (name, day) not in begun:
            yield Message("broken.pin", locomotive=name, day=day)


def _traffic(
    plan: Plan, inputs: PlanInputs, classes: Mapping[str, str], out: Collection[str]
) -> Iterator[Message]:
    there = Counter(of for name, of in classes.items() if name not in out)
    away: Counter[tuple[str, date]] = Counter()
    for visit in plan.visits:
        if visit.locomotive not in out:
            away.update((visit.class_name, day) for day in _span(visit))
    for (of, day), number in sorted(away.items()):
        for rule in inputs.traffic:
            left = there[of] - number
            if rule.class_name == of and rule.days.hold_on(day) and left < rule.least:
                yield Message("broken.traffic", class_name=of, day=day, left=left, least=rule.least)


def _standing(plan: Plan, standing: Collection[str]) -> Iterator[Message]:
    mended = {v.locomotive for v in plan.visits if any(job.kind == MEND for job in v.jobs)}
    for name in sorted(set(standing) - mended):
        yield Message("broken.standing", locomotive=name)
