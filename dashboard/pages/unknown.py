"""The page of a locomotive or component that does not exist: the nearest names."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from analytics.errors import nearest
from dashboard.urls import SUBJECTS, page_url
from dashboard.visit import Visit


def draw_page(visit: Visit) -> list[Component]:
    """Say that there is no such thing, and lead to what has nearly its name."""
    wording, (kind, name) = visit.wording, (visit.place.page, visit.place.name)
    names: list[str] = (
        list(wording.catalogue.components)
        if kind == "component"
        else list(visit.record.locomotives)
    )
    labels = {wording.label(kind, known): known for known in names}
    close = dict.fromkeys(labels.get(said, said) for said in nearest(name, [*labels, *names]))
    found = [
        html.Li(dcc.Link(wording.heading(kind, known), href=page_url(kind, known)))
        for known in close
    ]
    return [
        html.H1(wording.phrase(f"{kind}.unknown_title")),
        html.P(wording.phrase(f"{kind}.unknown", name=name), className="reading"),
        *([html.P(wording.phrase("page.nearest")), html.Ul(found)] if found else []),
        html.P(dcc.Link(wording.phrase(f"{kind}.to_all"), href=page_url(SUBJECTS[kind]))),
    ]
