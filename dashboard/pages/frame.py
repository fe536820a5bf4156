"""The frame of every page: head, what is in and out, the choices, a place for each section."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.pages import unknown
from dashboard.pages.choices import build_choices
from dashboard.pages.parts import FACTS, part_id
from dashboard.pages.registry import PAGES
from dashboard.sections.registry import SECTIONS
from dashboard.urls import HOME
from dashboard.visit import Visit


def draw_page(visit: Visit) -> list[Component]:
    """Draw the frame of a page; its parts ask for themselves once they are on the screen."""
    if visit.place.page == "nowhere":
        return _nowhere(visit)
    if not visit.is_somewhere:
        return unknown.draw_page(visit)
    page = PAGES[visit.place.page]
    return [
        *page.head(visit),
        html.Div(id=part_id(FACTS), role="status"),
        build_choices(visit, page.sections),
        html.Div([_section(name, visit) for name in page.sections], className="sections"),
        *page.foot(visit),
    ]


def _section(name: str, visit: Visit) -> Component:
    waiting = html.P(visit.wording.phrase("page.reckoning"), className="waiting")
    return html.Section(
        waiting,
        id=part_id(name),
        className="section wide" if SECTIONS[name].wide else "section",
        **aria(labelledby=f"{name}-title"),
    )


def _nowhere(visit: Visit) -> list[Component]:
    wording = visit.wording
    return [
        html.H1(wording.phrase("page.not_found")),
        html.P(wording.phrase("page.not_found_text", path=visit.place.name), className="reading"),
        html.P(dcc.Link(wording.phrase("page.to_today"), href=HOME)),
    ]
