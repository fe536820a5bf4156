"""The panel in which a batch is withdrawn, and in which one sees how far that has got."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from analytics.store.jobs import Job
from dashboard.wording import Wording

PANEL, BATCH, SURE, START, WATCH = (
    "work-panel",
    "work-batch",
    "work-sure",
    "work-start",
    "work-watch",
)
_WATCH_MS = 1_500
_IN_PLACE = {"withinPortal": False}


def work_id(part: str) -> dict[str, str]:
    """Return the id of one part of the panel."""
    return {"type": part, "name": "withdraw"}


def build_work(batches: Mapping[int, str], jobs: Sequence[Job], wording: Wording) -> Component:
    """Return the panel with a place for what goes on in it."""
    inside = build_inside(batches, jobs, wording)
    return html.Div(inside, id=work_id(PANEL), role="status")


def build_inside(
    batches: Mapping[int, str],
    jobs: Sequence[Job],
    wording: Wording,
    refused: tuple[str | None, bool] | None = None,
) -> list[Component]:
    """Return what the panel shows.

    Parameters
    ----------
    batches
        Batches that can be withdrawn: their numbers with the words that tell them apart.
    jobs
        The latest work, newest first.
    wording
        The reader's words.
    refused
        The batch and the tick with which the button was pressed, where nothing was asked for one
        of them was missing: they stay as they are.
    """
    going_on = any(not job.is_over for job in jobs)
    watch = dcc.Interval(id=work_id(WATCH), interval=_WATCH_MS, disabled=not going_on)
    told = [html.P(_told(job, wording), className="remark") for job in jobs]
    form = _form(batches, wording, refused or (None, False), disabled=going_on)
    missing = wording.phrase("withdraw.missing")
    wrong = [html.P(missing, className="error", role="alert")] if refused else []
    return [*form, *wrong, *told, watch]


def _form(
    batches: Mapping[int, str], wording: Wording, chosen: tuple[str | None, bool], *, disabled: bool
) -> list[Component]:
    batch, sure = chosen
    start: dict[str, Any] = {"id": work_id(START), "n_clicks": 0}
    return [
        dmc.Select(
            id=work_id(BATCH),
            label=wording.phrase("withdraw.batch"),
            data=[{"value": str(number), "label": said} for number, said in batches.items()],
            value=batch,
            comboboxProps=_IN_PLACE,
            disabled=disabled or not batches,
        ),
        dmc.Checkbox(
            id=work_id(SURE),
            label=wording.phrase("withdraw.sure"),
            checked=sure,
            disabled=disabled,
        ),
        html.Button(wording.phrase("withdraw.start"), type="button", disabled=disabled, **start),
    ]


def _told(job: Job, wording: Wording) -> str:
    return wording.phrase(
        f"withdraw.{job.state}",
        batch=job.detail,
        at=job.finished_at or job.asked_at,
        who=job.who,
        result=int(job.result) if job.state == "done" else job.result,
    )
