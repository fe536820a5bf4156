"""Whether the berths have the days that the visits due ask for, before anything is solved."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, timedelta
from itertools import accumulate

from analytics.planning.inputs import DueVisit, PlanInputs

_NAMED = 6


def too_many_visits(
    inputs: PlanInputs, first_day: date, name: str, stored: Collection[str] = ()
) -> list[str]:
    """Return a sentence for each stretch of days with more due than the berths hold.

    Counts, for the stretch from any earliest to any latest date within the plan, the days of the
    visits that lie wholly inside it against the open berth-days: more of the first than of the
    second and no plan exists (Hall 1935, J. London Math. Soc. 10, 26-30). The shortest such stretch
    of each latest date is told, and each visit whose window is too short for it. What is due of
    locomotives out of use, `stored`, waits until they return and needs no berth.
    """
    last = first_day + timedelta(days=7 * inputs.weeks - 1)
    calendar = [first_day + timedelta(days=number) for number in range(7 * inputs.weeks)]
    opened = [
        list(accumulate((one.open.hold_on(day) for day in calendar), initial=0))
        for one in inputs.berths
    ]

    def open_days(begin: date, end: date) -> list[int]:
        """Return how many days each berth is open in a span of the calendar."""
        before, after = (begin - first_day).days, (end - first_day).days + 1
        return [counted[after] - counted[before] for counted in opened]

    in_use = [visit for visit in inputs.visits if visit.locomotive not in stored]
    due = [visit for visit in in_use if first_day <= visit.latest <= last]
    found: list[str] = []
    told: list[DueVisit] = []
    for visit in due:
        begin = max(visit.earliest, first_day)
        if max(open_days(begin, visit.latest)) < visit.days:
            told.append(visit)
            found.append(
                f"{name}: {visit.name} of {visit.locomotive} needs {visit.days} open days, and no"
                f" berth has as many between {begin} and {visit.latest}; open a berth or move the"
                " window."
            )
    for end in sorted({visit.latest for visit in due}):
        for begin in sorted({max(v.earliest, first_day) for v in due if v.latest <= end})[::-1]:
            inside = [v for v in due if v.earliest >= begin or begin == first_day]
            inside = [v for v in inside if v.latest <= end]
            needed = sum(visit.days for visit in inside)
            there = sum(open_days(begin, end))
            if needed > there and not all(visit in told for visit in inside):
                counted = f"need {needed} berth-days, but only {there} are open"
                found.append(f"{name}: between {begin} and {end} {_said(inside, counted)}")
                break
    return found


def _said(visits: list[DueVisit], counted: str) -> str:
    named = ", ".join(f"{visit.name} of {visit.locomotive}" for visit in visits[:_NAMED])
    more = f" and {len(visits) - _NAMED} more" if len(visits) > _NAMED else ""
    return f"visits due {counted}: {named}{more}; open more berths or move a window."
