"""The panel in which the berth plan is changed, and in which one sees how far that has got."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from analytics.store.jobs import Job
from dashboard.wording import Wording

PANEL, FIELD, MORE, BUTTON, WATCH = (
    "plan-panel",
    "plan-field",
    "plan-more",
    "plan-button",
    "plan-watch",
)
FIELDS = ("pin_locomotive", "pin_day", "free_day", "free_locomotive", "lifted")
"""What can be filled in, in the order in which it stands on the page."""
FIRST, AGAIN, UNDO = "first", "again", "undo"
_WATCH_MS = 1_500
_IN_PLACE = {"withinPortal": False}
_SHORT_LIST: dict[str, Any] = {"limit": 8, "withScrollArea": False}


@dataclass(frozen=True, slots=True)
class Offer:
    """What the panel offers to change.

    Attributes
    ----------
    version
        The version in force, None before the first plan.
    can_undo
        Whether there is one to go back to.
    locomotives
        Those that may be chosen.
    days
        First and last day of the plan.
    lifted
        Pins and days kept free that may be taken back: the value of each with its words.
    can_begin
        Whether a planner's file is there from which the first plan can be made.
    """

    version: int | None = None
    can_undo: bool = False
    locomotives: Sequence[str] = ()
    days: tuple[date, date] | None = None
    lifted: Mapping[str, str] | None = None
    can_begin: bool = False


def replan_id(part: str, name: str = "") -> dict[str, str]:
    """Return the id of one part of the panel; `name` tells several of one kind apart."""
    return {"type": part, "name": "plan"} | ({"part": name} if name else {})


def build_replan(offer: Offer, jobs: Sequence[Job], wording: Wording) -> Component:
    """Return the panel with a place for what goes on in it."""
    return html.Div(build_inside(offer, jobs, wording), id=replan_id(PANEL), role="status")


def build_inside(
    offer: Offer, jobs: Sequence[Job], wording: Wording, missing: str = ""
) -> list[Component]:
    """Return what the panel shows.

    Parameters
    ----------
    offer
        What can be changed.
    jobs
        The latest changes asked for, newest first.
    wording
        The reader's words.
    missing
        A sentence that says what was not filled in; empty where nothing was.
    """
    going_on = any(not job.is_over for job in jobs)
    watch = dcc.Interval(id=replan_id(WATCH), interval=_WATCH_MS, disabled=not going_on)
    told = [html.P(_told(job, wording), className="remark") for job in jobs]
    wrong = [html.P(missing, className="error", role="alert")] if missing else []
    form = _form if offer.version else _begin
    return [*form(offer, wording, disabled=going_on), *wrong, *told, watch]


def _begin(offer: Offer, wording: Wording, *, disabled: bool) -> list[Component]:
    """Return what stands there before the first plan."""
    if not offer.can_begin:
        steps = [html.Li(html.Code(wording.phrase(f"replan.step_{n}"))) for n in (1, 2)]
        return [html.P(wording.phrase("replan.no_inputs")), html.Ul(steps), _more(wording, True)]
    return [
        html.P(wording.phrase("replan.inputs_there")),
        _more(wording, disabled),
        html.P(_button(FIRST, wording, disabled=disabled)),
    ]


def _form(offer: Offer, wording: Wording, *, disabled: bool) -> list[Component]:
    names = {name: name for name in offer.locomotives}
    lifted = offer.lifted or {}
    one, free = {"clearable": True, "data": _data(names)}, {"days": offer.days}
    controls = [
        [
            _select("pin_locomotive", wording, disabled, **one),
            _day("pin_day", wording, disabled, **free),
        ],
        [
            _day("free_day", wording, disabled, **free),
            _select("free_locomotive", wording, disabled, **one),
        ],
        [_several("lifted", wording, disabled or not lifted, _data(lifted))],
    ]
    groups = [
        html.Fieldset([html.Legend(wording.phrase(f"replan.{name}")), html.Div(held)])
        for name, held in zip(("pin", "free", "lift"), controls, strict=True)
    ]
    return [
        html.Div(groups, className="changes"),
        _more(wording, disabled),
        html.P(
            [
                _button(AGAIN, wording, disabled=disabled),
                " ",
                _button(UNDO, wording, disabled=disabled or not offer.can_undo),
            ]
        ),
    ]


def _data(labels: Mapping[str, str]) -> list[dict[str, str]]:
    return [{"value": value, "label": label} for value, label in labels.items()]


def _select(part: str, wording: Wording, disabled: bool, **parts: Any) -> Component:
    control: Component = dmc.Select(
        id=replan_id(FIELD, part),
        label=wording.phrase(f"replan.{part}"),
        placeholder=wording.phrase_or(f"replan.{part}_empty", ""),
        searchable=True,
        nothingFoundMessage=wording.phrase("scope.none_found"),
        comboboxProps=_IN_PLACE,
        disabled=disabled,
        **_SHORT_LIST,
        **parts,
    )
    return control


def _several(part: str, wording: Wording, disabled: bool, data: list[dict[str, str]]) -> Component:
    control: Component = dmc.MultiSelect(
        id=replan_id(FIELD, part),
        label=wording.phrase(f"replan.{part}"),
        placeholder=wording.phrase("replan.lifted_none") if disabled else "",
        data=data,
        value=[],
        comboboxProps=_IN_PLACE,
        disabled=disabled,
        **_SHORT_LIST,
    )
    return control


def _day(
    part: str, wording: Wording, disabled: bool, *, days: tuple[date, date] | None
) -> Component:
    first, last = days or (None, None)
    control: Component = dmc.DateInput(
        id=replan_id(FIELD, part),
        label=wording.phrase(f"replan.{part}"),
        placeholder=wording.phrase("scope.date_hint"),
        valueFormat="YYYY-MM-DD",
        clearable=True,
        hideOutsideDates=True,
        minDate=first.isoformat() if first else None,
        maxDate=last.isoformat() if last else None,
        popoverProps=_IN_PLACE,
        ariaLabels={
            "previousMonth": wording.phrase("scope.previous_month"),
            "nextMonth": wording.phrase("scope.next_month"),
        },
        disabled=disabled,
    )
    return control


def _more(wording: Wording, disabled: bool) -> Component:
    box: Component = dmc.Checkbox(
        id=replan_id(MORE), label=wording.phrase("replan.more"), checked=False, disabled=disabled
    )
    return box


def _button(name: str, wording: Wording, *, disabled: bool) -> Component:
    given: dict[str, Any] = {"id": replan_id(BUTTON, name), "n_clicks": 0}
    return html.Button(wording.phrase(f"replan.{name}"), type="button", disabled=disabled, **given)


def _told(job: Job, wording: Wording) -> str:
    return wording.phrase(
        f"replan.{job.state}",
        what=_asked(job, wording),
        at=job.finished_at or job.asked_at,
        who=job.who,
        result=job.result,
    )


def _asked(job: Job, wording: Wording) -> str:
    """Say what a change was to bring."""
    if job.kind != "plan":
        return wording.phrase("replan.undo")
    asked = json.loads(job.detail)
    said = [
        *(
            wording.phrase("replan.told_pin", locomotive=name, day=day)
            for name, day in asked["pins"]
        ),
        *(free_in_words(name, day, wording) for name, day in asked["forbidden"]),
        *(
            wording.phrase("replan.told_lift", what=" ".join(one).strip())
            for one in asked["lifted"]
        ),
    ]
    plain = FIRST if asked.get("first") else AGAIN
    return "; ".join(said) or wording.phrase(f"replan.{plain}")


def free_in_words(name: str, day: str, wording: Wording) -> str:
    """Say a day on which one locomotive, or all of them, are kept out of the berths."""
    key = "replan.told_free" if name else "replan.told_free_all"
    return wording.phrase(key, locomotive=name, day=day)
