"""One component: how long it runs, how often it fails, how long it lasts, whether it comes back."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.pages.heads import trail
from dashboard.pages.kind import PageKind
from dashboard.visit import Visit


def _draw_head(visit: Visit) -> list[Component]:
    name, wording = visit.place.name, visit.wording
    entry = wording.catalogue.components[name]
    safety = [html.P(wording.phrase("component.safety"), className="positions")]
    return [
        trail(visit, wording.heading("system", entry.system)),
        html.H1(wording.heading("component", name)),
        html.P(_positions(visit), className="positions"),
        *(safety if entry.safety else []),
    ]


def _positions(visit: Visit) -> str:
    """Say how many of the component each locomotive has, by class where classes differ."""
    wording, catalogue = visit.wording, visit.wording.catalogue
    classes = visit.record.classes or tuple(catalogue.classes)
    counts = {name: catalogue.positions(name, visit.place.name) for name in classes}
    if len(set(counts.values())) == 1:
        return wording.phrase("component.positions_same", count=next(iter(counts.values())))
    return " · ".join(
        wording.phrase("component.positions", count=count, name=wording.label("class", name))
        for name, count in counts.items()
    )


PAGE = PageKind(
    _draw_head,
    (
        *(
            "mtbf",
            "recurrence",
            "month",
            "survival",
            "mcf",
            "mtbf_depot",
            "mtbf_position",
            "compared",
        ),
        *("watch", "chains", "recurrence_differ", "intensity", "trend", "kinds", "hazard"),
        *("plot", "mcf_differ", "fit", "differ"),
        *("replace_age", "replacement_curve", "spares"),
    ),
)
