"""A section on the page: heading, reading, figure, notes, table twin, basis."""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import aria
from dashboard.components.table import build_table
from dashboard.figures.look import Figure
from dashboard.sections.model import Section, Table
from dashboard.wording import Wording

_GRAPH: Any = {
    "displayModeBar": False,
    "responsive": True,
    "doubleClick": False,
    "scrollZoom": False,
}


def build_card(name: str, section: Section, wording: Wording) -> list[Component]:
    """Return the parts of one section; `name` makes the ids on the page."""
    parts: list[Component] = [
        html.H2(section.title, id=f"{name}-title"),
        html.P(section.reading, className="reading"),
    ]
    if section.figure:
        parts.append(_figure(name, section, section.figure))
    if section.notes:
        parts.append(html.Ul([html.Li(note) for note in section.notes], className="notes"))
    if section.table:
        parts.append(_table_twin(section, section.table, wording))
    if section.basis:
        summary = html.Summary(section.basis.summary)
        whole = html.P(" · ".join(section.basis.parts))
        parts.append(html.Details([summary, whole], className="basis"))
    return parts


def build_sentence(name: str, *, title: str, sentence: str) -> list[Component]:
    """Return a section that can only say why it shows nothing."""
    return [html.H2(title, id=f"{name}-title"), html.P(sentence, className="reading")]


def _figure(name: str, section: Section, figure: Figure) -> Component:
    graph = dcc.Graph(
        id=f"{name}-graph",
        figure=figure,
        config=_GRAPH,
        style={"height": f"{figure['layout']['height']}px"},
    )
    said = f"{section.title} {section.reading}"
    # The picture has its words here and its numbers in the table below.
    return html.Figure(html.Div(graph, role="img", **aria(label=said)))


def _table_twin(section: Section, table: Table, wording: Wording) -> Component:
    parts: list[Component] = [
        html.Summary(wording.phrase("table.show")),
        build_table(table, caption=section.title),
    ]
    if table.remark:
        parts.append(html.P(table.remark, className="remark"))
    if section.command:
        words = wording.phrase("basis.command")
        parts.append(html.P([f"{words}: ", html.Code(section.command)], className="remark"))
    return html.Details(parts)
