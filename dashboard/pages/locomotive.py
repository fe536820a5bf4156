"""One locomotive: what was found and when, what comes back, what is in it and how old."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.pages.heads import trail
from dashboard.pages.kind import PageKind
from dashboard.visit import Visit


def _draw_head(visit: Visit) -> list[Component]:
    wording, one = visit.wording, visit.record.entries[visit.place.name]
    lines = [wording.phrase("locomotive.depot", depot=one.depot)] if one.depot else []
    if one.in_service_from:
        lines.append(wording.phrase("locomotive.in_service", at=one.in_service_from.date()))
    if one.known_to:
        lines.append(wording.phrase("locomotive.known", at=one.known_to))
    return [
        trail(visit, wording.label("class", one.class_name)),
        html.H1(visit.place.name),
        html.P(" · ".join(lines), className="positions"),
    ]


PAGE = PageKind(
    _draw_head,
    (
        "closer",
        "timeline",
        "open",
        "chains",
        "standing",
        "down",
        "counters",
        "plan_here",
        "weeks_positions",
        "ages",
        "readings",
        "measured",
    ),
)
