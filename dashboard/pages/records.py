"""What was handed in, what was set aside and why, what is missing; and a batch taken back."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.components.work import build_inside, build_work
from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind
from dashboard.record import live_batches
from dashboard.visit import Visit
from dashboard.work import ask_withdrawal, withdrawals

_FEW_JOBS = 3


def _draw_foot(visit: Visit) -> list[Component]:
    wording = visit.wording
    panel = build_work(_batches(visit), withdrawals(visit.store, _FEW_JOBS), wording)
    return [
        html.Section(
            [
                html.H2(wording.phrase("withdraw.title")),
                html.P(wording.phrase("withdraw.lead"), className="reading"),
                panel,
            ],
            className="section withdrawal",
        )
    ]


def draw_work(
    visit: Visit, *, pressed: bool, batch: str | None = None, sure: bool = False
) -> list[Component]:
    """Ask for a batch to be taken back, where the button was pressed, and draw how far it has got.

    Without a batch that counts, or without the tick, nothing is asked and a sentence says so.
    """
    live = live_batches(visit.reader)
    named = batch if batch and batch.isdecimal() and int(batch) in live else None
    if pressed and named and sure:
        ask_withdrawal(visit.store, int(named))
        pressed = False
    refused = (named, sure) if pressed else None
    jobs = withdrawals(visit.store, _FEW_JOBS)
    return build_inside(_batches(visit), jobs, visit.wording, refused)


def _batches(visit: Visit) -> dict[int, str]:
    return {
        number: visit.wording.phrase("withdraw.one", batch=number, at=at, files=files, first=first)
        for number, (at, files, first) in live_batches(visit.reader).items()
    }


PAGE = PageKind(lead("records"), ("batches", "aside", "quality", "inspected"), _draw_foot)
