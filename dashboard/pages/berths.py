"""Which locomotive gets which berth, why, and who is left out; the plan changed and taken along."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from dash import html
from dash.development.base_component import Component

from analytics.errors import PlanError
from analytics.planning.again import usual_inputs
from analytics.planning.versions import Version, Versions
from dashboard.asked import without
from dashboard.components import replan
from dashboard.components.replan import Offer, build_inside, build_replan, free_in_words
from dashboard.components.table import STAYS
from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind
from dashboard.urls import DATA
from dashboard.visit import Visit
from dashboard.work import ask_plan, ask_plan_undone, plans_asked, start

WHOLE = "berth-plan"
"""Name of the whole plan among the data files."""
FORMS = ("pdf", "xlsx", "ics")
_FEW_JOBS = 3


def draw_facts(visit: Visit) -> list[Component]:
    """Say which version is shown, whether it is in force, and give it whole as a file."""
    number, wording = visit.plan_version, visit.wording
    if number is None:
        return []
    one = Versions(visit.store.root).get(number)
    told = {"version": number, "at": one.made_at, "who": one.who, "known_to": one.plan.known_to}
    if number == visit.plan_in_force:
        said = [html.P(wording.phrase("berths.in_force", **told), className="facts")]
    else:
        link = html.A(
            wording.phrase("berths.to_force", version=visit.plan_in_force),
            href=without(visit.query, ("version",)),
            className=STAYS,
        )
        said = [html.P([wording.phrase("berths.older", **told), " ", link], className="lagging")]
    return [*said, html.P(_files(number, visit), className="facts")]


def _files(number: int, visit: Visit) -> list[Component | str]:
    parts: list[Component | str] = [f"{visit.wording.phrase('berths.files')}: "]
    for form in FORMS:
        href = f"{DATA}{WHOLE}.{form}?{urlencode({'version': number})}"
        parts += [html.A(visit.wording.phrase(f"form.{form}"), href=href, download=""), " \u00b7 "]
    return parts[:-1]


def _draw_foot(visit: Visit) -> list[Component]:
    wording, offer = visit.wording, _offer(visit)
    said = "replan.lead" if offer.version else "replan.lead_first"
    panel = build_replan(offer, plans_asked(visit.store, _FEW_JOBS), wording)
    return [
        html.Section(
            [
                html.H2(wording.phrase("replan.title")),
                html.P(wording.phrase(said), className="reading"),
                panel,
            ],
            className="section withdrawal",
        )
    ]


def draw_replan(
    visit: Visit, *, pressed: str, watched: bool, given: Mapping[str, Any]
) -> tuple[list[Component], str | None]:
    """Ask for a change, where a button was pressed, and draw how far the work has got.

    Returns
    -------
    panel, query
        What the panel shows; the query that shows a version that has just been made, or None.
    """
    missing = ""
    if pressed == replan.UNDO and visit.plan_in_force:
        ask_plan_undone(visit.store)
    elif pressed:
        try:
            ask_plan(visit.store, json.dumps(_detail(visit, given, first=pressed == replan.FIRST)))
        except PlanError as wrong:
            missing = str(wrong)
    jobs = plans_asked(visit.store, _FEW_JOBS)
    if any(job.state == "waiting" for job in jobs):  # also since another process ended
        start(visit.store)
    query = None
    if watched and jobs and jobs[0].state == "done":
        query = without(visit.query, ("version",), version=jobs[0].result)
    return build_inside(_offer(visit), jobs, visit.wording, missing), query


def _detail(visit: Visit, given: Mapping[str, Any], *, first: bool) -> dict[str, Any]:
    """Put what was filled in as the work's detail: pins, days to keep free, what is taken back."""
    pin = (given.get("pin_locomotive") or "", given.get("pin_day") or "")
    free = (given.get("free_locomotive") or "", given.get("free_day") or "")
    if bool(pin[0]) != bool(pin[1]):
        raise PlanError(visit.wording.phrase("replan.missing_pin"))
    if free[0] and not free[1]:
        raise PlanError(visit.wording.phrase("replan.missing_free"))
    return {
        "first": first,
        "pins": [_wish(*pin)] if pin[1] else [],
        "forbidden": [_wish(*free)] if free[1] else [],
        "lifted": [_wish(*one.rsplit("|", 1)) for one in given.get("lifted") or ()],
        "more": bool(given.get("more")),
    }


def _wish(name: str, day: str) -> list[str]:
    """Return a locomotive, or none, and a day.

    Raises
    ------
    PlanError
        For what is no day.
    """
    try:
        return [name, date.fromisoformat(day[:10]).isoformat()]
    except ValueError:
        raise PlanError(f"a day reads 2026-07-01, not {day!r}.") from None


def _offer(visit: Visit) -> Offer:
    versions = Versions(visit.store.root)
    latest = versions.latest()
    if latest is None:
        return Offer(can_begin=usual_inputs(visit.store) is not None)
    return _offer_of(versions.get(latest), visit)


def _offer_of(version: Version, visit: Visit) -> Offer:
    plan, wording = version.plan, visit.wording
    names = {v.locomotive for v in plan.visits} | {one.locomotive for one in plan.left_out}
    pinned = {
        f"{name}|{day}": wording.phrase("replan.told_pin", locomotive=name, day=day)
        for name, day in plan.pins
    }
    kept_free = {
        f"{name}|{day}": free_in_words(name, day.isoformat(), wording)
        for name, day in plan.forbidden
    }
    return Offer(
        version=version.number,
        can_undo=version.parent is not None,
        locomotives=sorted(names),
        days=(plan.first_day, plan.first_day + timedelta(days=plan.days - 1)),
        lifted=pinned | kept_free,
    )


PAGE = PageKind(
    lead("berths"),
    (
        "berth_plan", "plan_left_out", "plan_jobs", "plan_limits", "plan_worth", "plan_versions",
        "plan_compare",
    ),
    _draw_foot,
    draw_facts,
)  # fmt: skip
