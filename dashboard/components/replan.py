"""The panel in which the berth plan is changed: pin a visit, keep a day free, solve again, undo."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from analytics.store.jobs import Job
from dashboard.components.table import STAYS
from dashboard.wording import Wording

PANEL, WATCH, START, UNDO = "plan-panel", "plan-watch", "plan-start", "plan-undo"
WHAT, LOCOMOTIVE, DAY, LIFT = "plan-what", "plan-locomotive", "plan-day", "plan-lift"
PIN, FREE = "pin", "free"
_WATCH_MS = 1_500
_FEW = 8
_IN_PLACE = {"withinPortal": False}


@dataclass(frozen=True, slots=True)
class Offer:
    """What the panel offers: locomotives, days with their words, what may be taken back."""

    locomotives: Sequence[str]
    days: Mapping[str, str]
    lifted: Mapping[str, str]
    can_undo: bool


def replan_id(part: str) -> dict[str, str]:
    """Return the id of one part of the panel."""
    return {"type": part, "name": "replan"}


def build_replan(offer: Offer, jobs: Sequence[Job], wording: Wording) -> Component:
    """Return the panel with a place for what goes on in it."""
    return html.Div(build_inside(offer, jobs, wording), id=replan_id(PANEL), role="status")


def build_inside(offer: Offer, jobs: Sequence[Job], wording: Wording) -> list[Component]:
    """Return what the panel shows; `jobs` are the latest changes, newest first."""
    going_on = any(not job.is_over for job in jobs)
    watch = dcc.Interval(id=replan_id(WATCH), interval=_WATCH_MS, disabled=not going_on)
    told = [_told(job, wording) for job in jobs]
    return [*_form(offer, wording, disabled=going_on), *told, watch]


def _form(offer: Offer, wording: Wording, *, disabled: bool) -> list[Component]:
    kinds = {PIN: wording.phrase("replan.pin"), FREE: wording.phrase("replan.free")}
    names = {name: name for name in offer.locomotives}
    buttons = [
        _button(START, wording.phrase("replan.start"), disabled=disabled),
        _button(UNDO, wording.phrase("replan.undo"), disabled=disabled or not offer.can_undo),
    ]
    return [
        _select(WHAT, wording.phrase("replan.what"), kinds, disabled, value=PIN),
        _select(LOCOMOTIVE, wording.phrase("replan.locomotive"), names, disabled),
        _select(DAY, wording.phrase("replan.day"), offer.days, disabled),
        _select(LIFT, wording.phrase("replan.lift"), offer.lifted, disabled or not offer.lifted),
        html.P(buttons, className="buttons"),
    ]


def _select(
    part: str, label: str, data: Mapping[str, str], disabled: bool, value: str | None = None
) -> Component:
    chosen: Component = dmc.Select(
        id=replan_id(part),
        label=label,
        data=[{"value": name, "label": said} for name, said in data.items()],
        value=value,
        clearable=value is None,
        searchable=True,
        limit=_FEW,
        withScrollArea=False,  # a list that scrolls would be out of reach of the keyboard
        comboboxProps=_IN_PLACE,
        disabled=disabled,
    )
    return chosen


def _button(part: str, said: str, *, disabled: bool) -> Component:
    given: dict[str, Any] = {"id": replan_id(part), "n_clicks": 0}
    return html.Button(said, type="button", disabled=disabled, **given)


def _told(job: Job, wording: Wording) -> Component:
    said = wording.phrase(
        f"replan.{job.state}", at=job.finished_at or job.asked_at, who=job.who, result=job.result
    )
    parts: list[Component | str] = [said]
    if job.state == "done":
        link = html.A(wording.phrase("replan.show"), href=f"?version={job.result}", className=STAYS)
        parts += [" ", link]
    return html.P(parts, className="remark")
