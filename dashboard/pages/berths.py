"""Which locomotive gets which berth, why, and who is left out; the plan changed and taken along."""

from __future__ import annotations

import json
from datetime import timedelta
from urllib.parse import urlencode

from dash import html
from dash.development.base_component import Component

from analytics.planning.versions import Version, Versions
from dashboard.components.replan import FREE, Offer, build_inside, build_replan
from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind
from dashboard.urls import DATA
from dashboard.visit import Visit
from dashboard.work import ask_plan, ask_plan_undone, plans_asked

WHOLE = "berth-plan"
"""Name of the whole plan among the data files."""
FORMS = ("pdf", "xlsx", "ics")
_FEW_JOBS = 3


def version_in(visit: Visit) -> Version | None:
    """Return the version that the address names, else the one in force."""
    versions = Versions(visit.store.root)
    number = visit.version or versions.latest()
    return versions.get(number) if number else None


def _draw_foot(visit: Visit) -> list[Component]:
    wording, version = visit.wording, version_in(visit)
    if version is None:
        return []
    panel = build_replan(_offer(version), plans_asked(visit.store, _FEW_JOBS), wording)
    return [
        html.Section(
            [
                html.H2(wording.phrase("replan.title")),
                html.P(wording.phrase("replan.lead"), className="reading"),
                panel,
                html.P(_files(version, visit), className="taken"),
            ],
            className="section withdrawal",
        )
    ]


def _files(version: Version, visit: Visit) -> list[Component | str]:
    parts: list[Component | str] = [f"{visit.wording.phrase('replan.files')}: "]
    for form in FORMS:
        query = urlencode({"version": version.number})
        href = f"{DATA}{WHOLE}.{form}?{query}"
        parts += [html.A(visit.wording.phrase(f"form.{form}"), href=href, download=""), " · "]
    return parts[:-1]


def draw_replan(
    visit: Visit, *, change: dict[str, str | None] | None, undo: bool
) -> list[Component]:
    """Ask for the change, where there is one, and draw how far the work has got."""
    version = version_in(visit)
    if version is None:
        return []
    if undo:
        ask_plan_undone(visit.store)
    elif change is not None:
        ask_plan(visit.store, json.dumps(_detail(version, change)))
    return build_inside(_offer(version), plans_asked(visit.store, _FEW_JOBS), visit.wording)


def _detail(version: Version, change: dict[str, str | None]) -> dict[str, object]:
    """Put what was chosen as the work's detail: pins, days to keep free, what is taken back."""
    name, day = change.get("locomotive") or "", change.get("day")
    free = change.get("what") == FREE
    chosen = [[name, day]] if day and (name or free) else []
    lifted = change.get("lift")
    return {
        "parent": version.number,
        "pins": [] if free else chosen,
        "forbidden": chosen if free else [],
        "lifted": [lifted.rsplit("|", 1)] if lifted else [],
    }


def _offer(version: Version) -> Offer:
    plan = version.plan
    days = [plan.first_day + timedelta(days=number) for number in range(plan.days)]
    names = {v.locomotive for v in plan.visits} | {one.locomotive for one in plan.left_out}
    return Offer(
        locomotives=sorted(names),
        days={day.isoformat(): f"{day:%a} {day}" for day in days},
        lifted={
            f"{name}|{day}": f"{name} {day}".strip() for name, day in (*plan.pins, *plan.forbidden)
        },
        can_undo=version.parent is not None,
    )


PAGE = PageKind(
    lead("berths"),
    (
        "berth_plan", "plan_visits", "plan_left_out", "plan_jobs", "plan_limits", "plan_worth",
        "plan_compare", "plan_versions",
    ),
    _draw_foot,
)  # fmt: skip
