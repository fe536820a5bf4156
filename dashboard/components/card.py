"""A section on the page: heading, reading, figure, notes, table, what can be taken along, basis."""

from __future__ import annotations

from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from analytics.exports import FORMATS
from dashboard.components.aria import aria
from dashboard.components.table import TableDrawing
from dashboard.figures.look import Figure
from dashboard.sections.model import Section
from dashboard.sections.tables import put_into_words
from dashboard.urls import data_url
from dashboard.visit import Visit

_GRAPH: Any = {
    "displayModeBar": False,
    "responsive": True,
    "doubleClick": False,
    "scrollZoom": False,
}
TAKEN = tuple(form for form in FORMATS if form != "json")
"""Forms of the data files that a reader can take along."""


def build_card(name: str, section: Section, visit: Visit) -> list[Component]:
    """Return the parts of one section; `name` makes the ids on the page."""
    parts: list[Component] = [
        html.H2(section.title, id=f"{name}-title"),
        html.P(section.reading, className="reading"),
    ]
    if section.figure:
        parts.append(_figure(name, section, section.figure))
    if section.notes:
        parts.append(html.Ul([html.Li(note) for note in section.notes], className="notes"))
    parts += _table(name, section, visit)
    if section.basis:
        summary = html.Summary(section.basis.summary)
        whole = html.P(" · ".join(section.basis.parts))
        parts.append(html.Details([summary, whole], className="basis"))
    return parts


def build_sentence(name: str, *, title: str, sentence: str) -> list[Component]:
    """Return a section that can only say why it shows nothing."""
    return [html.H2(title, id=f"{name}-title"), html.P(sentence, className="reading")]


def _figure(name: str, section: Section, figure: Figure) -> Component:
    least = figure["layout"].get("meta", {}).get("least_width", 0)
    graph = dcc.Graph(
        id=f"{name}-graph",
        figure=figure,
        config=_GRAPH,
        style={"height": f"{figure['layout']['height']}px", "minWidth": f"{least}px"},
    )
    said = f"{section.title} {section.reading}"
    # The picture has its words here and its numbers in the table below.
    picture = html.Div(graph, role="img", **aria(label=said))
    if not least:
        return html.Figure(picture)
    scrolled: dict[str, Any] = {"role": "group", "tabIndex": 0, **aria(label=section.title)}
    return html.Figure(html.Div(picture, className="scrolling", **scrolled))


def _table(name: str, section: Section, visit: Visit) -> list[Component]:
    if section.table is None:
        return []
    wording = visit.wording
    worded = put_into_words(section.table, wording, visit.view(name), subject=visit.place.page)
    drawing = TableDrawing(name, query=visit.query, scope=visit.chosen, wording=wording)
    table = drawing.draw(worded, caption=section.title, listed=section.table.opened)
    along = _taken_along(name, section, visit)
    if section.table.opened:
        return [*table, html.Details([html.Summary(wording.phrase("table.take")), *along])]
    return [html.Details([html.Summary(wording.phrase("table.show")), *table, *along])]


def _taken_along(name: str, section: Section, visit: Visit) -> list[Component]:
    """Return the links to the data as files, the picture, and the command that prints the same."""
    wording = visit.wording
    links: list[Component | str] = [f"{wording.phrase('table.data')}: "]
    for form in TAKEN:
        href = data_url(name, form, place=visit.place, query=visit.query)
        # Plain links: the browser keeps what comes as a file.
        links += [html.A(wording.phrase(f"form.{form}"), href=href, download=""), " · "]
    if section.figure:
        picture = wording.phrase("form.picture")
        links.append(html.Button(picture, type="button", className="picture"))
    else:
        links.pop()
    said = wording.phrase("basis.command")
    command = html.P([f"{said}: ", html.Code(section.command)], className="remark")
    return [html.P(links, className="taken"), *([command] if section.command else [])]
