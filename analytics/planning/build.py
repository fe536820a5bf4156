"""From a planner's words to the solver's arrays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from analytics.planning.ahead import Ahead
from analytics.planning.inputs import Berth, PlanInputs
from analytics.planning.problem import IntArray, Problem
from analytics.planning.work_list import MEND, Work

Pin = tuple[str, date]
"""A locomotive and a day."""
_PLENTY = 1_000_000
_STANDS = "(stands)"  # a class of their own for locomotives that are out of traffic already


@dataclass(frozen=True, slots=True, eq=False)
class Built:
    """A problem with the names behind its numbers.

    `classes` names the rows of `absent_most`, `of_class` is the class of each locomotive, `groups`
    has the berths of each group.
    """

    problem: Problem
    first_day: date
    locomotives: tuple[str, ...]
    of_class: tuple[str, ...]
    classes: tuple[str, ...]
    groups: tuple[tuple[Berth, ...], ...]
    work: tuple[Work, ...]
    skills: tuple[str, ...]
    spares: tuple[str, ...]

    def day(self, number: int) -> date:
        """Return the date of a day of the horizon."""
        return self.first_day + timedelta(days=int(number))


def build(
    ahead: Ahead,
    inputs: PlanInputs,
    work: Sequence[Work],
    *,
    first_day: date,
    days: int,
    pins: Sequence[Pin] = (),
    forbidden: Sequence[Pin] = (),
) -> Built:
    """Lay out the arrays of `Problem`.

    Parameters
    ----------
    work
        All that may be planned (`list_work`).
    pins
        Days on which a visit of a locomotive begins; those outside the horizon are left out.
    forbidden
        Days on which a locomotive, or with an empty name any, is in no berth.

    Conventions
    -----------
    A locomotive out of use is in no berth, and not in traffic either. One that stands costs no day
    out of traffic while it is in a berth: its work bears the wait.
    """
    calendar = [first_day + timedelta(days=number) for number in range(days)]
    names, of_class = tuple(ahead.classes), tuple(ahead.classes.values())
    stands = {one.locomotive for one in work if one.stands}
    counts_as = [_STANDS if n in stands else c for n, c in zip(names, of_class, strict=True)]
    classes = tuple(dict.fromkeys((*counts_as, *(rule.class_name for rule in inputs.traffic))))
    groups = _groups(inputs.berths, calendar)
    skills = _in_order((one.skill for one in inputs.labour), (one.hours for one in work))
    spares = _in_order((one.name for one in inputs.spares), (one.parts for one in work))
    problem = Problem(
        **_of_berths(groups, of_class, calendar),
        **_of_fleet(ahead, inputs, stands, forbidden, calendar),
        class_of=_whole([classes.index(one) for one in counts_as]),
        absent_most=_absent_most(ahead, inputs, classes, stands, calendar),
        labour=_labour(inputs, skills, calendar),
        supply=_supply(inputs, spares, calendar),
        hours=_amounts([one.hours for one in work], skills),
        parts=_amounts([one.parts for one in work], spares).astype(np.int64),
        **_of_work(work, names, groups, days),
        **_of_pins(pins, names, calendar),
    )
    return Built(
        problem, first_day, names, of_class, classes, groups, tuple(work), skills, spares
    )  # fmt: skip


def _groups(berths: Iterable[Berth], calendar: Sequence[date]) -> tuple[tuple[Berth, ...], ...]:
    """Put together the berths that are open on the same days and take the same things."""
    found: dict[tuple[object, ...], list[Berth]] = {}
    for berth in berths:
        days = tuple(berth.open.hold_on(day) for day in calendar)
        key = (days, frozenset(berth.classes), frozenset(berth.jobs))
        found.setdefault(key, []).append(berth)
    return tuple(tuple(group) for group in found.values())


def _in_order(
    first: Iterable[str], amounts: Iterable[Mapping[str, float] | Mapping[str, int]]
) -> tuple[str, ...]:
    return tuple(dict.fromkeys([*first, *(name for each in amounts for name in each)]))


def _whole(values: Sequence[int]) -> IntArray:
    return np.array(values, dtype=np.int64)


def _of_berths(
    groups: Sequence[Sequence[Berth]], of_class: Sequence[str], calendar: Sequence[date]
) -> dict[str, Any]:
    berths = [[len(group) * group[0].open.hold_on(day) for day in calendar] for group in groups]
    takes = [[not g[0].classes or one in g[0].classes for one in of_class] for g in groups]
    return {
        "berths": _whole_of(berths, len(groups), len(calendar)),
        "takes": np.array(takes, dtype=bool).reshape(len(groups), len(of_class)),
    }


def _whole_of(rows: Sequence[Sequence[int]], *shape: int) -> IntArray:
    return np.array(rows, dtype=np.int64).reshape(shape)


def _of_fleet(
    ahead: Ahead,
    inputs: PlanInputs,
    stands: set[str],
    forbidden: Sequence[Pin],
    calendar: Sequence[date],
) -> dict[str, Any]:
    free = np.repeat(~ahead.fleet["stored"].to_numpy(dtype=bool)[:, None], len(calendar), axis=1)
    names = list(ahead.classes)
    for name, day in forbidden:
        if calendar[0] <= day <= calendar[-1] and (not name or name in names):
            rows = slice(None) if not name else names.index(name)
            free[rows, (day - calendar[0]).days] = False
    cost = [
        0.0 if name in stands else inputs.costs.day_out_of(of) for name, of in ahead.classes.items()
    ]
    day_cost = np.repeat(np.array(cost, dtype=np.float64)[:, None], len(calendar), axis=1)
    return {"free": free, "day_cost": day_cost}


def _absent_most(
    ahead: Ahead,
    inputs: PlanInputs,
    classes: Sequence[str],
    stands: set[str],
    calendar: Sequence[date],
) -> IntArray:
    """Return how many of each class may be in berths, so that enough are in traffic."""
    fleet = ahead.fleet
    there = fleet[~fleet["stored"] & ~fleet["locomotive"].isin(stands)].groupby("class").size()
    most = np.full((len(classes), len(calendar)), _PLENTY, dtype=np.int64)
    for rule in inputs.traffic:
        row = classes.index(rule.class_name)
        spare = max(int(there.get(rule.class_name, 0)) - rule.least, 0)
        on = [rule.days.hold_on(day) for day in calendar]
        most[row, on] = np.minimum(most[row, on], spare)
    return most


def _labour(
    inputs: PlanInputs, skills: Sequence[str], calendar: Sequence[date]
) -> np.ndarray[Any, np.dtype[np.float64]]:
    hours = np.zeros((len(skills), len(calendar)))
    for one in inputs.labour:
        hours[skills.index(one.skill)] += [one.hours * one.days.hold_on(day) for day in calendar]
    return hours


def _supply(inputs: PlanInputs, spares: Sequence[str], calendar: Sequence[date]) -> IntArray:
    """Return the pieces that may have been used by the end of each day."""
    supply = np.zeros((len(spares), len(calendar)), dtype=np.int64)
    for spare in inputs.spares:
        arrived = [sum(n for due, n in spare.on_order if due <= day) for day in calendar]
        free = spare.on_hand - spare.keep + np.array(arrived, dtype=np.int64)
        supply[spares.index(spare.name)] = np.maximum(free, 0)
    return supply


def _of_work(
    work: Sequence[Work],
    names: Sequence[str],
    groups: Sequence[Sequence[Berth]],
    days: int,
) -> dict[str, Any]:
    at = {name: place for place, name in enumerate(names)}
    value = [one.value for one in work]
    fits = [[_fits(group[0], one) for group in groups] for one in work]
    return {
        "locomotive": _whole([at[one.locomotive] for one in work]),
        "days": _whole([one.days for one in work]),
        "value": np.array(value, dtype=np.float64).reshape(len(work), days),
        "end_by": _whole([one.end_by for one in work]),
        "must": np.array([one.must for one in work], dtype=bool),
        "fits": np.array(fits, dtype=bool).reshape(len(work), len(groups)),
    }


def _amounts(
    each: Sequence[Mapping[str, float] | Mapping[str, int]], names: Sequence[str]
) -> np.ndarray[Any, np.dtype[np.float64]]:
    rows = [[float(one.get(name, 0)) for name in names] for one in each]
    return np.array(rows, dtype=np.float64).reshape(len(each), len(names))


def _fits(berth: Berth, work: Work) -> bool:
    """Tell whether a berth takes a piece of work; a mend goes wherever a mend may go."""
    return not berth.jobs or work.name in berth.jobs or (work.kind == MEND and MEND in berth.jobs)


def _of_pins(pins: Sequence[Pin], names: Sequence[str], calendar: Sequence[date]) -> dict[str, Any]:
    kept = [(n, d) for n, d in pins if n in names and calendar[0] <= d <= calendar[-1]]
    return {
        "pin_locomotive": _whole([names.index(name) for name, _ in kept]),
        "pin_day": _whole([(day - calendar[0]).days for _, day in kept]),
    }
