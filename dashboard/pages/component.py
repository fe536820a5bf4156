"""One component: how long it runs, how often it fails, how long it lasts, whether it comes back."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from analytics.errors import nearest
from dashboard.asked import read_scope
from dashboard.components.aria import aria
from dashboard.components.controls import build_picker, build_scope_controls
from dashboard.pages.parts import FACTS, part_id
from dashboard.pages.visit import Visit
from dashboard.urls import HOME, component_url

SECTIONS_IN_ORDER = ("mtbf", "recurrence", "month", "survival", "mcf")
_WIDE = {"month"}


def draw_page(visit: Visit) -> list[Component]:
    """Draw the frame of the page; its parts ask for themselves once they are on the screen."""
    name, wording = visit.place.name, visit.wording
    entry = wording.catalogue.components.get(name)
    if entry is None:
        return _unknown(visit)
    parts: list[Component] = [
        html.P(
            [
                dcc.Link(wording.phrase("page.components"), href=HOME),
                f" › {wording.heading('system', entry.system)}",
            ],
            className="trail",
        ),
        html.H1(wording.heading("component", name)),
        html.P(_positions(visit), className="positions"),
        html.Div(id=part_id(FACTS), role="status"),
        _choices(visit),
        html.Div([_section(section, visit) for section in SECTIONS_IN_ORDER], className="sections"),
    ]
    if entry.safety:
        parts.insert(3, html.P(wording.phrase("component.safety"), className="positions"))
    return parts


def _section(name: str, visit: Visit) -> Component:
    waiting = html.P(visit.wording.phrase("page.reckoning"), className="waiting")
    return html.Section(
        waiting,
        id=part_id(name),
        className="section wide" if name in _WIDE else "section",
        **aria(labelledby=f"{name}-title"),
    )


def _choices(visit: Visit) -> Component:
    name, wording, record = visit.place.name, visit.wording, visit.record
    scope, _ = read_scope(visit.query, component=name, record=record, wording=wording)
    controls = build_scope_controls(
        scope,
        wording,
        classes=record.classes or tuple(wording.catalogue.classes),
        depots=record.depots,
        clock=wording.catalogue.components[name].clock,
    )
    return html.Details(
        [html.Summary(wording.phrase("scope.heading")), build_picker(name, wording), controls],
        className="choices",
    )


def _positions(visit: Visit) -> str:
    """Say how many of the component each locomotive has, by class where classes differ."""
    wording, catalogue = visit.wording, visit.wording.catalogue
    classes = visit.record.classes or tuple(catalogue.classes)
    counts = {name: catalogue.positions(name, visit.place.name) for name in classes}
    if len(set(counts.values())) == 1:
        return wording.phrase("component.positions_same", count=next(iter(counts.values())))
    return " · ".join(
        wording.phrase("component.positions", count=count, name=wording.label("class", name))
        for name, count in counts.items()
    )


def _unknown(visit: Visit) -> list[Component]:
    """Draw the page of a component that does not exist, with the nearest names."""
    wording, name = visit.wording, visit.place.name
    by_label = {wording.label("component", known): known for known in wording.catalogue.components}
    close = dict.fromkeys(
        [
            *nearest(name, wording.catalogue.components),
            *(by_label[label] for label in nearest(name, by_label)),
        ]
    )
    found = [
        html.Li(dcc.Link(wording.heading("component", known), href=component_url(known)))
        for known in close
    ]
    return [
        html.H1(wording.phrase("component.unknown_title")),
        html.P(wording.phrase("component.unknown", name=name), className="reading"),
        *([html.P(wording.phrase("component.nearest")), html.Ul(found)] if found else []),
        html.P(dcc.Link(wording.phrase("page.to_components"), href=HOME)),
    ]
