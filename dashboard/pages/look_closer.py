"""What to look at twice on one locomotive, chosen here by its name."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.asked import without
from dashboard.components.table import STAYS
from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind
from dashboard.visit import Visit


def _draw_head(visit: Visit) -> list[Component]:
    links: list[Component | str] = []
    for name in visit.record.locomotives:
        href = without(visit.query, ("locomotive",), locomotive=name)
        links += [" ", html.A(name, href=href, className=STAYS)]
    return [*lead("look-closer")(visit), html.P(links, className="names")]


PAGE = PageKind(_draw_head, ("closer", "open"))
