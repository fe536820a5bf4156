"""The choices of a page: what it is about, the Scope, and the options of its sections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from urllib.parse import parse_qsl

from dash import html
from dash.development.base_component import Component

from dashboard.components.controls import (
    build_choice,
    build_picker,
    build_scope_controls,
)
from dashboard.sections.registry import SECTIONS
from dashboard.urls import SUBJECTS
from dashboard.visit import Visit


def build_choices(visit: Visit, sections: Sequence[str]) -> Component:
    """Return the panel of choices, closed until it is wanted."""
    wording, record, place = visit.wording, visit.record, visit.place
    names = {
        "class": record.classes or tuple(wording.catalogue.classes),
        "depot": record.depots,
        "locomotive": record.locomotives,
        "component": tuple(wording.catalogue.components),
    }
    subject = place.page if place.page in SUBJECTS else ""
    picker = [build_picker(subject, place.name, names[subject], wording)] if subject else []
    default = replace(visit.scope, clock=None).resolve_clock(wording.catalogue).clock or "days"
    controls = build_scope_controls(
        visit.scope,
        wording,
        names={word: found for word, found in names.items() if word != subject},
        clock=default,
    )
    return html.Details(
        [
            html.Summary(wording.phrase("scope.heading")),
            *picker,
            html.Div([*controls, *_options(visit, sections)], className="controls"),
        ],
        className="choices",
    )


def _options(visit: Visit, sections: Sequence[str]) -> list[Component]:
    """Return a control for each option that some section takes from the address."""
    given = dict(parse_qsl(visit.query.lstrip("?")))
    choices = {word: choice for name in sections for word, choice in SECTIONS[name].choices.items()}
    return [
        build_choice(
            word,
            given.get(word, ""),
            (*choice.offered, *choice.more(visit.store.root)),
            visit.wording,
        )
        for word, choice in choices.items()
    ]
