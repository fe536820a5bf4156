"""Which page an address leads to."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.pages import component, home
from dashboard.pages.visit import Visit
from dashboard.urls import HOME


def draw_page(visit: Visit) -> list[Component]:
    """Draw the page of a visit; an unknown address has a page of its own."""
    if visit.place.page == "home":
        return home.draw_page(visit)
    if visit.place.page == "component":
        return component.draw_page(visit)
    wording = visit.wording
    return [
        html.H1(wording.phrase("page.not_found")),
        html.P(wording.phrase("page.not_found_text", path=visit.place.name), className="reading"),
        html.P(dcc.Link(wording.phrase("page.to_components"), href=HOME)),
    ]
