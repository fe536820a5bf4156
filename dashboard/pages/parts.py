"""The parts of a page that follow the address: each is asked for by itself, when it is needed."""

from __future__ import annotations

from dataclasses import replace

from dash import html
from dash.development.base_component import Component

from analytics.errors import ShedbookError
from analytics.scope import Scope
from dashboard.asked import read_scope
from dashboard.components.card import build_card, build_sentence
from dashboard.pages.visit import Visit
from dashboard.sections.common import command_line, period
from dashboard.sections.registry import SECTIONS
from dashboard.wording import Wording

FACTS = "facts"
_FEW = 3  # locomotives that are named rather than counted


def part_id(name: str) -> dict[str, str]:
    """Return the id of one part of a page."""
    return {"type": "part", "name": name}


def draw_part(name: str, visit: Visit) -> list[Component]:
    """Draw one part of a component's page for the Scope in the address."""
    if visit.place.name not in visit.wording.catalogue.components:
        return []
    scope, sentences = read_scope(
        visit.query, component=visit.place.name, record=visit.record, wording=visit.wording
    )
    if name == FACTS:
        return _facts(visit, scope, sentences)
    return _section(name, visit, scope)


def _section(name: str, visit: Visit, scope: Scope) -> list[Component]:
    kind = SECTIONS[name]
    try:
        section = kind.draw(visit.answer(kind.question, scope, kind.options), visit.wording)
    except ShedbookError as refusal:
        title = visit.wording.phrase(f"{name}.title")
        return build_sentence(name, title=title, sentence=str(refusal))
    command = command_line(kind.question, kind.options, scope)
    return build_card(name, replace(section, command=command), visit.wording)


def _facts(visit: Visit, scope: Scope, sentences: tuple[str, ...]) -> list[Component]:
    """Say what is counted, how far the record goes, and what of the address fell back."""
    wording, kind = visit.wording, SECTIONS["mtbf"]
    basis = visit.answer(kind.question, scope, kind.options).basis
    if basis.locomotives:
        line = wording.phrase(
            "component.facts",
            at=basis.data_cut,
            who=_who(scope, basis.locomotives, wording),
            clock=wording.phrase(f"clock.{basis.clock}"),
            counting=wording.phrase(f"counting.{basis.counting}"),
            period=period(basis, wording),
        )
    else:
        line = wording.phrase("component.facts_empty")
    lagging = [
        wording.phrase("component.lagging", depot=depot, at=at)
        for depot, at in visit.record.lagging_depots().items()
        if not scope.depots or depot in scope.depots
    ]
    return [
        html.P(line, className="facts"),
        *(html.P(sentence, className="lagging") for sentence in lagging),
        *(html.P(sentence, className="fell-back", role="alert") for sentence in sentences),
    ]


def _who(scope: Scope, count: int, wording: Wording) -> str:
    """Name the locomotives that were chosen, if they are few; else say how many there are."""
    chosen = scope.locomotives
    if not 0 < len(chosen) <= _FEW:
        return wording.phrase("component.counted", count=count)
    key = "component.one_named" if len(chosen) == 1 else "component.few_named"
    return wording.phrase(key, names=chosen)
