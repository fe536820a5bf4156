"""All locomotives, class by class, and how they stand among each other."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind
from dashboard.urls import page_url
from dashboard.visit import Visit


def _draw_head(visit: Visit) -> list[Component]:
    return [*lead("locomotives")(visit), *(_class(name, visit) for name in visit.record.classes)]


def _class(name: str, visit: Visit) -> Component:
    wording = visit.wording
    links: list[Component | str] = []
    for locomotive in visit.record.of_class(name):
        href = page_url("locomotive", locomotive, visit.chosen)
        links += [" ", dcc.Link(locomotive, href=href)]
    heading = wording.phrase("locomotives.class", name=wording.label("class", name))
    return html.Section([html.H2(heading), html.P(links, className="names")], className="class")


PAGE = PageKind(_draw_head, ("fleet", "down"))
