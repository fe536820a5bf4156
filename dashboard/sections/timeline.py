"""What was found on one locomotive, system by system, in time."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.events import Event, draw_events
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

_SEVERITIES = ("remark", "rectify", "withhold", "in-service")
MOST_EVENTS = 3_000  # more cannot be told apart, and a browser draws them slowly


def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `findings` for one locomotive: a marker for each defect found."""
    frame = answer.table
    columns = [name for name in frame.columns if name not in ("locomotive", "class")]
    drawn = frame.head(MOST_EVENTS)
    fewer = wording.phrase("timeline.fewer", shown=len(drawn), all=len(frame))
    return Section(
        title=wording.phrase("timeline.title"),
        reading=wording.say(answer.reading),
        figure=_figure(drawn, wording) if len(drawn) else None,
        table=twin(frame, columns, clock=answer.basis.clock),
        notes=(
            *((fewer,) if len(drawn) < len(frame) else ()),
            *(wording.say(note) for note in answer.notes),
        ),
        basis=grounds(answer.basis, wording, of="defects"),
    )


def _figure(frame: pd.DataFrame, wording: Wording) -> Figure:
    severities = list(_SEVERITIES)  # all, so that each keeps its look whatever else was found
    there = set(frame["component"])
    components = wording.catalogue.components.values()
    systems = dict.fromkeys(one.system for one in components if one.name in there)
    events = _events(frame, severities, wording)
    return draw_events(
        events,
        lines=[wording.heading("system", system) for system in systems],
        kinds=[wording.phrase(f"severity.{name}") for name in severities],
    )


def _events(frame: pd.DataFrame, severities: list[str], wording: Wording) -> list[Event]:
    """Return one event a row; a name is put into words once, however often it occurs."""
    components, systems = wording.catalogue.components, {}
    labels = {name: wording.label("component", name) for name in frame["component"].unique()}
    defects = {name: wording.label("defect", name) for name in frame["defect"].unique()}
    for name in labels:
        systems[name] = wording.heading("system", components[name].system)
    kinds = {name: number for number, name in enumerate(severities)}
    columns = ("component", "position", "defect", "severity", "found")
    return [
        Event(
            systems[component],
            found.to_pydatetime(),
            kinds.get(severity, 0),
            f"{labels[component]}{'' if position is pd.NA else f' {position}'}, {defects[defect]}",
        )
        for component, position, defect, severity, found in zip(
            *(frame[name] for name in columns), strict=True
        )
    ]
