"""A plan as tables: visits, jobs, who is left out, days, limits, one more of each, changes."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from analytics.planning.inputs import Berth, PlanInputs
from analytics.planning.plan import Plan, PlannedJob, Visit
from analytics.planning.versions import Version
from analytics.planning.work_list import DUE, JOB, MEND

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "visits": (
        "locomotive", "class", "berth", "first", "last", "days", "jobs", "labour", "value",
        "reason",
    ),
    "jobs": (
        "locomotive", "berth", "first", "job", "kind", "component", "position", "days", "labour",
        "parts", "value", "failures", "failures_if_done",
    ),
    "left-out": ("locomotive", "class", "expected", "worth", "reason"),
    "days": ("berth", "day", "is_open", "locomotive", "kind", "first", "last"),
    "limits": ("limit", "name", "week", "used", "available", "fullest"),
    "worth": ("more", "name", "day", "gain", "gain_of_bound"),
    "versions": (
        "version", "made_at", "who", "parent", "again", "first", "days", "visits", "value", "bound",
        "gap", "pinned", "kept_free",
    ),
    "compare": (
        "change", "locomotive", "berth_before", "first_before", "jobs_before", "berth", "first",
        "jobs",
    ),
}  # fmt: skip
"""The columns of each part of a plan, in order."""

_DATES = ("first", "last", "day", "week", "first_before", "made_at")


def framed(part: str, rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Return the rows of one part with its columns, dates as timestamps."""
    columns = list(COLUMNS[part])
    frame = pd.DataFrame(list(rows), columns=columns)
    return frame.assign(**{name: pd.to_datetime(frame[name]) for name in _DATES if name in columns})


def kind_of(visit: Visit) -> str:
    """Tell what a visit is for above all: a mend, a rule, the forecast, or nothing but a pin."""
    kinds = {job.kind for job in visit.jobs}
    return next((kind for kind in (MEND, DUE, JOB) if kind in kinds), "pinned")


def visit_rows(plan: Plan) -> list[dict[str, Any]]:
    """Return a row a visit, first day first."""
    return [
        {
            "locomotive": visit.locomotive, "class": visit.class_name, "berth": visit.berth,
            "first": visit.first, "last": visit.last, "days": _days(visit),
            "jobs": _names(visit), "labour": sum(sum(job.hours.values()) for job in visit.jobs),
            "value": visit.value, "reason": visit.reason,
        }
        for visit in plan.visits
    ]  # fmt: skip


def job_rows(plan: Plan) -> list[dict[str, Any]]:
    """Return a row a job, in the order of the visits."""
    return [_job_row(visit, job) for visit in plan.visits for job in visit.jobs]


def _job_row(visit: Visit, job: PlannedJob) -> dict[str, Any]:
    return {
        "locomotive": visit.locomotive,
        "berth": visit.berth,
        "first": visit.first,
        "job": job.name,
        "kind": job.kind,
        "component": ", ".join(job.components),
        "position": ", ".join(str(number) for number in job.positions),
        "days": job.days,
        "labour": _amounts(job.hours),
        "parts": _amounts(job.parts),
        "value": job.value,
        "failures": job.failures,
        "failures_if_done": job.failures_if_done,
    }


def left_out_rows(plan: Plan) -> list[dict[str, Any]]:
    """Return a row a locomotive without a visit."""
    return [
        {
            "locomotive": one.locomotive, "class": one.class_name, "expected": one.expected,
            "worth": one.worth, "reason": one.reason,
        }
        for one in plan.left_out
    ]  # fmt: skip


def day_rows(plan: Plan, inputs: PlanInputs) -> list[dict[str, Any]]:
    """Return a row a berth and day: open or not, and which locomotive is in it."""
    held = {
        (visit.berth, visit.first + timedelta(days=number)): visit
        for visit in plan.visits
        for number in range(_days(visit))
    }
    rows = []
    for berth in inputs.berths:
        for day in _calendar(plan):
            visit = held.get((berth.name, day))
            rows.append(
                {
                    "berth": berth.name, "day": day, "is_open": berth.open.hold_on(day),
                    "locomotive": visit.locomotive if visit else "",
                    "kind": kind_of(visit) if visit else "",
                    "first": visit.first if visit else None, "last": visit.last if visit else None,
                }
            )  # fmt: skip
    return rows


def limit_rows(plan: Plan, inputs: PlanInputs) -> list[dict[str, Any]]:
    """Return a row a limit and week: what is used of it, and the share on its fullest day.

    Of a berth, which is empty or full on any one day, it is the week's share.
    """
    weeks = defaultdict(list)
    for day in _calendar(plan):
        weeks[day - timedelta(days=day.weekday())].append(day)
    rows = []
    for name, used, there in _by_day(plan, inputs):
        for week, days in weeks.items():
            pairs = [(used.get(day, 0.0), there(day)) for day in days]
            if any(free for _, free in pairs):
                rows.append(_limit_row(name, week, pairs))
    return rows


def _limit_row(
    name: tuple[str, str], week: date, pairs: Sequence[tuple[float, float]]
) -> dict[str, Any]:
    summed = name[0] in ("berth", "labour")  # the others are levels: the tightest day tells
    tight = max(pairs, key=lambda pair: pair[0] / pair[1] if pair[1] else 0.0)
    used, free = (sum(each) for each in zip(*pairs, strict=True)) if summed else tight
    if name[0] == "berth":  # on one day it is empty or full: the week tells
        tight = (used, free)
    share = tight[0] / tight[1] if tight[1] else 0.0
    return {
        "limit": name[0], "name": name[1], "week": week, "used": used, "available": free,
        "fullest": share,
    }  # fmt: skip


def _by_day(plan: Plan, inputs: PlanInputs) -> Iterable[Any]:
    """Yield (limit, name), what is used on each day, and a function of what is there."""
    taken: defaultdict[str, Counter[date]] = defaultdict(Counter)
    hours: defaultdict[str, Counter[date]] = defaultdict(Counter)
    away: defaultdict[str, Counter[date]] = defaultdict(Counter)
    berths = {berth.name: berth for berth in inputs.berths}
    for visit in plan.visits:
        days = _open_days(visit, berths[visit.berth])
        taken[visit.berth].update(days)
        if visit.day_cost:  # one that stands anyway is missing from traffic already
            gone = (visit.first + timedelta(days=number) for number in range(_days(visit)))
            away[visit.class_name].update(gone)
        for job in visit.jobs:
            for skill, amount in job.hours.items():
                for day in days[: job.days]:
                    hours[skill][day] += amount / job.days  # type: ignore[assignment]
    for berth in inputs.berths:
        yield ("berth", berth.name), taken[berth.name], berth.open.hold_on
    for skill in dict.fromkeys(one.skill for one in inputs.labour):
        yield ("labour", skill), hours[skill], _labour_of(inputs, skill)
    for spare in inputs.spares:
        used, there = _spare_of(plan, inputs, spare.name)
        yield ("spare", spare.name), used, there
    for name in dict.fromkeys(rule.class_name for rule in inputs.traffic):
        yield ("traffic", name), away[name], _absent_of(inputs, name, plan.fleet.get(name, 0))


def _labour_of(inputs: PlanInputs, skill: str) -> Any:
    mine = [one for one in inputs.labour if one.skill == skill]
    return lambda day: sum(one.hours for one in mine if one.days.hold_on(day))


def _absent_of(inputs: PlanInputs, name: str, there: int) -> Any:
    mine = [rule for rule in inputs.traffic if rule.class_name == name]

    def most(day: date) -> int:
        least = [rule.least for rule in mine if rule.days.hold_on(day)]
        return max(there - max(least), 0) if least else there

    return most


def _spare_of(plan: Plan, inputs: PlanInputs, name: str) -> Any:
    spare = next(one for one in inputs.spares if one.name == name)
    by_day: Counter[date] = Counter()
    for visit in plan.visits:
        by_day[visit.first] += sum(job.parts.get(name, 0) for job in visit.jobs)
    used, sofar = {}, 0
    for day in _calendar(plan):
        sofar += by_day[day]
        used[day] = sofar

    def there(day: date) -> int:
        arrived = sum(number for due, number in spare.on_order if due <= day)
        return max(spare.on_hand - spare.keep + arrived, 0)

    return used, there


def worth_rows(plan: Plan) -> list[dict[str, Any]]:
    """Return a row for each thing of which one more was tried, greatest gain first."""
    ordered = sorted(plan.worth, key=lambda one: -one.gain)
    return [
        {
            "more": one.what, "name": one.name, "day": one.day, "gain": one.gain,
            "gain_of_bound": one.gain_of_bound,
        }
        for one in ordered
    ]  # fmt: skip


def version_rows(versions: Sequence[Version]) -> list[dict[str, Any]]:
    """Return a row a version, as they come."""
    return [
        {
            "version": one.number, "made_at": one.made_at, "who": one.who, "parent": one.parent,
            "again": one.again, "first": one.plan.first_day, "days": one.plan.days,
            "visits": len(one.plan.visits), "value": one.plan.value, "bound": one.plan.bound,
            "gap": one.plan.gap, "pinned": _asked(one.plan.pins),
            "kept_free": _asked(one.plan.forbidden),
        }
        for one in versions
    ]  # fmt: skip


def compare_rows(before: Plan, after: Plan) -> list[dict[str, Any]]:
    """Return a row for each visit that differs; those of one locomotive are paired by order.

    `change`: added, dropped, moved (day or berth), jobs (other jobs on the same day and berth).
    """
    rows = []
    old, new = _by_locomotive(before), _by_locomotive(after)
    for name in sorted({*old, *new}):
        mine, theirs = old.get(name, []), new.get(name, [])
        same = {_key(visit) for visit in mine} & {_key(visit) for visit in theirs}
        left = [visit for visit in mine if _key(visit) not in same]
        right = [visit for visit in theirs if _key(visit) not in same]
        for number in range(max(len(left), len(right))):
            was = left[number] if number < len(left) else None
            now = right[number] if number < len(right) else None
            rows.append(_change(name, was, now))
    return rows


def _change(name: str, was: Visit | None, now: Visit | None) -> dict[str, Any]:
    if was is None or now is None:
        change = "added" if was is None else "dropped"
    else:
        stays = (was.berth, was.first) == (now.berth, now.first)
        change = "jobs" if stays else "moved"
    return {
        "change": change,
        "locomotive": name,
        "berth_before": was.berth if was else "",
        "first_before": was.first if was else None,
        "jobs_before": _names(was) if was else "",
        "berth": now.berth if now else "",
        "first": now.first if now else None,
        "jobs": _names(now) if now else "",
    }


def _by_locomotive(plan: Plan) -> dict[str, list[Visit]]:
    found: dict[str, list[Visit]] = {}
    for visit in plan.visits:
        found.setdefault(visit.locomotive, []).append(visit)
    return found


def _key(visit: Visit) -> tuple[str, date, str]:
    return visit.berth, visit.first, _names(visit)


def _names(visit: Visit) -> str:
    """Name the jobs of a visit; of several alike, how many."""
    counts = Counter(job.name for job in visit.jobs)
    return ", ".join(name if n == 1 else f"{n} {name}" for name, n in counts.items())


def _amounts(each: Mapping[str, float] | Mapping[str, int]) -> str:
    return "; ".join(f"{name} {amount:g}" for name, amount in each.items())


def _asked(pairs: Sequence[tuple[str, date]]) -> str:
    return ", ".join(f"{name} {day}".strip() for name, day in pairs)


def _days(visit: Visit) -> int:
    return (visit.last - visit.first).days + 1


def _calendar(plan: Plan) -> list[date]:
    return [plan.first_day + timedelta(days=number) for number in range(plan.days)]


def _open_days(visit: Visit, berth: Berth) -> list[date]:
    days = [visit.first + timedelta(days=number) for number in range(_days(visit))]
    return [day for day in days if berth.open.hold_on(day)]
