"""Counters and measured values of one locomotive in time."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.look import Figure
from dashboard.figures.panels import Limit, Panel, draw_panels
from dashboard.sections.common import grounds, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

MOST_PANELS = 8


def draw_counters(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `counters`: a panel for each counter."""
    panels = [
        Panel(
            wording.phrase("counters.panel", clock=wording.phrase(f"clock.{clock}")),
            part["read_at"].tolist(),
            part["value"].tolist(),
            [""] * len(part),
        )
        for clock, part in answer.table.groupby("clock", sort=False)
    ]
    return _section("counters", answer, wording, draw_panels(panels) if panels else None)


def draw_measured(answer: Answer, wording: Wording, _subject: str = "") -> Section:
    """Draw the answer of `readings --points`: a panel for each parameter, with its limits."""
    groups = list(answer.table.groupby("parameter", sort=False))
    panels = [_panel(str(name), part, wording) for name, part in groups[:MOST_PANELS]]
    fewer = wording.phrase("measured.fewer", shown=MOST_PANELS, all=len(groups))
    return _section(
        "measured",
        answer,
        wording,
        draw_panels(panels) if panels else None,
        notes=(fewer,) if len(groups) > MOST_PANELS else (),
    )


def _panel(name: str, part: pd.DataFrame, wording: Wording) -> Panel:
    unit = str(part["unit"].iloc[0])
    return Panel(
        wording.phrase("measured.panel", name=wording.heading("parameter", name), unit=unit),
        part["read_at"].tolist(),
        part["value"].tolist(),
        [str(state) for state in part["running_state"].fillna("")],
        limits=_limits(name, wording),
        joined=False,
    )


def _limits(name: str, wording: Wording) -> list[Limit]:
    """Return the limits of a parameter, each value once, by what it asks for."""
    entry = wording.catalogue.parameters[name]
    found: dict[float, str] = {}
    for kind, by_state in (("withhold", entry.withhold), ("attend", entry.attend)):
        for band in by_state.values():
            for value in (band.above, band.below):
                if value is not None:
                    found.setdefault(value, wording.phrase(f"measured.{kind}"))
    return [Limit(value, said) for value, said in found.items()]


def _section(
    name: str,
    answer: Answer,
    wording: Wording,
    figure: Figure | None,
    *,
    notes: tuple[str, ...] = (),
) -> Section:
    columns = [column for column in answer.table.columns if column != "locomotive"]
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=wording.say(answer.reading),
        figure=figure,
        table=twin(answer.table, columns, clock=answer.basis.clock),
        notes=(*notes, *(wording.say(note) for note in answer.notes)),
        basis=grounds(answer.basis, wording, of="readings"),
    )
