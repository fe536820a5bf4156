"""The parts of a page, each asked for by itself: the facts at the head, then every section."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html
from dash.development.base_component import Component

from analytics.answer import Answer
from analytics.errors import ShedbookError
from analytics.scope import Scope
from dashboard.asked import read_choices, without
from dashboard.components.card import build_card, build_sentence
from dashboard.components.table import STAYS
from dashboard.pages.registry import PAGES
from dashboard.record import Share, share_in_scope
from dashboard.sections.common import command_line, filters, period
from dashboard.sections.model import Section
from dashboard.sections.registry import SECTIONS
from dashboard.urls import SUBJECTS
from dashboard.visit import Visit
from dashboard.work import ask_answer

FACTS = "facts"


def part_id(name: str) -> dict[str, str]:
    """Return the id of one part of a page."""
    return {"type": "part", "name": name}


def draw_part(name: str, visit: Visit) -> list[Component]:
    """Draw one part of a page for the address; one that the page does not have is empty."""
    if not visit.is_somewhere:
        return []
    if name == FACTS:
        return _facts(visit)
    if name not in PAGES[visit.place.page].sections:
        return []
    title = visit.wording.phrase(f"{name}.title")
    if SECTIONS[name].of_one and len(visit.chosen.locomotives) != 1:
        sentence = visit.wording.phrase(f"{name}.of_one")
        return build_sentence(name, title=title, sentence=sentence)
    if SECTIONS[name].long and (waiting := _not_yet(name, visit, title)):
        return waiting
    try:
        return build_card(name, draw_section(name, visit), visit)
    except ShedbookError as refusal:
        return build_sentence(name, title=title, sentence=str(refusal))


def _not_yet(name: str, visit: Visit, title: str) -> list[Component]:
    """Offer to work a long answer out, or say that it is under way; nothing once it is kept."""
    question, scope, options = _asked(name, visit)
    if visit.kept(question, scope, options) is not None:
        return []
    wording = visit.wording
    if f"work.{name}" not in visit.query:
        href = without(visit.query, (), **{f"work.{name}": "1"})
        link = html.A(wording.phrase("long.start"), href=href, className=STAYS)
        told = build_sentence(name, title=title, sentence=wording.phrase("long.not_yet"))
        return [*told, html.P(link)]
    job = ask_answer(visit.store, question, scope, options)
    said = wording.phrase(f"long.{job.state}", at=job.asked_at, result=job.result)
    return build_sentence(name, title=title, sentence=said)


def draw_section(name: str, visit: Visit) -> Section:
    """Ask a section's question and draw its answer.

    Raises
    ------
    ShedbookError
        Where the question cannot be answered.
    """
    kind = SECTIONS[name]
    answer, command = ask_section(name, visit)
    more = {"beside": _ask_beside(name, visit)} if kind.beside else {}
    section = kind.draw(answer, visit.wording, visit.place.name, **more)
    return replace(section, command=command)


def ask_section(name: str, visit: Visit) -> tuple[Answer, str]:
    """Return the answer that a section rests on, and the command that prints it.

    Raises
    ------
    ShedbookError
        Where the question cannot be answered.
    """
    question, scope, options = _asked(name, visit)
    if SECTIONS[name].long and visit.kept(question, scope, options) is None:
        raise ShedbookError(visit.wording.phrase("long.not_yet"))
    return visit.answer(question, scope, options), command_line(question, options, scope)


def _ask_beside(name: str, visit: Visit) -> Answer:
    question, scope, options = _asked(name, visit)
    return visit.answer(question, scope, {**options, **SECTIONS[name].beside})


def _asked(name: str, visit: Visit) -> tuple[str, Scope, dict[str, Any]]:
    kind = SECTIONS[name]
    chosen, _ = read_choices(visit.query, kind.choices)
    options = {**kind.options, **chosen}
    if kind.planned and visit.plan_version:
        options["version"] = visit.plan_version
    # Where the address names no clock, it is left to the question: some take each component's own.
    scope = kind.narrow(visit.chosen, visit.record) if kind.narrow else visit.chosen
    return kind.question, scope, options


def _facts(visit: Visit) -> list[Component]:
    """Say what is counted, how far the record goes, what is in and out, and what fell back."""
    wording, scope, record = visit.wording, visit.scope, visit.record
    lagging = [
        wording.phrase("facts.lagging", depot=depot, at=at)
        for depot, at in record.lagging_depots().items()
        if not scope.depots or depot in scope.depots
    ]
    return [
        *(_known(visit) if record.locomotives else [_line(wording.phrase("facts.empty"))]),
        *PAGES[visit.place.page].facts(visit),
        *(html.P(sentence, className="lagging") for sentence in lagging),
        *(
            html.P(sentence, className="fell-back", role="alert")
            for sentence in (*visit.fell_back, *_bad_choices(visit))
        ),
    ]


def _known(visit: Visit) -> list[Component]:
    wording, scope = visit.wording, visit.scope
    share = share_in_scope(visit.reader, scope)
    line = wording.phrase(
        "facts.known",
        at=visit.record.known_to,
        clock=wording.phrase(f"clock.{scope.clock}"),
        counting=wording.phrase(f"counting.{scope.counting}"),
        period=period(scope, wording),
    )
    return [_line(line), html.P([*_in_and_out(visit, share)], className="facts")]


def _in_and_out(visit: Visit, share: Share) -> list[Component | str]:
    """Say which part of the record is in scope, by which choices, with a link that undoes each."""
    wording = visit.wording
    said = wording.phrase(
        "facts.in",
        locomotives=share.locomotives,
        all_locomotives=share.all_locomotives,
        findings=share.findings,
        all_findings=share.all_findings,
    )
    chosen = filters(visit.scope, wording, told=SUBJECTS.get(visit.place.page, ""))
    if not chosen:
        return [said]
    parts: list[Component | str] = [f"{said} {wording.phrase('facts.chosen')} "]
    for word, text in chosen.items():
        undo = html.A(
            wording.phrase("facts.undo", what=text),
            href=without(visit.query, (word,)),
            className=STAYS,
        )
        parts += [undo, " · "]
    everything = html.A(
        wording.phrase("facts.undo_all"), href=without(visit.query, tuple(chosen)), className=STAYS
    )
    return [*parts, everything] if len(chosen) > 1 else parts[:-1]


def _bad_choices(visit: Visit) -> list[str]:
    """Return a sentence for each option in the address that cannot be read."""
    bad: dict[str, str] = {}
    for name in PAGES[visit.place.page].sections:
        bad |= read_choices(visit.query, SECTIONS[name].choices)[1]
    return [visit.wording.phrase("scope.bad_choice", word=word, value=bad[word]) for word in bad]


def _line(text: str) -> Component:
    return html.P(text, className="facts")
