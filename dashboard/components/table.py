"""A plain HTML table in words."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.sections.model import Table


def build_table(table: Table, *, caption: str) -> Component:
    """Return the table; it scrolls sideways by itself, and by keyboard, where it is too wide."""
    kinds = ["number" if numeric else "text" for numeric in table.numeric]
    heads = zip(table.heads, kinds, strict=True)
    body = [
        html.Tr([html.Td(text, className=kind) for text, kind in zip(row, kinds, strict=True)])
        for row in table.rows
    ]
    drawn = html.Table(
        [
            html.Caption(caption),
            html.Thead(html.Tr([html.Th(h, scope="col", className=kind) for h, kind in heads])),
            html.Tbody(body),
        ],
        className="data",
    )
    return html.Div(drawn, className="scrolling", role="group", tabIndex=0, **aria(label=caption))
