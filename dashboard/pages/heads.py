"""Heads of pages: a heading and what the page is for, or where the reader is."""

from __future__ import annotations

from collections.abc import Callable

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.urls import SUBJECTS, page_url
from dashboard.visit import Visit


def lead(page: str, *, onward: str = "") -> Callable[[Visit], list[Component]]:
    """Return the head of a page about everything in scope: its heading and what it is for.

    `onward` names a page that goes on from this one; the link's words are the phrase `page.onward`.
    """

    def draw(visit: Visit) -> list[Component]:
        wording = visit.wording
        return [
            html.H1(wording.phrase(f"{page}.heading")),
            html.P(wording.phrase(f"{page}.lead"), className="lead"),
            *(
                [html.P(dcc.Link(wording.phrase(f"{onward}.onward"), href=page_url(onward)))]
                if onward
                else []
            ),
        ]

    return draw


def trail(visit: Visit, after: str) -> Component:
    """Return the way to the page of one thing: the list that it is on, and where it belongs."""
    listed = SUBJECTS[visit.place.page]
    link = dcc.Link(visit.wording.phrase(f"page.{listed}"), href=page_url(listed))
    return html.P([link, f" › {after}"], className="trail")
