"""The list of components, system by system, with how much was found on each."""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.pages.kind import PageKind
from dashboard.record import count_findings
from dashboard.urls import page_url
from dashboard.visit import Visit
from dashboard.wording import Wording, shown


def _draw_head(visit: Visit) -> list[Component]:
    """Draw the heading and the list; an empty store has the list too."""
    wording = visit.wording
    counts = count_findings(visit.reader)
    by_system: dict[str, list[str]] = {}
    for name, entry in wording.catalogue.components.items():
        by_system.setdefault(entry.system, []).append(name)
    return [
        html.H1(wording.phrase("components.heading")),
        html.P(wording.phrase("components.lead"), className="lead"),
        html.Div(
            [_system(system, names, counts, wording) for system, names in by_system.items()],
            className="systems",
        ),
    ]


def _system(
    system: str, names: Sequence[str], counts: dict[str, tuple[int, int]], wording: Wording
) -> Component:
    """Draw one system: a table of what has findings, most first, and a line of the quiet ones."""
    found = sorted((n for n in names if n in counts), key=lambda n: -counts[n][1])
    quiet = [n for n in names if n not in counts]
    parts: list[Component] = [html.H2(wording.heading("system", system))]
    if found:
        parts.append(_table(found, counts, wording))
    if quiet:
        parts.append(html.P(_quiet(quiet, wording, some=bool(counts)), className="quiet"))
    return html.Section(parts, className="system")


def _table(names: Sequence[str], counts: dict[str, tuple[int, int]], wording: Wording) -> Component:
    heads = [
        html.Th(wording.phrase("components.component"), scope="col"),
        *(
            html.Th(wording.phrase(key), scope="col", className="number")
            for key in ("components.findings", "components.failures")
        ),
    ]
    rows = [
        html.Tr(
            [
                html.Th(_link(name, wording), scope="row"),
                *(html.Td(shown(count), className="number") for count in counts[name]),
            ]
        )
        for name in names
    ]
    return html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], className="data")


def _quiet(names: Sequence[str], wording: Wording, *, some: bool) -> list[Component | str]:
    links: list[Component | str] = []
    for name in names:
        links += [", ", _link(name, wording)] if links else [_link(name, wording)]
    return [wording.phrase("components.quiet"), " ", *links, "."] if some else [*links, "."]


def _link(name: str, wording: Wording) -> Component:
    return dcc.Link(wording.heading("component", name), href=page_url("component", name))


PAGE = PageKind(_draw_head, ())
